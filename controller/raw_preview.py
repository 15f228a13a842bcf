"""The JPEG preview inside a raw file, as cameras write it. Nothing is developed.

Most raw files are TIFF (TIFF 6.0, sections 2 and 8; its Technical Note 1 on trees of directories; DNG 1.7, "Preview
Images"). Their directories point to previews as strips (Compression 6 or 7) or by JPEGInterchangeFormat. Some have a tag
that is a whole JPEG (0x002E); others begin with a text and say at byte 84 where their JPEG is (both from memory). A JPEG
is a preview if its frame is baseline, extended or progressive (ITU-T T.81, table B.1): raw pixels are often a lossless
JPEG.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

COMPRESSION, STRIPS, STRIP_BYTES, SUB_IFDS, JPEG_AT, JPEG_BYTES = 0x103, 0x111, 0x117, 0x14A, 0x201, 0x202
OLD_JPEG, NEW_JPEG = 6, 7
WHOLE_JPEG = 0x2E
TEXT_JPEG_AT = 84
ORDERS = {b"II": "<", b"MM": ">"}
SIZES = {3: 2, 4: 4, 13: 4}  # bytes of a value of each whole type that is read here
MOST_DIRECTORIES, MOST_ENTRIES, MOST_VALUES = 64, 1000, 64
MOST_BYTES = 2**28  # of a preview
SOI, SOS = b"\xff\xd8", 0xDA
SEEN = frozenset({0xC0, 0xC1, 0xC2})  # frames that every decoder knows
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
LONGEST_HEAD = 1024  # segments before a frame


@dataclass(frozen=True, slots=True)
class RawPreview:
    """Where a preview is in its file, in bytes, and its width and height as stored, in pixels."""

    begin: int
    length: int
    size_px: tuple[int, int]


def largest_preview(file: BinaryIO) -> RawPreview | None:
    """The preview with the most pixels in an open raw file; None if there is none. Raises OSError."""
    found = [each for place in _places(file) if (each := _checked(file, *place)) is not None]
    return max(found, key=lambda one: one.size_px[0] * one.size_px[1], default=None)


def _checked(file: BinaryIO, begin: int, length: int) -> RawPreview | None:
    """A preview if a JPEG that can be seen begins there."""
    if not 0 < length <= MOST_BYTES:
        return None
    file.seek(begin)
    if file.read(2) != SOI:
        return None
    for _ in range(LONGEST_HEAD):
        head = file.read(4)
        if len(head) < 4 or head[0] != 0xFF or head[1] == SOS:
            return None
        size = int.from_bytes(head[2:], "big")
        if head[1] in FRAMES:
            frame = file.read(5)
            if head[1] not in SEEN or len(frame) < 5:
                return None
            high, wide = struct.unpack(">HH", frame[1:])
            return RawPreview(begin, length, (wide, high)) if wide and high else None
        file.seek(size - 2, 1)
    return None


def _places(file: BinaryIO) -> Iterator[tuple[int, int]]:
    """Where a JPEG may be: first byte and length."""
    file.seek(0)
    head = file.read(TEXT_JPEG_AT + 8)
    if len(head) < TEXT_JPEG_AT + 8:
        return
    order = ORDERS.get(head[:2])
    if order is None:
        begin, length = struct.unpack(">II", head[TEXT_JPEG_AT:])
        yield begin, length
        return
    waiting, seen = [struct.unpack(f"{order}I", head[4:8])[0]], set[int]()
    while waiting and len(seen) < MOST_DIRECTORIES:
        begin = waiting.pop()
        if begin in seen or begin == 0:
            continue
        seen.add(begin)
        entries, following = _directory(file, begin, order)
        waiting += [following, *entries.get(SUB_IFDS, ((), 0))[0]]
        yield from _of_directory(entries)


Entry = tuple[tuple[int, ...], int]
"""The values of an entry, and where they begin in the file if they are bytes."""


def _of_directory(entries: dict[int, Entry]) -> Iterator[tuple[int, int]]:
    def values(tag: int) -> tuple[int, ...]:
        return entries.get(tag, ((), 0))[0]

    if values(JPEG_AT) and values(JPEG_BYTES):
        yield values(JPEG_AT)[0], values(JPEG_BYTES)[0]
    if values(COMPRESSION)[:1] in {(OLD_JPEG,), (NEW_JPEG,)} and len(values(STRIPS)) == len(values(STRIP_BYTES)) == 1:
        yield values(STRIPS)[0], values(STRIP_BYTES)[0]
    if WHOLE_JPEG in entries:
        length, begin = entries[WHOLE_JPEG][0][0], entries[WHOLE_JPEG][1]
        yield begin, length


def _directory(file: BinaryIO, begin: int, order: str) -> tuple[dict[int, Entry], int]:
    """The entries that matter of the directory at `begin`, and where the next one is (0: there is none)."""
    file.seek(begin)
    head = file.read(2)
    count = min(struct.unpack(f"{order}H", head)[0], MOST_ENTRIES) if len(head) == 2 else 0
    table = file.read(12 * count)
    after = file.read(4)
    entries: dict[int, Entry] = {}
    for place in range(0, len(table) - 11, 12):
        tag, kind, number = struct.unpack(f"{order}HHI", table[place : place + 8])
        inside = table[place + 8 : place + 12]
        if tag == WHOLE_JPEG and kind == 7:
            entries[tag] = ((number,), struct.unpack(f"{order}I", inside)[0])
        elif kind in SIZES and 0 < number <= MOST_VALUES:
            entries[tag] = (_values(file, inside, SIZES[kind], number, order), 0)
    return entries, struct.unpack(f"{order}I", after)[0] if len(after) == 4 else 0


def _values(file: BinaryIO, inside: bytes, size: int, number: int, order: str) -> tuple[int, ...]:
    content = inside
    if size * number > len(inside):
        file.seek(struct.unpack(f"{order}I", inside)[0])
        content = file.read(size * number)
    number = min(number, len(content) // size)
    return struct.unpack(f"{order}{number}{'H' if size == 2 else 'I'}", content[: size * number])
