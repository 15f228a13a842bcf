"""Opening pictures: any picture is read, or refused in one sentence, in bounded time and memory."""

from __future__ import annotations

import io
import math
import os
import socket
import struct
import warnings
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller import picture_file
from controller.errors import InputError
from controller.kit.picture import shot_of
from controller.picture_file import MOST_PIXELS, read_card_tags, read_colours, read_facts, read_grey, read_upright
from tests.mutated import spoiling

READERS: tuple[Callable[[Path], object], ...] = (
    read_facts,
    read_grey,
    lambda path: read_grey(path, 64),
    lambda path: read_upright(path, 64),
    lambda path: read_colours(path, 16),
    read_card_tags,
    shot_of,
)
CURES = ("Give a JPEG or TIFF as the camera wrote it.", "Give a JPEG, PNG or TIFF.", "close other programs.")
LIBRARY_WORDS = ("Errno", "PIL", "0x", "object at", "struct", "unpack", "index out", "NoneType", "int too", "codec")


def saved(path: Path, size: tuple[int, int] = (96, 64), details: dict[int, Any] | None = None, **more: Any) -> Path:
    exif = Image.Exif()
    exif.update({Base.Make: "Anvil", Base.Model: "One"})
    exif.get_ifd(IFD.Exif).update({Base.DateTimeOriginal: "2026:06:21 07:00:01", **(details or {})})
    codes = np.random.default_rng(1).integers(0, 256, (*size[::-1], 3), dtype=np.uint8)
    Image.fromarray(codes).save(path, exif=exif, **more)
    return path


def refusals(path: Path) -> list[str]:
    """What each reader says against a file; empty if it reads it."""
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for read in READERS:
            try:
                read(path)
            except InputError as error:
                (sentence,) = error.sentences
                assert sentence.startswith(f"{path}: ")
                assert not any(word in sentence.removeprefix(str(path)) for word in LIBRARY_WORDS), sentence
                found.append(sentence.removeprefix(f"{path}: "))
            else:
                found.append("")
    return found


def test_what_is_no_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "link.jpg").symlink_to(tmp_path / "gone")
    (tmp_path / "folder.jpg").mkdir()
    with socket.socket(socket.AF_UNIX) as bound:
        bound.bind(str(tmp_path / "s"))
        whats = {"pipe.jpg": "is a pipe", "folder.jpg": "is a folder", "s": "is a socket"}
        for name, what in whats.items():
            assert all(said.startswith(what) for said in refusals(tmp_path / name))
    assert set(refusals(tmp_path / "link.jpg")) == {"is a link to a file that does not exist."}
    assert set(refusals(tmp_path / "nothing.jpg")) == {"does not exist."}
    assert all(said.startswith("is a device") for said in refusals(Path("/dev/null")))


def with_size(path: Path, width: int, height: int) -> Path:
    """The JPEG with another size in its frame header (ITU-T T.81, section B.2.2), but no more data."""
    content = bytearray(path.read_bytes())
    frame = content.index(b"\xff\xc0")
    content[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    path.write_bytes(content)
    return path


def test_more_pixels_than_are_read(tmp_path: Path) -> None:
    path = with_size(saved(tmp_path / "a.jpg"), 32768, 16385)
    said = "has 32768 x 16385 pixels, more than the 537 million that are read."
    assert [each.startswith(said) for each in refusals(path)] == [True] * 5 + [
        False,
        True,
    ]  # the card's reader needs none


@pytest.mark.parametrize("size", [(23200, 17400), (32768, 16384)])
def test_photographs_beyond_the_library_s_own_limit_are_read(size: tuple[int, int], tmp_path: Path) -> None:
    """Cameras that shift their sensor make 400 megapixels (common practice, no source); the library stops at 179."""
    assert math.prod(size) <= MOST_PIXELS
    path = with_size(saved(tmp_path / "a.jpg"), *size)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert read_facts(path).size_px == size
        assert shot_of(path).pixels == size


@pytest.mark.parametrize("ending", ["jpg", "tif", "png"])
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 10**6))
def test_damaged_bytes_are_read_or_refused(ending: str, seed: int, tmp_path: Path) -> None:
    chance = Random(seed)
    path = saved(tmp_path / f"a.{ending}")
    content = path.read_bytes()
    begin = chance.choice((0, 0, content.find(b"Exif\0\0"))) if ending == "jpg" else 0
    piece = content[max(begin, 0) : chance.choice((400, len(content)))]
    for _ in range(chance.choice((1, 1, 3))):
        piece = chance.choice(spoiling.BYTES)(piece, chance)
    path.write_bytes(content[: max(begin, 0)] + piece + content[max(begin, 0) + len(piece) :])
    assert all(said == "" or said.endswith(CURES) for said in refusals(path))


ENTRY = st.tuples(
    st.sampled_from([0x8769, 0x8825, 0xA005, 0x014A, *map(int, (Base.Make, Base.Orientation, Base.DateTimeOriginal))])
    | st.sampled_from(list(map(int, (Base.ExposureTime, Base.FocalLength, Base.SubsecTimeOriginal, 0x927C, 0x9286))))
    | st.integers(0, 65535),
    st.integers(0, 14),
    st.sampled_from([0, 1, 2, 4, 20, 999, 1000, 65535, 2**31, 2**32 - 1]) | st.integers(0, 60),
    st.sampled_from([0, 8, 9, 14, 26, 2**31, 2**32 - 1]) | st.integers(0, 400),
)


