"""Frames: which pass, which do not, and how little garbage can do."""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Iterator

import pytest
from cobs import cobs
from crccheck.crc import Crc16Ibm3740
from hypothesis import given, settings
from hypothesis import strategies as st

from protocol.codec import encode_message, frame_of
from protocol.errors import BadFrame, WrongUse
from protocol.framing import (
    CRC_START,
    KINDS,
    LEAD,
    MAX_CONTENT,
    MAX_ENCODED,
    MAX_FRAME,
    MAX_PAYLOAD,
    CheckedFrame,
    Deframer,
    check_bytes,
    cobs_decode,
    encode_frame,
)
from tests.protocol.golden import REJECTED, VECTORS
from tests.protocol.strategies import PAYLOADS, SEQS

FRAMES = st.builds(CheckedFrame, st.sampled_from(sorted(KINDS)), SEQS, PAYLOADS)
NOISE = st.binary(max_size=60) | st.lists(st.sampled_from((0, 1, 2, 255)), max_size=60).map(bytes)


def chunks(data: bytes, size: int) -> Iterator[bytes]:
    return (data[at : at + size] for at in range(0, len(data), size))


def test_check_value_of_the_catalogue() -> None:
    # "Catalogue of parametrised CRC algorithms", CRC-16/IBM-3740
    assert crc_hqx(b"123456789", CRC_START) == 0x29B1


@given(st.binary(max_size=100))
def test_checksum_agrees_with_the_package(data: bytes) -> None:
    # package `crccheck`, which contains the same catalogue
    assert crc_hqx(data, CRC_START) == Crc16Ibm3740.calc(data)


def test_frame_by_hand() -> None:
    # Stop with seq 9: length 3, kind 4E, seq 9, none of them zero, so the stuffing is one code in front;
    # 3 and 4E have two and four ones; checksum A88B = 101010 001000 1011
    stuffed = bytes((4, 3, 0x4E, 9))
    assert Crc16Ibm3740.calc(stuffed) == 0xA88B
    assert check_bytes(0xA88B) == bytes((0b10_101010, 0b10_001000, 0b1100_1011))
    assert encode_frame(0x4E, 9, b"") == bytes.fromhex("00 00 00 04 03 4e 09 aa 88 cb 00")


@given(FRAMES)
def test_frame_against_the_packages(frame: CheckedFrame) -> None:
    # packages `cobs` (the paper's stuffing) and `crccheck` (the catalogue)
    length = 3 + len(frame.payload)
    written = length | 0x80 if f"{length:b}".count("1") % 2 else length
    stuffed = cobs.encode(bytes((written, frame.kind, frame.seq)) + frame.payload)
    bits = f"{Crc16Ibm3740.calc(stuffed):016b}"
    check = int(f"10{bits[:6]}10{bits[6:12]}1100{bits[12:]}", 2).to_bytes(3, "big")
    assert encode_frame(*frame) == bytes(3) + stuffed + check + bytes(1)


@given(FRAMES, NOISE)
def test_noise_before_a_frame_cannot_swallow_it(frame: CheckedFrame, noise: bytes) -> None:
    assert Deframer().feed(noise + encode_frame(*frame))[-1] == frame


@given(FRAMES)
def test_sizes(frame: CheckedFrame) -> None:
    wire = encode_frame(*frame)
    assert len(wire) == len(frame.payload) + 11 <= MAX_FRAME == MAX_CONTENT + 8 == 43
    assert MAX_ENCODED == 39
    assert wire[:3] == bytes(3)
    assert wire[-1] == 0
    assert 0 not in wire[3:-1]


@pytest.mark.parametrize(
    ("kind", "seq", "payload"),
    [
        (0x141, 0, b""),
        (-1, 0, b""),
        (0x40, 0, b""),
        (0x06, 0, b""),
        (0x41, 256, b""),
        (0x41, -1, b""),
        (0x41, 0, bytes(MAX_PAYLOAD + 1)),
    ],
)
def test_what_fits_no_frame_is_our_mistake(kind: int, seq: int, payload: bytes) -> None:
    with pytest.raises(WrongUse):
        encode_frame(kind, seq, payload)


