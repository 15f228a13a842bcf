"""The page and the code say the same."""

from __future__ import annotations

import re
from dataclasses import fields
from enum import IntEnum, IntFlag
from typing import get_type_hints

import pytest

from protocol.codec import LAYOUT, PROTOCOL_VERSION, frame_of
from protocol.framing import MAX_CONTENT, MAX_ENCODED, MAX_FRAME, MAX_PAYLOAD, OVERHEAD, Deframer
from protocol.messages import Booted, Cause, Message, Request, Stop
from tests.protocol.golden import BOOT, EXCHANGE, SPEC_FILE, exchange_in_spec, exchange_text

SPEC = SPEC_FILE.read_text(encoding="utf-8")
TYPES = {"u8": "B", "u16": "H", "u32": "I", "i32": "i"}
BYTES = {"u8": 1, "u16": 2, "u32": 4, "i32": 4}
SECTIONS = {
    (int(kind, 16), name): body
    for kind, name, body in re.findall(r"^#### ([0-9A-F]{2}) (\w+)\n(.*?)(?=^##)", SPEC, re.DOTALL | re.MULTILINE)
}


def rows_of(body: str) -> list[tuple[int, str, str, str]]:
    rows = re.findall(r"^\| (\d+) \| (\w+) \| ([ui]\d+) \| (.*?) ?\|$", body, re.MULTILINE)
    return [(int(at), name, width, meaning) for at, name, width, meaning in rows]


def test_every_message_has_a_section() -> None:
    assert set(SECTIONS) == {(kind, message_class.__name__) for kind, message_class, _ in LAYOUT}


@pytest.mark.parametrize(("kind", "message_class", "widths"), LAYOUT)
def test_tables(kind: int, message_class: type[Message], widths: str) -> None:
    body = SECTIONS[kind, message_class.__name__]
    rows = rows_of(body)
    assert [name for _, name, _, _ in rows] == [field.name for field in fields(message_class)]
    assert "".join(TYPES[width] for _, _, width, _ in rows) == widths
    at = 0
    for offset, _, width, _ in rows:
        assert offset == at
        at += BYTES[width]
    assert ("No payload." in body) == (not widths)


@pytest.mark.parametrize(("kind", "message_class", "widths"), LAYOUT)
def test_numbers_of_the_enums(kind: int, message_class: type[Message], widths: str) -> None:
    hints = get_type_hints(message_class)
    for _, name, _, meaning in rows_of(SECTIONS[kind, message_class.__name__]):
        hint = hints[name]
        listed = {int(number): word for number, word in re.findall(r"(\d+) ([A-Z_]{3,})", meaning)}
        if isinstance(hint, type) and issubclass(hint, IntEnum):
            assert all(hint(number).name == word for number, word in listed.items())
            if hint.__name__ in {"Reason", "BoardState", "Outcome"} and listed:
                assert len(listed) == len(hint)
        if isinstance(hint, type) and issubclass(hint, IntFlag):
            bits = [int(number) for number in re.findall(r"(\d+) \w", meaning)]
            assert bits == [member.value for member in hint]


def test_all_causes_are_listed() -> None:
    (held,) = [body for (_, name), body in SECTIONS.items() if name == "Held"]
    for cause in Cause:
        assert f"{cause.value} {cause.name}" in held


def test_sizes_and_version() -> None:
    assert f"version {PROTOCOL_VERSION.major}.{PROTOCOL_VERSION.minor}\n" in SPEC
    assert f"payload, 0 to {MAX_PAYLOAD} bytes" in SPEC
    assert f"{OVERHEAD} to {MAX_CONTENT}." in SPEC
    assert f"at most {MAX_FRAME} bytes on the wire" in SPEC
    assert f"needs {MAX_ENCODED} bytes of buffer" in SPEC
    assert f"receive buffer, at least {MAX_FRAME} |" in SPEC


def test_worked_frames() -> None:
    for message, seq in ((Stop(), 9), (Booted(BOOT, Cause.POWER_ON), 0)):
        hexes = frame_of(message, seq).hex(" ").upper()
        assert re.search(rf"^wire +{hexes}$", SPEC, re.MULTILINE)


def test_the_exchange_is_current() -> None:
    assert exchange_in_spec() == exchange_text(), "python -m tests.protocol.golden"


def test_the_exchange_can_be_read_from_the_page() -> None:
    wire = bytes.fromhex("".join(line for line in exchange_in_spec().splitlines() if line.startswith(" ")))
    frames = Deframer().feed(wire)
    assert [frame.seq for frame in frames] == [seq for _, seq, _ in EXCHANGE]
    for speaker, _, message in EXCHANGE:
        assert isinstance(message, Request) == (speaker == "host")