DIRECTORIES = st.lists(st.lists(ENTRY, max_size=12), min_size=1, max_size=4)
Entries = list[list[tuple[int, int, int, int]]]


def directories(order: str, entries: Entries) -> bytes:
    """EXIF with these directories one after the other (TIFF 6.0, section 2); each points to the next, the last to the
    first.
    """
    content = struct.pack(f"{order}2sHI", b"II" if order == "<" else b"MM", 42, 8)
    for number, each in enumerate(entries):
        size = 2 + 12 * len(each) + 4
        following = len(content) + size if number + 1 < len(entries) else 8
        rows = b"".join(struct.pack(f"{order}HHII", *entry) for entry in each)
        content += struct.pack(f"{order}H", len(each)) + rows + struct.pack(f"{order}I", following)
    return content


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from("<>"), DIRECTORIES, st.sampled_from(["jpg", "tif"]))
def test_any_directories_are_read_or_refused(
    tmp_path: Path, order: str, entries: list[list[tuple[int, int, int, int]]], ending: str
) -> None:
    path = tmp_path / f"a.{ending}"
    exif = directories(order, entries)
    if ending == "tif":
        path.write_bytes(exif)
    else:
        whole = io.BytesIO()
        Image.new("L", (96, 64)).save(whole, "JPEG", exif=b"Exif\0\0" + exif)
        path.write_bytes(whole.getvalue())
    assert all(said == "" or said.endswith(CURES) for said in refusals(path))


def test_directories_that_lead_in_circles_are_left(tmp_path: Path) -> None:
    """Two thousand pointers to the directory that contains them, whose entries are read again for each."""
    path = tmp_path / "A.JPG"
    Image.new("L", (96, 64)).save(path, exif=b"Exif\0\0" + directories("<", [[(0x8825, 4, 1, 8)] * 2000]))
    with pytest.raises(InputError, match="its EXIF is damaged"):
        read_card_tags(path)
    refusals(path)


@pytest.mark.parametrize("mode", ["RGB", "L", "I;16", "F", "1", "CMYK"])
@pytest.mark.parametrize("turn", range(10))
def test_pictures_are_upright(turn: int, mode: str, tmp_path: Path) -> None:
    """Compared with the library's own rotation (CIPA DC-008, Orientation); 0 and 9 are no orientations."""
    codes = np.arange(96 * 64).reshape(64, 96) % 251
    picture = Image.fromarray(codes.astype({"I;16": np.uint16, "F": np.float32}.get(mode, np.uint8)))
    picture = picture if mode in {"I;16", "F"} else picture.convert(mode)
    exif = Image.Exif()
    exif[Base.Orientation] = turn
    path = tmp_path / ("a.tif" if mode in {"I;16", "F", "1"} else "a.jpg")
    picture.save(path, exif=exif)
    got = np.asarray(read_grey(path).picture)
    with path.open("rb") as file, Image.open(file) as image:
        upright = ImageOps.exif_transpose(image)
    wanted = np.asarray(upright, dtype=np.float64)
    if mode in {"I;16", "F"}:
        np.testing.assert_array_equal(got, np.rint(wanted * 255 / wanted.max()))
    else:
        np.testing.assert_allclose(got, np.asarray(upright.convert("L")), atol=2)
        colours = read_upright(path)
        assert colours.share == 1.0
        np.testing.assert_array_equal(np.asarray(colours.picture), np.asarray(upright.convert("RGB")))


def test_what_is_not_finite_is_black(tmp_path: Path) -> None:
    codes = np.full((64, 96), 100, dtype=np.float32)
    codes[0, :4] = (np.nan, np.inf, -np.inf, -5)
    Image.fromarray(codes).save(tmp_path / "a.tif")
    got = np.asarray(read_grey(tmp_path / "a.tif").picture)
    assert got[0, :5].tolist() == [0, 0, 0, 0, 255]
    Image.fromarray(codes * np.nan).save(tmp_path / "b.tif")
    assert not np.asarray(read_grey(tmp_path / "b.tif").picture).any()


def test_a_library_that_runs_out_of_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def exhausted(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(picture_file, "_upright", exhausted)
    with pytest.raises(InputError, match=r"needs more memory than is free; close other programs\."):
        read_grey(saved(tmp_path / "a.jpg"))


@pytest.mark.parametrize("value", [IFDRational(0, 0), IFDRational(1, 0), IFDRational(0, 5)])
def test_rationals_of_nothing_say_nothing(value: Any, tmp_path: Path) -> None:
    """A denominator of 0 means unknown: CIPA DC-008 for LensSpecification; cameras use it elsewhere too."""
    path = saved(tmp_path / "a.jpg", details={Base.FocalLength: value, Base.FNumber: value, Base.ExposureTime: value})
    shot = shot_of(path)
    assert (shot.focal_length_mm, shot.f_number, shot.shutter_seconds) == (None, None, None)


def test_a_name_that_would_steer_the_terminal(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    exif = Image.Exif()
    exif[Base.Model] = "One\x1b[2J\x07\r\nTwo"
    Image.new("L", (96, 64)).save(path, exif=exif)
    assert shot_of(path).model == "One [2J Two"
