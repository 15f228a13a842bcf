"""What wrong bits on the wire can do: the proof, step by step as in protocol/SPEC.md, and the trials.

The distance of a CRC: Koopman & Chakravarty, "Cyclic Redundancy Code (CRC) Polynomial Selection For Embedded Networks",
DSN 2004, doi 10.1109/DSN.2004.1311885. The method: a wrong bit adds a fixed syndrome to the checksum, whatever the data,
so wrong bits pass if and only if their syndromes cancel.
"""

from __future__ import annotations

from binascii import crc_hqx
from itertools import combinations
from random import Random

import pytest

from protocol.codec import LAYOUT, frame_of
from protocol.framing import (
    CHECK,
    CRC_START,
    KINDS,
    LEAD,
    LENGTHS,
    MAX_CONTENT,
    OVERHEAD,
    CheckedFrame,
    Deframer,
    check_bytes,
    encode_frame,
)
from protocol.messages import Message
from tests.protocol.golden import VECTORS
from tests.protocol.wrong_bits import (
    CHECK_BITS,
    POLYNOMIAL,
    of_all_lengths,
    syndromes,
    uniform,
    with_a_frame_inside,
    zero_rich,
)

LONGEST_STUFFED = MAX_CONTENT + 1
CHECKED_BITS = 8 * LONGEST_STUFFED + 16
SINGLE_BIT_FRAMES = 3000
TRIPLES = 200_000


# Proved.


def test_distance_over_the_longest_frame() -> None:
    """Up to three wrong bits among the stuffed bytes and the checksum are always detected; four are not.

    One and three leave a remainder because x + 1 divides the polynomial, so an odd number of wrong bits is never a
    multiple of it. Two cancel only if two positions have the same syndrome.
    """
    assert CHECKED_BITS == 36 * 8 + 16
    assert POLYNOMIAL.bit_count() % 2 == 0
    table = syndromes(POLYNOMIAL, CHECKED_BITS)
    assert 0 not in table
    assert len(set(table)) == CHECKED_BITS
    pairs = {a ^ b for a, b in combinations(table, 2)}
    assert not pairs & set(table)  # three, checked by enumeration as well
    assert len(pairs) < CHECKED_BITS * (CHECKED_BITS - 1) // 2  # four can cancel: the distance is exactly 4


def test_published_end_of_the_distance() -> None:
    """0x1021 keeps distance 4 to 32751 bits of data, Koopman & Chakravarty 2004."""
    table = syndromes(POLYNOMIAL, 32751 + 16 + 1)
    assert len(set(table[:-1])) == 32751 + 16
    assert table[-1] == table[0]


@pytest.mark.parametrize(("polynomial", "bits"), [(0x13D65, 135), (0x15935, 241)])
def test_published_distance_of_the_others(polynomial: int, bits: int) -> None:
    """The two rejected polynomials lose distance 5 one bit after the published length; a frame here is longer."""

    def distance_5(size: int) -> bool:
        table = syndromes(polynomial, size)
        pairs = [a ^ b for a, b in combinations(table, 2)]
        return len(set(table)) == size and len(set(pairs)) == len(pairs) and not set(pairs) & set(table)

    assert distance_5(bits + 16)
    assert not distance_5(bits + 16 + 1)
    assert bits < 8 * LONGEST_STUFFED


@pytest.mark.parametrize("length", [0, 5, 32])
def test_the_proof_speaks_of_the_bits_on_the_wire(length: int) -> None:
    """A wrong bit of the stuffed bytes changes the checksum by the syndrome of its position, whatever the bytes are."""
    rng = Random(length)
    stuffed = encode_frame(0x41, 2, rng.randbytes(length))[len(LEAD) : -1 - CHECK]
    number = int.from_bytes(stuffed, "big")
    table = syndromes(POLYNOMIAL, 8 * len(stuffed) + 16)[16:]
    for bit, syndrome in enumerate(table):
        wrong = (number ^ 1 << bit).to_bytes(len(stuffed), "big")
        assert crc_hqx(wrong, CRC_START) ^ crc_hqx(stuffed, CRC_START) == syndrome


