"""Frames and messages of the wire, written from protocol/SPEC.md alone: no code is shared with `protocol/`."""

from __future__ import annotations

import struct
from typing import Any

Fields = dict[str, Any]

# Name: kind, and each field with its width (B u8, H u16, I u32, i i32), as in the tables of section 3.
MESSAGES: dict[str, tuple[int, str]] = {
    "Hello": (0x41, "major:B minor:B nonce:I"),
    "GetStatus": (0x42, ""),
    "SetAxis": (0x44, "id:I axis:B min:i max:i speed:I accel:I"),
    "Arm": (0x47, "id:I boot:I silence_ms:I"),
    "Reference": (0x48, "id:I pan:I tilt:I divisor:H"),
    "Move": (0x4B, "id:I pan:i tilt:i"),
    "Expose": (0x4D, "id:I frame:I exposure:B focus_ms:H press_ms:I limit_ms:I"),
    "Stop": (0x4E, ""),
    "Halt": (0x50, ""),
    "GetIndex": (0x53, ""),
    "SetShaper": (0x55, "id:I axis:B " + " ".join(f"delay_{n}_ms:H share_{n}:H" for n in range(1, 6))),
    "Welcome": (0xC3, "major:B minor:B nonce:I boot:I last:I capabilities:H bytes:H rate:I"),
    "Accepted": (0xC5, ""),
    "Refused": (0xC6, "reason:B"),
    "Status": (
        0xC9,
        "boot:I state:B flags:B cause:B pan:i tilt:i running:I finished:I outcome:B finished_ms:I clock_ms:I",
    ),
    "Index": (0xCA, "pan_edges:I pan:i pan_edge:B tilt_edges:I tilt:i tilt_edge:B"),
    "Booted": (0xE1, "boot:I cause:B"),
    "Finished": (0xE2, "id:I outcome:B pan:i tilt:i clock_ms:I"),
    "Held": (0xE4, "cause:B pan:i tilt:i clock_ms:I"),
}
BY_KIND = {kind: name for name, (kind, _) in MESSAGES.items()}


def _layout(name: str) -> tuple[list[str], struct.Struct]:
    pairs = [field.split(":") for field in MESSAGES[name][1].split()]
    return [field for field, _ in pairs], struct.Struct(">" + "".join(width for _, width in pairs))


def checksum(data: bytes) -> int:
    """CRC-16/IBM-3740, bit by bit; of b"123456789" it is 0x29B1 (the catalogue's check value, given in the SPEC)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = crc << 1 ^ (0x1021 if crc & 0x8000 else 0)
        crc &= 0xFFFF
    return crc


def stuff(content: bytes) -> bytes:
    """COBS of fewer than 254 bytes: each zero becomes the distance to the next one."""
    out = bytearray()
    for part in content.split(b"\0"):
        out.append(len(part) + 1)
        out += part
    return bytes(out)


def unstuff(stuffed: bytes) -> bytes:
    parts, at = [], 0
    while at < len(stuffed):
        parts.append(stuffed[at + 1 : at + stuffed[at]])
        at += stuffed[at]
    return b"\0".join(parts)


def wire(kind: int, seq: int, payload: bytes) -> bytes:
    """One frame as sent over the wire."""
    length = 3 + len(payload)
    stuffed = stuff(bytes((length | length.bit_count() % 2 << 7, kind, seq)) + payload)
    crc = checksum(stuffed)
    return b"\0\0\0" + stuffed + bytes((0x80 | crc >> 10, 0x80 | crc >> 4 & 0x3F, 0xC0 | crc & 0xF)) + b"\0"


def encode(name: str, seq: int, fields: Fields) -> bytes:
    """A message as a frame; numbers that do not fit are truncated."""
    names, layout = _layout(name)
    widths = layout.format[1:]
    sizes = {"B": 8, "H": 16, "I": 32, "i": 32}
    values = []
    for field, width in zip(names, widths, strict=True):
        value = int(fields[field]) % (1 << sizes[width])
        values.append(value - (1 << 32) if width == "i" and value >= 1 << 31 else value)
    return wire(MESSAGES[name][0], seq, layout.pack(*values))


def decode(data: bytes) -> list[tuple[str, int, Fields]]:
    """The messages in whole frames from an undamaged line."""
    found = []
    for run in data.split(b"\0"):
        if run:
            content = unstuff(run[:-3])
            name = BY_KIND[content[1]]
            names, layout = _layout(name)
            found.append((name, content[2], dict(zip(names, layout.unpack(content[3:]), strict=True))))
    return found
