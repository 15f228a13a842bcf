"""Ways to damage a JPEG or TIFF file by its structure: segments, directories, fields (CIPA DC-008, 4.5 and 4.6)."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from random import Random

ENTRY = 12  # bytes of one field: tag, type, count, value or its offset
POINTERS = {0x8769, 0x8825, 0xA005}  # fields that lead to another directory
TAGS = (0x010F, 0x0110, 0x0112, 0x0132, 0x829A, 0x9003, 0x9010, 0x9011, 0x9291, 0xA002, 0xA003, 0xA405, 0xA432, 0xA20E)
SIZES = (0, 1, 2, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF)
DATES = (
    b"0000:00:00 00:00:00", b"    :  :     :  :  ", b"9999:12:31 23:59:59", b"0001:01:01 00:00:00",
    b"2026:13:45 25:61:61", b"2026:02:30 12:00:00", b"2026-02-03T12:00:00", b"\xff\xfe\xff\xfe\xff\xfe\xff\xfe",
    b"1970:01:01 00:00:00", b"-001:01:01 00:00:00",
)  # fmt: skip
ZONES = (b"+99:99\0", b"-24:00\0", b"+14:60\0", b"Z\0\0\0\0\0\0", b"\xff\xff\xff\xff\xff\xff\xff")


@dataclass(frozen=True, slots=True)
class Field:
    """The places of a directory's field and of its value in the file, in bytes from the file's beginning."""

    at: int
    value_at: int


@dataclass(frozen=True, slots=True)
class Directories:
    """The fields of a TIFF structure, and the places of the offsets of its directories."""

    order: str  # for struct: < or >
    begin: int
    fields: tuple[Field, ...]
    links: tuple[int, ...]


def tiff_begin(content: bytes) -> int | None:
    """The beginning of the TIFF structure in a TIFF file or a JPEG file with EXIF; None without one."""
    if content[:4] in {b"II*\0", b"MM\0*"}:
        return 0
    exif = content.find(b"Exif\0\0")
    return exif + 6 if exif >= 0 else None


def directories(content: bytes) -> Directories | None:
    """The contents of a picture's TIFF structure; None if it has none."""
    begin = tiff_begin(content)
    if begin is None:
        return None
    order = "<" if content[begin : begin + 2] == b"II" else ">"
    fields: list[Field] = []
    links = [begin + 4]
    for link in links:  # grows meanwhile
        at = begin + struct.unpack_from(f"{order}I", content, link)[0]
        if at == begin or at + 2 > len(content) or len(links) > 20:
            continue
        count = struct.unpack_from(f"{order}H", content, at)[0]
        for number in range(min(count, (len(content) - at - 2) // ENTRY)):
            place = at + 2 + ENTRY * number
            tag, _, long, where = struct.unpack_from(f"{order}HHII", content, place)
            fields.append(Field(place, begin + where if long > 4 else place + 8))
            if tag in POINTERS:
                links.append(place + 8)
        after = at + 2 + ENTRY * count
        if after + 4 <= len(content):
            links.append(after)
    return Directories(order, begin, tuple(fields), tuple(links))


def segments(content: bytes) -> Iterator[tuple[int, int]]:
    """Marker and place of each segment of a JPEG file, up to the picture itself."""
    at = 2
    while at + 4 <= len(content) and content[at] == 0xFF:
        yield content[at + 1], at
        if content[at + 1] == 0xDA:
            return
        at += 2 + struct.unpack_from(">H", content, at + 2)[0]


def spoilt_picture(content: bytes, chance: Random) -> bytes:
    """A JPEG or TIFF file with one or a few of its parts damaged."""
    spoilt = bytearray(content)
    for _ in range(chance.choice((1, 1, 2, 4))):
        found = directories(bytes(spoilt)) if tiff_begin(bytes(spoilt)) is not None else None
        if found is None or not found.fields or chance.random() < 0.2:
            _spoil_segment(spoilt, chance)
        else:
            _spoil_field(spoilt, found, chance)
    return bytes(spoilt)


def _put(spoilt: bytearray, at: int, piece: bytes) -> None:
    """Overwrite bytes; the file keeps its size."""
    if 0 <= at < len(spoilt):
        spoilt[at : at + len(piece)] = piece[: len(spoilt) - at]


def _spoil_segment(spoilt: bytearray, chance: Random) -> None:
    """Damage a segment's size or the picture's, or keep only the beginning of the file."""
    places = list(segments(bytes(spoilt)))
    frames = [at for marker, at in places if 0xC0 <= marker <= 0xC2]
    how = chance.randrange(3)
    if how == 0 and frames:
        size = struct.pack(">HH", chance.choice((0, 1, 20_000, 65_535)), chance.choice((0, 1, 20_000, 65_535)))
        _put(spoilt, chance.choice(frames) + 5, size)
    elif how == 1 and places:
        _put(spoilt, chance.choice(places)[1] + 2, struct.pack(">H", chance.choice((0, 1, 2, 65_535))))
    else:
        del spoilt[chance.randrange(len(spoilt)) + 1 :]


def _spoil_field(spoilt: bytearray, found: Directories, chance: Random) -> None:
    field = chance.choice(found.fields)
    order = found.order
    size = chance.choice(SIZES)
    how = chance.randrange(8)
    if how == 0:
        _put(spoilt, field.at, struct.pack(f"{order}H", chance.choice(TAGS)))
    elif how == 1:
        _put(spoilt, field.at + 2, struct.pack(f"{order}H", chance.choice((0, *range(1, 14), 0xFFFF))))
    elif how == 2:
        _put(spoilt, field.at + 4, struct.pack(f"{order}I", size))
    elif how == 3:
        _put(spoilt, field.at + 8, struct.pack(f"{order}I", chance.choice((size, field.at - found.begin))))
    elif how == 4:
        _put(spoilt, chance.choice(found.links), struct.pack(f"{order}I", chance.choice((8, size, found.begin))))
    elif how == 5:
        _put(spoilt, found.begin, chance.choice((b"II", b"MM", b"XX")))
    elif how == 6:
        _put(spoilt, field.value_at, struct.pack(f"{order}II", size, chance.choice((0, 1, 0xFFFFFFFF))))
    else:
        _spoil_text(spoilt, found, chance)


def _spoil_text(spoilt: bytearray, found: Directories, chance: Random) -> None:
    """Write a time or a zone that no clock shows; or else noise into a text."""
    texts = {}
    for field in found.fields:
        tag, kind, count = struct.unpack_from(f"{found.order}HHI", spoilt, field.at)
        if kind == 2 and field.value_at + count <= len(spoilt):
            texts[tag] = (field.value_at, count)
    if not texts:
        return
    tag = chance.choice(sorted(texts))
    at, count = texts[tag]
    piece = chance.choice(DATES if count == 20 else ZONES if count == 7 else (b"\xff" * count, b"=1+1\n\r", b"\0"))
    _put(spoilt, at, piece[:count])
