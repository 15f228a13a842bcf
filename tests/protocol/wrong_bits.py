"""Frames to damage, and the effect of one wrong bit on a CRC."""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Iterator
from random import Random

from protocol.framing import CHECK, CRC_START, KINDS, LEAD, LENGTHS, MAX_PAYLOAD, OVERHEAD, CheckedFrame, encode_frame

POLYNOMIAL = 0x11021
CHECK_BITS = (*range(4), *range(8, 14), *range(16, 22))
"""The bits that carry the checksum, counted from the end of the check; the others of its 24 are fixed."""


def syndromes(polynomial: int, bits: int) -> list[int]:
    """What a wrong bit leaves in a 16-bit CRC, from the last bit of data and checksum backwards."""
    left = [1]
    while len(left) < bits:
        shifted = left[-1] << 1
        left.append(shifted ^ polynomial if shifted & 0x10000 else shifted)
    return left


def zero_rich(rng: Random) -> CheckedFrame:
    """A frame full of zeros and small numbers, which exercise the stuffing most."""
    payload = bytes(rng.choices((0, 0, 0, 1, 2, 3, 4, 255), k=rng.randrange(MAX_PAYLOAD + 1)))
    return CheckedFrame(rng.choice(tuple(KINDS)), rng.randrange(256), payload)


def uniform(rng: Random) -> CheckedFrame:
    return CheckedFrame(rng.choice(tuple(KINDS)), rng.randrange(256), rng.randbytes(rng.randrange(MAX_PAYLOAD + 1)))


def of_all_lengths(rng: Random) -> Iterator[CheckedFrame]:
    """Two frames of every length, one rich in zeros, the other not."""
    for length in range(MAX_PAYLOAD + 1):
        yield CheckedFrame(
            rng.choice(tuple(KINDS)), rng.randrange(256), bytes(rng.choices((0, 0, 0, 1, 2, 3, 4, 255), k=length))
        )
        yield CheckedFrame(rng.choice(tuple(KINDS)), rng.randrange(256), rng.randbytes(length))


def with_a_frame_inside(length: int, rng: Random) -> CheckedFrame:
    """A frame whose last bytes, after a byte that one wrong bit turns to zero, are another frame: an empty one.

    Only the lead in front of it is missing. Its checksum is the same as the whole frame's, because two bytes of the
    payload, which has `length` bytes, are chosen so that the register is at its start value where the inner frame begins.
    """
    inner = encode_frame(rng.choice(sorted(KINDS)), rng.randrange(1, 256), b"")[len(LEAD) : -1 - CHECK]
    free = length - 2 - 1 - len(inner)
    while True:
        seq, begin = rng.randrange(1, 256), bytes(rng.choices(range(1, 256), k=free))
        kind = rng.choice(sorted(KINDS))
        register = crc_hqx(bytes((4 + length, LENGTHS[OVERHEAD + length], kind, seq)) + begin, CRC_START)
        last = bytes((1 << rng.randrange(8),))
        for chosen in range(0x10000):
            two = chosen.to_bytes(2, "big")
            if 0 not in two and crc_hqx(two + last, register) == CRC_START:
                return CheckedFrame(kind, seq, begin + two + last + inner)
