"""The specification and the code agree."""

from __future__ import annotations

import re
from dataclasses import fields
from enum import IntEnum, IntFlag
from typing import get_type_hints

import pytest

from controller.kit.kit import Axis, Board
from controller.kit.line import ANSWER_NS, TRIES, retry_ns
from controller.program.timing import BOOT_NS
from protocol.codec import LAYOUT, PROTOCOL_VERSION, frame_of
from protocol.framing import MAX_CONTENT, MAX_ENCODED, MAX_FRAME, MAX_PAYLOAD, OVERHEAD, Deframer
from protocol.messages import Booted, Cause, Message, Request, Stop
from sim.exposing import SYNC_LEAST_NS
from sim.referencing import MARGIN_PART, MARGIN_STEPS
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


def test_every_fence_is_closed_and_no_section_is_inside_one() -> None:
    inside, headings = False, []
    for line in SPEC.splitlines():
        if line.lstrip().startswith("```"):
            assert inside == (line.strip() == "```"), line  # a fence begins with a word and ends without one
            inside = not inside
        elif line.startswith("## ") and not inside:
            headings.append(int(line.split()[1].rstrip(".")))
        else:
            assert "```" not in line, line
    assert not inside
    assert headings == list(range(1, 11))


def test_the_figures_of_a_search_and_of_the_sync_contact() -> None:
    assert MARGIN_STEPS == MARGIN_PART == 32
    assert "its travel, a 32nd of that and 32 steps" in SPEC
    assert 50_000 < SYNC_LEAST_NS <= 100_000
    assert "closed for 50 \N{MICRO SIGN}s or less must not count" in SPEC
    assert "closed for 100 \N{MICRO SIGN}s or longer must" in SPEC
    config = (SPEC_FILE.parent / "board" / "core" / "config.h").read_text(encoding="utf-8")
    for name, value in (("SEARCH_MARGIN_PART", MARGIN_PART), ("SEARCH_MARGIN_STEPS", MARGIN_STEPS), ("SYNC_TICKS", 3)):
        assert f"#define {name} {value}\n" in config
    tick_us = 25  # n samples in a row span at least n - 1 ticks, and n ticks always contain n samples
    assert (3 - 1) * tick_us <= 50
    assert 3 * tick_us <= 100


def test_the_figures_of_the_host() -> None:
    assert f"waits {ANSWER_NS // 10**6} ms and the time of two" in SPEC
    assert f"({retry_ns(115_200) // 10**6} ms at 115200 baud)" in SPEC
    assert f"up to {TRIES} times" in SPEC
    assert f"for {BOOT_NS // 10**9} s longer" in SPEC
    axis, silence_s = Axis(), Board().silence_ms / 1000
    speed, accel = axis.max_speed_deg_s, axis.max_accel_deg_s2
    assert f"at {speed:g}\N{DEGREE SIGN}/s and {silence_s:g} s" in SPEC
    assert f"up to {speed * silence_s:g}\N{DEGREE SIGN} and the ramp ({speed**2 / 2 / accel:.0f}\N{DEGREE SIGN}" in SPEC
