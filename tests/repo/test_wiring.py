"""The wiring diagrams agree with the firmware's source and its documents."""

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from tests.repo.wiring import COLOURS, FOLDER, KINDS, LETTERS, TITLES, drawing, lines_of, wires

ROOT = Path(__file__).resolve().parents[2]
BOARD = ROOT / "protocol" / "board"
PIN = re.compile(r"\bP[BCD][0-7]\b")
PINS = {wire.pin: wire for wire in wires() if wire.pin}


def source(name: str) -> str:
    return (BOARD / name).read_text(encoding="utf-8")


def defined() -> dict[str, str]:
    """The pin of each macro: as written, as the bit of port C, and as the channel of the converter, which is port C."""
    found = dict(re.findall(r"#define (\w+_BIT) (P[BCD]\d)", source("avr/pins.h")))
    quick = re.search(r"#define QUICK_INPUTS \((.*)\)", source("avr/pins.h"))
    assert quick is not None
    for name in quick[1].split(" | "):
        bit = re.search(rf"#define {name} 0x(\w+)", source("core/hal.h"))
        assert bit is not None
        found[name] = f"PC{int(bit[1], 16).bit_length() - 1}"
    channel = re.search(r"#define SUPPLY_CHANNEL (\d)", source("avr/pins.h"))
    assert channel is not None
    return found | {"SUPPLY_CHANNEL": f"PC{channel[1]}"}


@pytest.mark.parametrize("name", TITLES)
def test_a_drawing_is_current(name: str) -> None:
    """Redraw it with: python -m tests.repo.wiring."""
    assert (FOLDER / f"{name}.svg").read_text(encoding="utf-8") == drawing(name, wires())


def test_every_pin_stands_once_and_where_the_source_has_it() -> None:
    assert len(PINS) == len([wire for wire in wires() if wire.pin])
    assert {wire.macro: pin for pin, wire in PINS.items() if wire.macro} == defined()
    # RXD and TXD are given by the controller, ATmega328P data sheet, alternate functions of port D (from memory)
    assert {pin for pin, wire in PINS.items() if not wire.macro} == {"PD0", "PD1"}
    for pin, wire in PINS.items():
        assert wire.parts[0].startswith(f"{pin} ")


def test_the_documents_have_the_same_pins() -> None:
    rows = re.findall(r"^\| (P[BCD]\d) \| ([^|]+) \| (\w+)", source("README.md"), re.MULTILINE)
    assert {pin: f"{pin} {name.strip()}" for pin, name, _ in rows} == {pin: wire.parts[0] for pin, wire in PINS.items()}
    assert set(PIN.findall((ROOT / "hardware_notes" / "board.md").read_text(encoding="utf-8"))) == set(PINS)


def test_directions_are_those_of_the_source() -> None:
    macros = set(re.findall(r"1 << (\w+)", " ".join(re.findall(r"DDR[BCD] = ([^;]+);", source("avr/main.c")))))
    assert macros == {wire.macro for wire in PINS.values() if wire.kind == "output"}
    assert {wire.kind for wire in PINS.values() if wire.macro not in macros} == {"input", "serial"}


def test_motor_power_passes_the_stop_switch_and_nothing_else_reaches_the_drivers() -> None:
    supply = [wire for wire in wires() if "motor supply" in wire.parts[2]]
    assert [wire.parts[1] for wire in supply] == ["stop switch, contact A (latching)"]


def test_drawings_are_told_in_words() -> None:
    names = {"title": "{http://www.w3.org/2000/svg}title", "desc": "{http://www.w3.org/2000/svg}desc"}
    for name in TITLES:
        tree = ET.parse(FOLDER / f"{name}.svg").getroot()  # our own file
        assert tree.findtext(names["title"]) == TITLES[name]
        told = tree.findtext(names["desc"]) or ""
        assert all(part in told for wire in wires() if wire.drawing == name for part in wire.parts)
    assert {wire.drawing for wire in wires()} == set(TITLES)


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("look", [0, 1], ids=["light", "dark"])
def test_words_and_wires_can_be_seen(look: int) -> None:
    """WCAG 2.2, 1.4.3 and 1.4.11, require 4.5 for text and 3 for lines."""
    colours = {name: pair[look] for name, pair in COLOURS.items()}
    for ground in (colours["paper"], colours["box"]):
        assert contrast(colours["letters"], ground) > 7
    for kind in (*KINDS, "edge"):
        assert contrast(colours[kind], colours["paper"]) > 4.5


def test_colours_are_not_the_only_difference() -> None:
    """WCAG 2.2, 1.4.1."""
    alike = [(a, b) for a, b in combinations(KINDS, 2) if KINDS[a][:2] == KINDS[b][:2]]
    assert alike == [("power", "ground")]  # told apart by the arrow
    assert KINDS["power"][2] != KINDS["ground"][2]


def test_texts_fit_their_boxes() -> None:
    lines = [line for wire in wires() for part in wire.parts for line in lines_of(part)]
    assert max(len(line) for line in lines) <= LETTERS
