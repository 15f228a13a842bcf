"""The golden rows: every other implementation of the protocol can use the same file."""

from __future__ import annotations

import json
from typing import Any

import pytest

from protocol import messages
from protocol.codec import decode_message, encode_message
from protocol.framing import CheckedFrame, Deframer, encode_frame
from tests.protocol.golden import VECTORS, VECTORS_FILE, fields_of, vectors_text

FILE: dict[str, Any] = json.loads(VECTORS_FILE.read_text(encoding="utf-8"))
ROWS: list[dict[str, Any]] = FILE["vectors"]
BY_NAME = {name: (seq, message) for name, seq, message in VECTORS}


def test_the_file_is_current() -> None:
    assert VECTORS_FILE.read_text(encoding="utf-8") == vectors_text(), "python -m tests.protocol.golden"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: str(row["name"]))
def test_rows_both_ways(row: dict[str, Any]) -> None:
    seq, message = BY_NAME[row["name"]]
    payload, wire = bytes.fromhex(row["payload"]), bytes.fromhex(row["frame"])
    assert type(message) is getattr(messages, row["message"])
    assert fields_of(message) == row["fields"]
    assert encode_message(message) == (row["kind"], payload)
    assert encode_frame(row["kind"], seq, payload) == wire
    frame = CheckedFrame(row["kind"], row["seq"], payload)
    assert decode_message(frame.kind, frame.payload) == message

    assert Deframer().feed(wire) == [frame]
    byte_by_byte = Deframer()
    assert [byte_by_byte.feed(wire[at : at + 1]) for at in range(len(wire))] == [[]] * (len(wire) - 1) + [[frame]]
    trailing = Deframer()
    assert trailing.feed(wire + wire[:-1]) == [frame]  # the rest waits for its end
    assert trailing.feed(wire[-1:]) == [frame]


@pytest.mark.parametrize("row", FILE["rejected"], ids=lambda row: str(row["name"]))
def test_rejected_rows(row: dict[str, Any]) -> None:
    deframer = Deframer()
    assert deframer.feed(bytes.fromhex(row["bytes"])) == []
    assert getattr(deframer.counters, row["counter"]) == 1
