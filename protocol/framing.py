"""Frames on the wire: content with a length, stuffed so that a zero byte only ever means "frame ends", with a check.

    wire      00 00 00 | stuffed | check | 00
    stuffed   COBS(content)
    content   length | kind | seq | payload ...
    length    number of bytes of content, with a bit of even parity: pccc cccc
    kind      d1nn nnnn, also of even parity; d is set in what a board sends
    check     three bytes that carry the 16 bits of a CRC over the stuffed bytes: 10cccccc 10cccccc 1100cccc

Stuffing: Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on Networking 7(2):159-172, 1999.
Checksum: CRC-16/IBM-3740 of the "Catalogue of parametrised CRC algorithms" (polynomial 0x1021, start 0xFFFF), which is
`binascii.crc_hqx(data, 0xFFFF)`. The start register must not be zero: with a zero start, leading zero bytes are invisible
to a CRC.

The checksum covers the bytes on the wire, not the content. One wrong bit in a stuffing byte changes many bytes of the
content, and then a checksum of the content guarantees nothing (about 1 in 65,536 passes). Over the stuffed bytes a wrong
bit stays one wrong bit, and up to three of them are always detected if none of them adds or removes a delimiter. The
other rules protect against one or two that do. A frame begins after three zeros, which two wrong bits cannot make. Its
length is at its beginning, and one wrong bit makes no other length of it. No length is a kind. So one or two wrong bits
never make another frame; SPEC.md has the proof.
"""

from __future__ import annotations

from binascii import crc_hqx
from dataclasses import dataclass
from typing import Final, NamedTuple

from protocol.errors import BadFrame, WrongUse

OVERHEAD: Final = 3
"""Bytes of a content besides its payload: length, kind and seq."""
CHECK: Final = 3
"""Bytes of the check after the stuffed content."""
MAX_PAYLOAD: Final = 32
"""Bytes of the longest payload, a Status."""
MAX_CONTENT: Final = OVERHEAD + MAX_PAYLOAD
MAX_ENCODED: Final = MAX_CONTENT + 1 + CHECK
"""Most bytes between two delimiters; a content shorter than 254 bytes needs one stuffing byte."""
LEAD: Final = b"\0\0\0"
"""What precedes a frame: one zero ends whatever came before, and two wrong bits do not make three."""
MAX_FRAME: Final = len(LEAD) + MAX_ENCODED + 1

CRC_START: Final = 0xFFFF
FULL_BLOCK: Final = 254

_CODES: Final = tuple(bytes((n + 1,)) for n in range(255))


def with_parity(number: int) -> int:
    """A seven-bit number with a parity bit on top that makes the number of ones even."""
    return number | (number.bit_count() & 1) << 7


LENGTHS: Final = tuple(with_parity(length) for length in range(MAX_CONTENT + 1))
"""The byte that encodes each length of a content."""
KINDS: Final = frozenset(kind for kind in range(256) if kind & 0x40 and not kind.bit_count() & 1)
"""All possible kinds: two wrong bits from each other and from every length, and never a possible stuffing code."""


def cobs_encode(data: bytes) -> bytes:
    """Return the data without any zero byte, at least one byte longer. No delimiter is added."""
    pieces: list[bytes] = []
    for part in data.split(b"\0"):
        at = 0
        while len(part) - at >= FULL_BLOCK:
            pieces.append(b"\xff" + part[at : at + FULL_BLOCK])
            at += FULL_BLOCK
        pieces.append(_CODES[len(part) - at] + part[at:])
    if len(pieces) > 1 and pieces[-1] == b"\x01" and pieces[-2][0] == 0xFF:
        pieces.pop()  # a full block represents no zero, so there is none to cancel at the end
    return b"".join(pieces)


def cobs_decode(encoded: bytes) -> bytes:
    """Return the data of an encoding. Raises BadFrame on a zero byte or a code that points past the end."""
    if 0 in encoded:
        raise BadFrame("a zero byte inside a frame")
    data = bytearray()
    at, end = 0, len(encoded)
    while at < end:
        code = encoded[at]
        following = at + code
        if following > end:
            raise BadFrame("a stuffing code points past the end of the frame")
        data += encoded[at + 1 : following]
        if code != 0xFF and following < end:
            data.append(0)
        at = following
    return bytes(data)


