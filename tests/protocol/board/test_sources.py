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


def named_pins(pattern: str) -> dict[str, str]:
    """The names of the pins by the firmware's page, as the sources write them."""
    rows = re.findall(
        rf"^\| ({pattern}) \| ([\w ]+?) \|", (BOARD / "README.md").read_text(encoding="utf-8"), re.MULTILINE
    )
    return {pin: name.replace(" ", "_").upper() for pin, name in rows}


def test_the_table_of_pins_is_current() -> None:
    pins = (BOARD / "avr" / "pins.h").read_text(encoding="utf-8")
    named = named_pins(r"P[BCD]\d")
    for name, pin in re.findall(r"^#define (\w+)_BIT (P[BCD]\d)\b", pins, re.MULTILINE):
        assert named[pin] == name
    inputs = ["PAN_FLAG", "TILT_FLAG", "PAN_LIMIT", "TILT_LIMIT", "SYNC_CONTACT", "SUPPLY"]
    assert [named[f"PC{bit}"] for bit in range(6)] == inputs
    assert re.search(r"#define SUPPLY_CHANNEL 5\b", pins)


def test_the_table_of_pins_of_the_second_target_is_current() -> None:
    pins = (BOARD / "arm" / "pins.h").read_text(encoding="utf-8")
    numbers = re.findall(r"^#define (\w+)_BIT (\d+)\b", pins, re.MULTILINE)
    assert named_pins(r"P0\.\d\d") == {f"P0.{int(number):02d}": name for name, number in numbers}
    assert len(numbers) == 16


@pytest.mark.parametrize("target", ["avr", "arm"])
def test_every_target_keeps_sections_by_the_same_names(target: str) -> None:
    text = (BOARD / target / "hal_section.h").read_text(encoding="utf-8")
    assert re.search(r"^typedef \w+ hal_state;$", text, re.MULTILINE)
    assert "static inline hal_state hal_lock(void)" in text
    assert "static inline void hal_unlock(hal_state state)" in text


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
