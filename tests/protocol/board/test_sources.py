"""Rules for the C sources, checked by reading them; and the table of pins agrees with the source."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.protocol.board.build import CORE, ROOT

BOARD = ROOT / "protocol" / "board"
SOURCES = sorted((*BOARD.rglob("*.[ch]"), *Path(__file__).parent.rglob("*.[ch]")))
FILE_LINES, FUNCTION_LINES, COLUMNS = 400, 60, 122


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_nothing_grows_too_long(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert len(lines) <= FILE_LINES
    assert max(map(len, lines)) <= COLUMNS
    begun = 0
    for at, line in enumerate(lines):
        if line == "{":
            begun = at
        elif line == "}":
            assert at - begun < FUNCTION_LINES, f"line {at}"


@pytest.mark.parametrize("path", sorted(CORE.glob("*.[ch]")), ids=lambda path: path.name)
def test_the_core_is_about_no_controller(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "avr" not in text.casefold()
    assert not re.search(r"\b(malloc|calloc|free|printf|u?int64_t|double|long long)\b", text)


def test_the_table_of_pins_is_current() -> None:
    pins = (BOARD / "avr" / "pins.h").read_text(encoding="utf-8")
    table = (BOARD / "README.md").read_text(encoding="utf-8")
    named = dict(re.findall(r"^\| (P[BCD]\d) \| ([\w ]+?) \|", table, re.MULTILINE))
    for name, pin in re.findall(r"^#define (\w+)_BIT (P[BCD]\d)\b", pins, re.MULTILINE):
        assert named[pin].casefold().replace("-", "_").replace(" ", "_") == name.casefold()
    assert [named[f"PC{bit}"] for bit in range(6)] == [
        "pan flag",
        "tilt flag",
        "pan limit",
        "tilt limit",
        "sync contact",
        "supply",
    ]
    assert re.search(r"#define SUPPLY_CHANNEL 5\b", pins)


def test_what_a_port_must_bring_is_all_there() -> None:
    """Each function of the headers has its row, and no other has."""
    headers = (CORE / "hal.h").read_text(encoding="utf-8") + (BOARD / "avr" / "hal_section.h").read_text(encoding="utf-8")
    table = re.findall(r"^\| `hal_.*? \|", (BOARD / "README.md").read_text(encoding="utf-8"), re.MULTILINE)
    named = re.findall(r"`(hal_\w+)`", "".join(table))
    declared = re.findall(r"^[a-z].*?\b(hal_\w+)\(", headers, re.MULTILINE)
    assert sorted(named) == sorted(declared)


def test_every_source_of_the_core_is_described() -> None:
    text = (BOARD / "README.md").read_text(encoding="utf-8")
    for path in CORE.glob("*.[ch]"):
        assert f"`{path.stem}`" in text or f"`{path.name}`" in text
