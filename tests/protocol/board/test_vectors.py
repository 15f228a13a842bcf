"""The golden rows and the runs that are no frame: the core agrees with protocol/vectors.json and with the host's framing.

Stuffing: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2):159-172, 1999.
Checksum: CRC-16/IBM-3740 of the "Catalogue of parametrised CRC algorithms", check value 0x29B1.
"""

from __future__ import annotations

import json
from binascii import crc_hqx
from ctypes import CDLL, c_uint8, c_uint16, create_string_buffer
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol.codec import FROM_BOARD_BIT, decode_message, is_known
from protocol.errors import BadFrame
from protocol.framing import CRC_START, KINDS, LEAD, Deframer, cobs_decode, cobs_encode, encode_frame
from protocol.messages import Reason, Welcome
from tests.protocol.board import structures
from tests.protocol.board.structures import Deframing, frame_of, payload_of, request_fields
from tests.protocol.golden import VECTORS_FILE
from tests.protocol.strategies import PAYLOADS, SEQS

FILE: dict[str, Any] = json.loads(VECTORS_FILE.read_text(encoding="utf-8"))
FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture,)
STUFFED_MOST = 253
MAX_STEP_RATE, RECEIVE_BYTES = 20_000, 128
"""This board's figures in every Welcome."""


@pytest.mark.parametrize("row", FILE["vectors"], ids=lambda row: str(row["name"]))
def test_rows_both_ways(row: dict[str, Any], library: CDLL) -> None:
    kind, seq, payload, wire = row["kind"], row["seq"], bytes.fromhex(row["payload"]), bytes.fromhex(row["frame"])
    assert frame_of(library, kind, seq, payload) == wire
    assert Deframing(library).feed(wire) == [(kind, seq, payload)]
    if kind & FROM_BOARD_BIT:
        message = decode_message(kind, payload)
        if isinstance(message, Welcome):  # the core inserts the values that it was built with
            built_with = payload_of(library, message)
            message = replace(message, receive_bytes=RECEIVE_BYTES, max_step_rate=MAX_STEP_RATE)
            assert decode_message(kind, built_with) == message
        else:
            assert payload_of(library, message) == payload
    else:
        reason, fields = request_fields(library, kind, payload, row["message"])
        assert reason == 0
        assert row["fields"].items() <= fields.items()


@pytest.mark.parametrize("row", FILE["rejected"], ids=lambda row: str(row["name"]))
def test_rejected_rows(row: dict[str, Any], library: CDLL) -> None:
    deframing = Deframing(library)
    assert deframing.feed(bytes.fromhex(row["bytes"])) == []
    assert deframing.counters()[row["counter"]] == 1


def test_check_value_of_the_catalogue(library: CDLL) -> None:
    library.check_crc.restype = c_uint16
    assert library.check_crc(b"123456789", 9) == 0x29B1


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(data=st.binary(max_size=255))
def test_checksum_as_the_standard_library_has_it(library: CDLL, data: bytes) -> None:
    library.check_crc.restype = c_uint16
    assert library.check_crc(data, len(data)) == crc_hqx(data, CRC_START)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(data=st.binary(max_size=STUFFED_MOST) | st.lists(st.sampled_from((0, 1)), max_size=STUFFED_MOST).map(bytes))
def test_stuffing_there_and_back(library: CDLL, data: bytes) -> None:
    out = create_string_buffer(STUFFED_MOST + 1)
    library.stuffing_encode(data, len(data), out)
    stuffed = out.raw[: len(data) + 1]
    assert stuffed == cobs_encode(data)
    library.stuffing_decode.restype = c_uint8
    assert library.stuffing_decode(out, len(stuffed)) == len(data)
    assert out.raw[: len(data)] == data


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(stuffed=st.binary(min_size=1, max_size=39) | st.lists(st.integers(1, 6), min_size=1, max_size=39).map(bytes))
def test_unstuffing_of_anything(library: CDLL, stuffed: bytes) -> None:
    out = create_string_buffer(stuffed, len(stuffed))
    library.stuffing_decode.restype = c_uint8
    length = library.stuffing_decode(out, len(stuffed))
    try:
        wanted = cobs_decode(stuffed)
    except BadFrame:
        assert length == 0xFF
    else:
        assert out.raw[:length] == wanted


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(kind=st.sampled_from(sorted(KINDS)), seq=SEQS, payload=PAYLOADS)
def test_frames_there_and_back(library: CDLL, kind: int, seq: int, payload: bytes) -> None:
    wire = frame_of(library, kind, seq, payload)
    assert wire == encode_frame(kind, seq, payload)
    assert Deframing(library).feed(wire) == [(kind, seq, payload)]


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(
    pieces=st.lists(
        st.binary(max_size=60)
        | st.binary(max_size=60).map(LEAD.__add__)
        | st.builds(encode_frame, st.sampled_from(sorted(KINDS)), SEQS, PAYLOADS)
        | st.lists(st.integers(0, 3), max_size=60).map(bytes),
        max_size=8,
    )
)
def test_counts_damage_as_the_host_does(library: CDLL, pieces: list[bytes]) -> None:
    data = b"".join(pieces)
    ours, theirs = Deframing(library), Deframer()
    assert ours.feed(data) == [tuple(frame) for frame in theirs.feed(data)]
    assert ours.counters() == {name: getattr(theirs.counters, name) for name in structures.COUNTERS}


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(kind=st.integers(0, FROM_BOARD_BIT - 1), payload=PAYLOADS)
def test_understands_what_the_host_would_understand(library: CDLL, kind: int, payload: bytes) -> None:
    reason, _ = request_fields(library, kind, payload, "")
    try:
        decode_message(kind, payload)
    except BadFrame:
        assert reason == (Reason.BAD_VALUE if is_known(kind) else Reason.UNKNOWN_KIND)
    else:
        assert reason == 0