@given(st.lists(FRAMES | NOISE, max_size=8), st.integers(1, 50))
def test_chunks_make_no_difference(parts: list[CheckedFrame | bytes], size: int) -> None:
    wire = b"".join(encode_frame(*part) if isinstance(part, CheckedFrame) else part for part in parts)
    whole, pieces = Deframer(), Deframer()
    frames = whole.feed(wire)
    assert [frame for piece in chunks(wire, size) for frame in pieces.feed(piece)] == frames
    assert pieces.counters == whole.counters
    assert whole.counters.good == len(frames)


@given(st.lists(st.binary(max_size=200), max_size=20))
def test_garbage_never_raises_and_takes_no_memory(pieces: list[bytes]) -> None:
    deframer = Deframer()
    for piece in pieces:
        deframer.feed(piece)
        assert len(deframer._tail) <= MAX_ENCODED
    frame = CheckedFrame(0x41, 2, b"abc")
    assert deframer.feed(encode_frame(*frame))[-1] == frame


def test_endless_run_is_one_oversize() -> None:
    deframer = Deframer()
    assert deframer.feed(LEAD) == []
    for _ in range(1000):
        assert deframer.feed(b"\x55" * 100) == []
        assert len(deframer._tail) <= MAX_ENCODED
    assert deframer.counters.oversize == deframer.counters.damaged == 1
    assert deframer.feed(encode_frame(0x41, 2, b"")) == [CheckedFrame(0x41, 2, b"")]


def test_more_delimiters_than_needed_do_no_harm() -> None:
    deframer = Deframer()
    assert deframer.feed(bytes(50) + encode_frame(0x41, 2, b"x") + bytes(50)) == [CheckedFrame(0x41, 2, b"x")]
    assert deframer.counters.damaged == 0


@pytest.mark.parametrize(("name", "wire", "counter"), REJECTED)
def test_rejected_rows(name: str, wire: bytes, counter: str) -> None:
    deframer = Deframer()
    assert deframer.feed(wire) == []
    assert getattr(deframer.counters, counter) == deframer.counters.damaged == 1


def test_every_truncation_is_noticed() -> None:
    for _, seq, message in VECTORS:
        wire = frame_of(message, seq)
        for cut in range(len(LEAD) + 1, len(wire) - 1):
            deframer = Deframer()
            assert deframer.feed(wire[:cut] + b"\0") == []
            assert deframer.counters.damaged == 1


def test_why_the_start_register_is_not_zero() -> None:
    """With a zero start register, leading bytes that keep it at zero are invisible."""
    assert crc_hqx(b"123", 0) == crc_hqx(b"\0\x00123", 0)
    assert crc_hqx(b"123", CRC_START) != crc_hqx(b"\0\x00123", CRC_START)
    # no single byte leaves the register at its start value, so none can be lost or added in front of a frame
    assert all(crc_hqx(bytes((byte,)), CRC_START) != CRC_START for byte in range(256))


@given(FRAMES, st.data())
@settings(max_examples=200)
def test_a_lost_or_repeated_byte_is_noticed(frame: CheckedFrame, data: st.DataObject) -> None:
    wire = encode_frame(*frame)
    at = data.draw(st.integers(0, len(wire) - 1))
    for damaged in (wire[:at] + wire[at + 1 :], wire[:at] + wire[at : at + 1] + wire[at:]):
        assert Deframer().feed(damaged) in ([], [frame])


def test_frames_of_messages_fit() -> None:
    for _, _, message in VECTORS:
        kind, payload = encode_message(message)
        assert len(encode_frame(kind, 255, payload)) <= MAX_FRAME
    with pytest.raises(BadFrame):
        cobs_decode(b"\0")