def test_the_check_carries_the_checksum_in_order_and_is_never_zero() -> None:
    for crc in range(0x10000):
        check = int.from_bytes(check_bytes(crc), "big")
        assert sum((check >> bit & 1) << at for at, bit in enumerate(CHECK_BITS)) == crc
        assert check & 0xC0C0F0 == 0x8080C0
        assert 0 not in check_bytes(crc)


def test_every_other_check_is_refused() -> None:
    """Of all three bytes without a zero, exactly one combination is the check of a content: 24 bits, not 16."""
    stuffed = encode_frame(0x4E, 9, b"")[len(LEAD) : -1 - CHECK]
    right = check_bytes(crc_hqx(stuffed, CRC_START))
    for at in range(CHECK):
        for value in set(range(1, 256)) - {right[at]}:
            wrong = right[:at] + bytes((value,)) + right[at + 1 :]
            assert Deframer().feed(LEAD + stuffed + wrong + b"\0") == []


def test_lengths_and_kinds_are_two_bits_apart() -> None:
    """So one wrong bit turns no length into another, no length into a kind and no kind into a length."""
    words = {*LENGTHS[OVERHEAD:], *KINDS}
    assert len(words) == MAX_CONTENT - OVERHEAD + 1 + len(KINDS)
    assert min((a ^ b).bit_count() for a, b in combinations(words, 2)) == 2
    assert {kind for kind, _, _ in LAYOUT} <= KINDS
    assert not {0, *(1 << bit for bit in range(8))} & words  # what a wrong bit or a short code may put in their place


def test_a_kind_points_past_the_end_of_every_frame() -> None:
    assert min(KINDS) > MAX_CONTENT + 1


def test_two_wrong_bits_make_no_lead() -> None:
    assert bytes(3) == LEAD
    assert not any(0 in frame_of(message, seq)[len(LEAD) : -1] for _, seq, message in VECTORS)
    for zeros in range(3):
        deframer = Deframer()
        assert deframer.feed(b"\1" + bytes(zeros) + frame_of(VECTORS[0][2], 0)[len(LEAD) :]) == []


# Trials.


def heard_of(deframer: Deframer, number: int, size: int) -> list[CheckedFrame]:
    return deframer.feed(number.to_bytes(size, "big"))


def standing_between(frame: CheckedFrame, rng: Random) -> tuple[bytes, range, list[list[CheckedFrame]]]:
    """The frame between two others; the bits of it and of all delimiters around; the frames that may be received."""
    before, behind = zero_rich(rng), uniform(rng)
    wires = [encode_frame(*one) for one in (before, frame, behind)]
    last = 8 * (len(wires[2]) - len(LEAD))
    may_be_heard = [
        [one for one, heard in zip((before, frame, behind), (4, 2, 1), strict=True) if mask & heard] for mask in range(8)
    ]
    return b"".join(wires), range(last, last + 8 * (len(wires[1]) + 1 + len(LEAD))), may_be_heard


def test_no_single_wrong_bit_is_accepted() -> None:
    rng = Random(1)
    for _ in range(SINGLE_BIT_FRAMES):
        frame = zero_rich(rng)
        wire = encode_frame(*frame)
        number, size = int.from_bytes(wire, "big"), len(wire)
        for bit in range(8 * size):
            assert heard_of(Deframer(), number ^ 1 << bit, size) == []


def test_no_single_wrong_bit_is_accepted_between_others() -> None:
    rng, deframer = Random(2), Deframer()
    for _ in range(SINGLE_BIT_FRAMES):
        wire, bits, may_be_heard = standing_between(zero_rich(rng), rng)
        number, size = int.from_bytes(wire, "big"), len(wire)
        for bit in bits:
            assert heard_of(deframer, number ^ 1 << bit, size) in may_be_heard


