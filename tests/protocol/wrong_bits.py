"""Frames to damage, what a CRC answers to one wrong bit, and a count of the one way in which one bit can pass.

Run as a module (`python -m tests.protocol.wrong_bits`) for the figures of protocol/SPEC.md, section 2.
"""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from protocol.codec import LAYOUT, decode_message
from protocol.errors import BadFrame
from protocol.framing import CHECK, CRC_START, MAX_PAYLOAD, OVERHEAD, Frame, cobs_decode, encode_frame

POLYNOMIAL = 0x11021
CHECK_BITS = (*range(4), *range(8, 14), *range(16, 22))
"""Bit numbers, from the end of the check, that carry the checksum; the others of its 24 are fixed."""
Source = Callable[[Random], Frame]


def syndromes(polynomial: int, bits: int) -> list[int]:
    """What a wrong bit leaves in a 16-bit CRC, from the last bit of data and checksum backwards."""
    left = [1]
    while len(left) < bits:
        shifted = left[-1] << 1
        left.append(shifted ^ polynomial if shifted & 0x10000 else shifted)
    return left


def zero_rich(rng: Random) -> Frame:
    """Full of zeros and small numbers, which give the stuffing the most to do."""
    payload = bytes(rng.choices((0, 0, 0, 1, 2, 3, 4, 255), k=rng.randrange(MAX_PAYLOAD + 1)))
    return Frame(rng.randrange(256), rng.randrange(256), payload)


def uniform(rng: Random) -> Frame:
    return Frame(rng.randrange(256), rng.randrange(256), rng.randbytes(rng.randrange(MAX_PAYLOAD + 1)))


def like_messages(rng: Random) -> Frame:
    """The kinds and lengths of real messages, with numbers of an everyday size in their fields."""
    kind, _, widths = rng.choice(LAYOUT)
    payload = b""
    for width in widths:
        if width == "i":
            payload += rng.randrange(-40_000, 40_000).to_bytes(4, "big", signed=True)
        elif width == "B":
            payload += bytes((rng.randrange(8),))
        else:
            payload += rng.randrange(1 << rng.randrange(1, 17)).to_bytes({"H": 2, "I": 4}[width], "big")
    return Frame(kind, rng.randrange(256), payload)


def of_all_lengths(rng: Random) -> Iterator[Frame]:
    """Two frames of every length, one rich in zeros, the other not."""
    for length in range(MAX_PAYLOAD + 1):
        yield Frame(rng.randrange(256), rng.randrange(256), bytes(rng.choices((0, 0, 0, 1, 2, 3, 4, 255), k=length)))
        yield Frame(rng.randrange(256), rng.randrange(256), rng.randbytes(length))


@dataclass
class Made:
    """What single wrong bits that make a delimiter inside a frame leave behind it."""

    bits: int = 0
    """Bits of all frames, each of them wrong once."""
    made: int = 0
    """Of those, the ones that make a delimiter inside the stuffed content."""
    fits: int = 0
    """Of those, the ones behind which stuffing and length are right for a shorter frame."""
    understood: int = 0
    """Of those, the ones whose content is a message."""
    taken: int = 0
    """Of those that fit, the ones with the right checksum: accepted as another frame."""

    def one_in(self, passing: int) -> float:
        """How many single bits it takes, on average, for one to pass, at 1 of 65,536 checksums."""
        return self.bits * 65536 / passing


def count_made_delimiters(source: Source, frames: int, seed: int) -> Made:
    """Try only the bits that can pass at all; that the others cannot is proved in the tests."""
    rng, count = Random(seed), Made()
    for _ in range(frames):
        wire = encode_frame(*source(rng))
        stuffed = wire[1 : -1 - CHECK]
        count.bits += 8 * len(wire)
        for at, byte in enumerate(stuffed, 1):
            if byte & byte - 1:
                continue
            count.made += 1
            behind = stuffed[at:]
            if len(behind) <= OVERHEAD or behind[1] != len(behind) - 1 or behind[0] == 1:
                continue
            try:
                content = cobs_decode(behind)
            except BadFrame:
                continue
            count.fits += 1
            count.taken += crc_hqx(behind, CRC_START) == crc_hqx(stuffed, CRC_START)
            count.understood += is_message(content)
    return count


def is_message(content: bytes) -> bool:
    try:
        decode_message(content[1], content[OVERHEAD:])
    except BadFrame:
        return False
    return True


def main() -> None:
    for source in (zero_rich, uniform, like_messages):
        count = count_made_delimiters(source, 1_000_000, 1)
        print(f"{source.__name__}: {count}, one in {count.one_in(count.fits):.1e} passes", end="")
        print(f", one in {count.one_in(count.understood):.1e} as a message" if count.understood else "")


if __name__ == "__main__":
    main()
