"""Draw the wiring diagrams of hardware_notes from their table: `python -m tests.repo.wiring`."""

import csv
import math
import textwrap
from dataclasses import dataclass
from itertools import accumulate, pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

from tests.repo.canvas import PAPER, style

FOLDER = Path(__file__).resolve().parents[2] / "hardware_notes" / "wiring"
TABLE = FOLDER / "connections.csv"

TITLES = {
    "power": "Power, and the switch that cuts it",
    "motors": "Drivers and motors",
    "sensors": "Flags and limits",
    "camera": "Camera and computer",
}
# Dashes, width, and which end has the arrow. The colours have a light and a dark value each; they are from the set by
# Okabe and Ito (2008), darkened or lightened where a thin line or words would be too pale.
KINDS = {
    "power": ("", 4, "to"),
    "ground": ("", 4, None),
    "motor": ("12 4", 3, "to"),
    "output": ("", 2, "to"),
    "input": ("7 4", 2, "from"),
    "serial": ("2 3", 2, None),
}
COLOURS = {
    "paper": ("#fbfaf5", "#14181b"),
    "letters": ("#111111", "#e9ecec"),
    "box": ("#ffffff", "#20262a"),
    "edge": ("#555555", "#7d888f"),
    "power": ("#a84300", "#ff9a5c"),
    "ground": ("#111111", "#e9ecec"),
    "motor": ("#8a3d70", "#e29cc4"),
    "output": ("#005b96", "#6cb8f0"),
    "input": ("#00664f", "#4fc79c"),
    "serial": ("#111111", "#e9ecec"),
}
WIDE, GAP, TOP, LINE, SIZE = 138, 24, 56, 19, 15
LEFTS = tuple(10 + (WIDE + GAP) * number for number in range(3))
LETTERS = 15  # the most that fit in a line of a box
A_ROW = 3  # kinds in a row of the key


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
    tops = [TOP, *accumulate((_high(wire) + LINE // 2 for wire in rows), initial=TOP)][1:]
    high = tops[-1] + 22 + 26 * math.ceil(len(kinds) / A_ROW)
    svg = ET.Element(
        "svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {PAPER} {high}", width=f"{PAPER}", height=f"{high}",
        role="img", attrib={"aria-labelledby": "title desc", "font-family": "sans-serif", "font-size": f"{SIZE}"},
    )  # fmt: skip
    ET.SubElement(svg, "title", id="title").text = TITLES[name]
    told = "; ".join(f"{wire.parts[0]} to {wire.parts[2]} through {wire.parts[1]} ({wire.kind})" for wire in rows)
    ET.SubElement(svg, "desc", id="desc").text = f"{told}."
    svg.append(ET.fromstring(style(COLOURS)))  # our own text
    ET.SubElement(svg, "rect", {"width": f"{PAPER}", "height": f"{high}", "rx": "8", "class": "f-paper"})
    _text(svg, LEFTS[0], 34, TITLES[name], {"font-size": "19", "font-weight": "bold"})
    for top, wire in zip(tops, rows, strict=False):
        _row(svg, top, wire)
    for number, kind in enumerate(kinds):
        left, y = LEFTS[number % A_ROW], tops[-1] + 22 + 26 * (number // A_ROW)
        _line(svg, left, left + 44, y, kind, arrow=False)
        _text(svg, left + 52, y + 5, kind, {})
    ET.indent(svg)
    return ET.tostring(svg, encoding="unicode") + "\n"


def _high(wire: Wire) -> int:
    return LINE * max(len(lines_of(part)) for part in wire.parts) + 12


def _row(svg: ET.Element, top: int, wire: Wire) -> None:
    high = _high(wire)
    for left, right in pairwise(LEFTS):
        _line(svg, left + WIDE, right, top + high // 2, wire.kind, arrow=True)
    for left, text in zip(LEFTS, wire.parts, strict=True):
        ET.SubElement(svg, "rect", {"x": f"{left}", "y": f"{top}", "width": f"{WIDE}", "height": f"{high}", "rx": "4",
                                    "class": "f-box s-edge"})  # fmt: skip
        lines = lines_of(text)
        for number, line in enumerate(lines):
            y = top + high // 2 + 5 + (LINE * (2 * number + 1 - len(lines))) // 2
            _text(svg, left + WIDE // 2, y, line, {"text-anchor": "middle"})


def _line(svg: ET.Element, left: int, right: int, y: int, kind: str, *, arrow: bool) -> None:
    dashes, width, end = KINDS[kind]
    line = ET.SubElement(svg, "line", {"x1": f"{left}", "y1": f"{y}", "x2": f"{right}", "y2": f"{y}",
                                       "class": f"s-{kind}", "stroke-width": f"{width}"})  # fmt: skip
    if dashes:
        line.set("stroke-dasharray", dashes)
    if arrow and end is not None:
        tip, back = (right, right - 14) if end == "to" else (left, left + 14)
        ET.SubElement(svg, "path", {"d": f"M{tip} {y}L{back} {y - 7}V{y + 7}Z", "class": f"f-{kind}"})


def _text(svg: ET.Element, x: int, y: int, text: str, more: dict[str, str]) -> None:
    ET.SubElement(svg, "text", {"x": f"{x}", "y": f"{y}", "class": "f-letters"} | more).text = text


if __name__ == "__main__":
    for title in TITLES:
        (FOLDER / f"{title}.svg").write_text(drawing(title, wires()), encoding="utf-8", newline="\n")
