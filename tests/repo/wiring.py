"""Draw the wiring diagrams of hardware_notes from their table: `python -m tests.repo.wiring`."""

import csv
import textwrap
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

FOLDER = Path(__file__).resolve().parents[2] / "hardware_notes" / "wiring"
TABLE = FOLDER / "connections.csv"

TITLES = {
    "power": "Power, and the switch that cuts it",
    "motors": "Drivers and motors",
    "sensors": "Flags and limits",
    "camera": "Camera and computer",
}
# Colour, dashes, width, and which end has the arrow. The picture has its own ground, so dark pages do not harm it.
# Colours are from the set by Okabe and Ito (2008), darkened where they were too pale for a thin line.
KINDS = {
    "power": ("#b34700", "", 4, "to"),
    "ground": ("#111111", "", 4, None),
    "motor": ("#8a3d70", "12 4", 3, "to"),
    "output": ("#005b96", "", 2, "to"),
    "input": ("#00664f", "7 4", 2, "from"),
    "serial": ("#111111", "2 3", 2, None),
}
GROUND, INK, BOX, EDGE = "#fbfaf5", "#111111", "#ffffff", "#555555"
WIDTH, TOP, ROW, HIGH, WIDE, LEFTS = 920, 62, 56, 42, 240, (20, 340, 660)
LETTERS = 28  # the most that fit in a line of a box


@dataclass(frozen=True, slots=True)
class Wire:
    """A row of the table: what is connected to what, and through what."""

    drawing: str
    kind: str
    pin: str
    macro: str
    parts: tuple[str, str, str]


def wires() -> list[Wire]:
    """The table."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [
            Wire(row["drawing"], row["kind"], row["pin"], row["macro"], (row["from"], row["through"], row["to"]))
            for row in csv.DictReader(file)
        ]


def lines_of(text: str) -> list[str]:
    """A text broken into the lines of a box."""
    return textwrap.wrap(text, LETTERS)


def drawing(name: str, table: list[Wire]) -> str:
    """One diagram as SVG, one wire a row, with a description of the whole in words."""
    rows = [wire for wire in table if wire.drawing == name]
    kinds = [kind for kind in KINDS if any(wire.kind == kind for wire in rows)]
    high = TOP + ROW * len(rows) + 34
    svg = ET.Element(
        "svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {WIDTH} {high}", role="img",
        attrib={"aria-labelledby": "title desc", "font-family": "sans-serif", "font-size": "14"},
    )  # fmt: skip
    ET.SubElement(svg, "title", id="title").text = TITLES[name]
    told = "; ".join(f"{wire.parts[0]} to {wire.parts[2]} through {wire.parts[1]} ({wire.kind})" for wire in rows)
    ET.SubElement(svg, "desc", id="desc").text = f"{told}."
    ET.SubElement(svg, "rect", width=f"{WIDTH}", height=f"{high}", rx="8", fill=GROUND)
    _text(svg, 20, 36, TITLES[name], {"font-size": "20", "font-weight": "bold"})
    for number, wire in enumerate(rows):
        _row(svg, TOP + ROW * number, wire)
    for number, kind in enumerate(kinds):
        _line(svg, 20 + 150 * number, 64 + 150 * number, high - 20, kind, arrow=False)
        _text(svg, 72 + 150 * number, high - 15, kind, {})
    ET.indent(svg)
    return ET.tostring(svg, encoding="unicode") + "\n"


def _row(svg: ET.Element, top: int, wire: Wire) -> None:
    for left, right in pairwise(LEFTS):
        _line(svg, left + WIDE, right, top + HIGH // 2, wire.kind, arrow=True)
    for left, text in zip(LEFTS, wire.parts, strict=True):
        ET.SubElement(svg, "rect", x=f"{left}", y=f"{top}", width=f"{WIDE}", height=f"{HIGH}", rx="4", fill=BOX,
                      stroke=EDGE)  # fmt: skip
        lines = lines_of(text)
        for number, line in enumerate(lines):
            y = top + HIGH // 2 + 5 + 9 * (2 * number + 1 - len(lines))
            _text(svg, left + WIDE // 2, y, line, {"text-anchor": "middle"})


def _line(svg: ET.Element, left: int, right: int, y: int, kind: str, *, arrow: bool) -> None:
    colour, dashes, width, end = KINDS[kind]
    line = ET.SubElement(svg, "line", x1=f"{left}", y1=f"{y}", x2=f"{right}", y2=f"{y}", stroke=colour)
    line.set("stroke-width", f"{width}")
    if dashes:
        line.set("stroke-dasharray", dashes)
    if arrow and end is not None:
        tip, back = (right, right - 14) if end == "to" else (left, left + 14)
        ET.SubElement(svg, "path", d=f"M{tip} {y}L{back} {y - 7}V{y + 7}Z", fill=colour)


def _text(svg: ET.Element, x: int, y: int, text: str, more: dict[str, str]) -> None:
    ET.SubElement(svg, "text", x=f"{x}", y=f"{y}", fill=INK, attrib=more).text = text


if __name__ == "__main__":
    for title in TITLES:
        (FOLDER / f"{title}.svg").write_text(drawing(title, wires()), encoding="utf-8")
