"""The preview inside a raw file: found in every layout that is read, upright, and told from raw pixels."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.ExifTags import Base

from controller.errors import InputError
from controller.picture_file import read_card_tags, read_facts, read_grey, read_upright
from controller.raw_preview import RawPreview, largest_preview

SMALL, LARGE, LOSSLESS = (48, 32), (120, 80), (480, 320)
ORDERS = ("<", ">")
LAYOUTS = ("strip", "interchange", "sub", "whole", "text")


def jpeg(size: tuple[int, int], **more: bool) -> bytes:
    """A picture that is brighter to the right, so that a turn shows."""
    ramp = np.broadcast_to(np.linspace(20, 230, size[0]).astype(np.uint8), size[::-1])
    written = io.BytesIO()
    Image.fromarray(ramp).save(written, "JPEG", quality=95, **more)
    return written.getvalue()


def lossless(size: tuple[int, int]) -> bytes:
    """The head of a lossless JPEG (ITU-T T.81, B.2.2: SOF3), as raw pixels are stored."""
    return b"\xff\xd8\xff\xc3" + struct.pack(">HBHH", 11, 14, size[1], size[0]) + bytes(900)


class Tiff:
    """A TIFF file in the making (TIFF 6.0, section 2)."""

    def __init__(self, order: str, magic: int = 42) -> None:
        self.order = order
        self.data = bytearray(b"II" if order == "<" else b"MM") + struct.pack(f"{order}HI", magic, 0)

    def add(self, content: bytes) -> int:
        self.data += b"\0" * (len(self.data) % 2)
        self.data += content
        return len(self.data) - len(content)

    def directory(self, entries: dict[int, tuple[int, list[int] | bytes]], following: int = 0) -> int:
        table = struct.pack(f"{self.order}H", len(entries))
        for tag, (kind, values) in sorted(entries.items()):
            size = {2: 1, 3: 2, 4: 4, 7: 1}[kind]
            letter = {3: "H", 4: "I"}.get(kind, "B")
            content = values if isinstance(values, bytes) else struct.pack(f"{self.order}{len(values)}{letter}", *values)
            number = len(content) // size
            inside = content.ljust(4, b"\0") if len(content) <= 4 else struct.pack(f"{self.order}I", self.add(content))
            table += struct.pack(f"{self.order}HHI", tag, kind, number) + inside
        return self.add(table + struct.pack(f"{self.order}I", following))

    def finished(self, first: int) -> bytes:
        self.data[4:8] = struct.pack(f"{self.order}I", first)
        return bytes(self.data)


def raw_file(layout: str, order: str, large: bytes, orientation: int = 1) -> bytes:
    """A raw-like file: a thumbnail, lossless raw pixels, and a preview in this layout."""
    if layout == "text":
        head = b"INVENTEDCAMERA-RAW ".ljust(84, b"0") + struct.pack(">II", 200, len(large))
        return head.ljust(200, b"\0") + large + bytes(300)
    tiff = Tiff(order, 0x55 if layout == "whole" else 42)
    small, pixels, place = jpeg(SMALL), lossless(LOSSLESS), tiff.add(large)
    raw = tiff.directory({0x103: (3, [7]), 0x111: (4, [tiff.add(pixels)]), 0x117: (4, [len(pixels)])})
    thumbnail = tiff.directory({0x201: (4, [tiff.add(small)]), 0x202: (4, [len(small)])}, raw)
    strip = {0x103: (3, [6]), 0x111: (4, [place]), 0x117: (4, [len(large)])}
    interchange = {0x201: (4, [place]), 0x202: (4, [len(large)])}
    first: dict[int, tuple[int, list[int] | bytes]] = {
        0x10F: (2, b"Anvil\0"), 0x110: (2, b"One\0"), 0x112: (3, [orientation]),
    }  # fmt: skip
    if layout == "sub":
        first[0x14A] = (4, [raw, tiff.directory({**strip}), thumbnail])
    elif layout == "whole":
        first[0x2E] = (7, large)
    else:
        first |= strip if layout == "strip" else interchange
    return tiff.finished(tiff.directory(first, thumbnail))


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("progressive", [False, True])
def test_the_largest_preview_is_read_and_raw_pixels_are_not(
    layout: str, order: str, progressive: bool, tmp_path: Path
) -> None:
    large = jpeg(LARGE, progressive=progressive)
    path = tmp_path / "FULL0001.NEF"
    path.write_bytes(raw_file(layout, order, large))
    assert read_facts(path).size_px == LARGE
    with Image.open(io.BytesIO(large)) as image:
        assert np.array_equal(np.asarray(read_grey(path).picture), np.asarray(image))
    assert read_upright(path).picture.size == LARGE


@pytest.mark.parametrize(("orientation", "size"), [(1, LARGE), (3, LARGE), (6, LARGE[::-1]), (8, LARGE[::-1])])
def test_a_preview_is_upright_as_the_raw_file_says(orientation: int, size: tuple[int, int], tmp_path: Path) -> None:
    """CIPA DC-008, Orientation: 6 is turned right by 90 degrees to be upright."""
    path = tmp_path / "1.dng"
    path.write_bytes(raw_file("sub", "<", jpeg(LARGE), orientation))
    grey = np.asarray(read_grey(path).picture, dtype=float)
    assert grey.shape[::-1] == size
    bright = {1: grey[:, -5:], 3: grey[:, :5], 6: grey[-5:], 8: grey[:5]}[orientation]
    assert bright.mean() > 200
    assert read_facts(path).tags[Base.Orientation] == orientation
    as_stored = np.asarray(read_grey(path, orientation=1).picture)
    assert as_stored.shape[::-1] == LARGE


def test_a_raw_file_s_facts_are_its_own(tmp_path: Path) -> None:
    path = tmp_path / "1.nef"
    path.write_bytes(raw_file("strip", ">", jpeg(LARGE), 6))
    assert read_facts(path).tags[Base.Model] == "One"
    assert read_card_tags(path).tags["Image Model"] == "One"


def test_without_a_preview_it_is_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "1.nef"
    path.write_bytes(raw_file("strip", "<", lossless(LARGE))[:60])
    with pytest.raises(InputError, match="is a raw file without a preview that can be read"):
        read_grey(path)


@given(st.sampled_from(LAYOUTS), st.sampled_from(ORDERS), st.data())
def test_any_damage_is_told_or_does_no_harm(layout: str, order: str, data: st.DataObject) -> None:
    whole = raw_file(layout, order, jpeg(SMALL))
    spoilt = bytearray(whole[: data.draw(st.integers(0, len(whole)))] if data.draw(st.booleans()) else whole)
    for _ in range(data.draw(st.integers(0, 6))):
        if spoilt:
            spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    found = largest_preview(io.BytesIO(bytes(spoilt)))
    assert found is None or (isinstance(found, RawPreview) and found.length > 0 and min(found.size_px) > 0)


def test_directories_in_a_circle_end() -> None:
    tiff = Tiff("<")
    place = 16  # the two values of the entry come first
    assert tiff.directory({0x14A: (4, [place, place])}, place) == place
    assert largest_preview(io.BytesIO(tiff.finished(place) + bytes(100))) is None