def test_no_two_wrong_bits_are_accepted() -> None:
    """All pairs of bits of a frame of every length, alone between its delimiters and between others."""
    rng, deframer, tried = Random(3), Deframer(), 0
    for place, frame in enumerate(of_all_lengths(rng)):
        if place % 4 in {1, 2}:
            continue  # of one length the frame rich in zeros, of the next the other
        wire, bits, may_be_heard = standing_between(frame, rng)
        number, size = int.from_bytes(wire, "big"), len(wire)
        for first, second in combinations(bits, 2):
            heard = heard_of(deframer, number ^ 1 << first ^ 1 << second, size)
            assert heard in may_be_heard
        tried += 1
    assert tried >= 30


@pytest.mark.parametrize(("name", "seq", "message"), VECTORS)
def test_no_two_wrong_bits_of_a_golden_frame_are_accepted(name: str, seq: int, message: Message) -> None:
    wire = frame_of(message, seq)
    number, size = int.from_bytes(wire, "big"), len(wire)
    for first, second in combinations(range(8 * size), 2):
        assert heard_of(Deframer(), number ^ 1 << first ^ 1 << second, size) == []


@pytest.mark.parametrize("length", range(7, 33, 5))
def test_a_frame_inside_a_frame_is_not_let_out(length: int) -> None:
    """One wrong bit makes a delimiter after which the rest is a frame; a second one may do anything."""
    rng, deframer = Random(length), Deframer()
    sent = with_a_frame_inside(length, rng)
    wire = encode_frame(*sent)
    cut = len(wire) - 1 - CHECK - 4 - 1
    assert wire[cut].bit_count() == 1
    inner = Deframer().feed(LEAD + wire[cut + 1 :])
    assert len(inner) == 1  # with a lead it would be a frame
    number, size = int.from_bytes(wire, "big"), len(wire)
    made = number & ~(0xFF << 8 * (size - 1 - cut))
    assert heard_of(deframer, made, size) == []
    for bit in range(8 * size):
        assert heard_of(deframer, made ^ 1 << bit, size) in ([], [sent])
    three = made & ~(0xFFFF << 8 * (size - cut))  # two more zeros before it take more wrong bits than are covered
    assert heard_of(Deframer(), three, size) == inner


def test_no_three_wrong_bits_that_keep_the_delimiters_are_accepted() -> None:
    """A sample; the proof above covers all of them."""
    rng, deframer, tried = Random(4), Deframer(), 0
    while tried < TRIPLES:
        wire = encode_frame(*zero_rich(rng))
        number, size = int.from_bytes(wire, "big"), len(wire)
        for _ in range(100):
            wrong = number
            for bit in rng.sample(range(8, 8 * (size - len(LEAD))), 3):
                wrong ^= 1 << bit
            data = wrong.to_bytes(size, "big")
            if 0 not in data[len(LEAD) : -1]:
                assert deframer.feed(data) == []
                tried += 1


def test_why_not_four() -> None:
    """Four wrong bits whose syndromes cancel pass: the distance is 4, as published, and no more."""
    sent = CheckedFrame(0x55, 0x55, b"\x55" * 16)
    wire = encode_frame(*sent)
    table = syndromes(POLYNOMIAL, 8 * len(wire))
    before: dict[int, tuple[int, int]] = {}
    four: tuple[int, ...] = ()
    for first, second in combinations(range(8 * 18), 2):  # kind, seq and payload
        left = table[first + 16] ^ table[second + 16]
        if left in before:
            four = (first, second, *before[left])
            break
        before[left] = (first, second)
    assert len(set(four)) == 4
    number = int.from_bytes(wire, "big")
    for bit in four:
        number ^= 1 << bit + 8 * (CHECK + 1)
    (heard,) = heard_of(Deframer(), number, len(wire))
    assert heard != sent