def encode_frame(kind: int, seq: int, payload: bytes) -> bytes:
    """Return the bytes of one frame for the wire, delimiters included.

    The delimiters in front end any noise before them, so noise cannot swallow the frame. Raises WrongUse if kind is not
    valid, seq does not fit a byte or the payload is too long.
    """
    if not (kind in KINDS and 0 <= seq <= 0xFF and len(payload) <= MAX_PAYLOAD):
        raise WrongUse(f"kind {kind}, seq {seq} or a payload of {len(payload)} bytes does not fit a frame")
    stuffed = cobs_encode(bytes((LENGTHS[OVERHEAD + len(payload)], kind, seq)) + payload)
    return LEAD + stuffed + check_bytes(crc_hqx(stuffed, CRC_START)) + b"\0"


def check_bytes(crc: int) -> bytes:
    """The 16 bits of a checksum as three bytes, none of them zero."""
    return bytes((0x80 | crc >> 10, 0x80 | crc >> 4 & 0x3F, 0xC0 | crc & 0x0F))


class CheckedFrame(NamedTuple):
    """The content of a frame that passed the checks."""

    kind: int
    seq: int
    payload: bytes


@dataclass(slots=True)
class FrameCounters:
    """Counts of good frames, and of the others by their fault."""

    good: int = 0
    bad_cobs: int = 0
    bad_crc: int = 0
    bad_head: int = 0
    """A wrong length, or an impossible kind."""
    oversize: int = 0
    unled: int = 0
    """Fewer than three zeros in front."""

    @property
    def damaged(self) -> int:
        """The number of all that were not good."""
        return self.bad_cobs + self.bad_crc + self.bad_head + self.oversize + self.unled


class Deframer:
    """Turns bytes in chunks of any size into checked frames, in constant memory.

    Garbage is counted and dropped; any exception from `feed` is a bug in this class.
    """

    __slots__ = ("_skipping", "_tail", "_zeros", "counters")

    def __init__(self) -> None:
        self.counters = FrameCounters()
        self._tail = b""  # begun but not yet delimited; never longer than MAX_ENCODED
        self._skipping = False  # the current run is too long or has no lead: drop it up to its delimiter
        self._zeros = 0  # consecutive zeros just before the current run

    def feed(self, data: bytes) -> list[CheckedFrame]:
        """Return the good frames that end within `data`, in order."""
        *ended, rest = data.split(b"\0")
        frames: list[CheckedFrame] = []
        for piece in ended:
            if piece:
                self._extend(piece)
            if self._tail:
                self._close(frames)
            elif not self._skipping:
                self._zeros += 1
                continue
            self._zeros, self._skipping = 1, False
        if rest:
            self._extend(rest)
        return frames

    def _extend(self, piece: bytes) -> None:
        if self._skipping:
            return
        if not self._tail and self._zeros < len(LEAD):
            self._skipping = True
            self.counters.unled += 1
        elif len(self._tail) + len(piece) > MAX_ENCODED:
            self._tail, self._skipping = b"", True
            self.counters.oversize += 1
        else:
            self._tail += piece

    def _close(self, frames: list[CheckedFrame]) -> None:
        encoded, self._tail = self._tail, b""
        stuffed, check = encoded[:-CHECK], encoded[-CHECK:]
        if check != check_bytes(crc_hqx(stuffed, CRC_START)):
            self.counters.bad_crc += 1
            return
        try:
            content = cobs_decode(stuffed)
        except BadFrame:
            self.counters.bad_cobs += 1
            return
        length = len(content)
        if not OVERHEAD <= length <= MAX_CONTENT or content[0] != LENGTHS[length] or content[1] not in KINDS:
            self.counters.bad_head += 1
            return
        self.counters.good += 1
        frames.append(CheckedFrame(content[1], content[2], content[OVERHEAD:]))
