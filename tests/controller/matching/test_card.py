"""Reading the files on a card (EXIF: CIPA DC-008; traps as real cameras set them)."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import exifread
import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational, ImageFileDirectory_v2

from controller.errors import InputError
from controller.matching.card import read_card

MOMENT = datetime(2026, 6, 21, 7, 0, 1, tzinfo=UTC).timestamp()


def shot(path: Path, more: dict[Any, Any] | None = None, size: tuple[int, int] = (60, 40), **tags: Any) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    usual: dict[int, Any] = {Base.DateTimeOriginal: "2026:06:21 07:00:01", Base.ExposureTime: IFDRational(1, 125)}
    details = {tag: value for tag, value in (usual | (more or {})).items() if value is not None}
    names: dict[int, Any] = {Base.Make: tags.get("maker", "Anvil"), Base.Model: tags.get("model", "One")}
    if path.suffix.lower() == ".nef":  # most raw files are TIFF files (TIFF 6.0) inside
        entries = ImageFileDirectory_v2()
        for tag, value in (names | {IFD.Exif: {int(tag): value for tag, value in details.items()}}).items():
            entries[tag] = value
        Image.new("L", size).save(path, "TIFF", tiffinfo=entries)
    else:
        exif = Image.Exif()
        exif.update(names)
        exif.get_ifd(IFD.Exif).update(details)
        Image.new("L", size).save(path, exif=exif)
    return path


def test_a_moment_with_its_fraction_and_its_zone(tmp_path: Path) -> None:
    shot(tmp_path / "FULL0041.JPG", {Base.SubsecTimeOriginal: "046", Base.OffsetTimeOriginal: "+01:30"})
    (file,) = read_card(tmp_path)
    assert file.taken_s == pytest.approx(MOMENT + 0.046 - 5400)
    assert file.has_zone
    assert file.shutter_s == pytest.approx(1 / 125)
    assert (file.camera, file.trouble, file.stamp.number) == ("Anvil One", None, 41)


@pytest.mark.parametrize(
    ("digits", "fraction"), [("90", 0.9), ("5", 0.5), ("046", 0.046), ("", 0.0), ("780685", 0.780685)]
)
def test_sub_seconds_are_a_decimal_fraction(digits: str, fraction: float, tmp_path: Path) -> None:
    """Section 3.1 of CIPA DC-008's tag table, from memory: digits after the point, not milliseconds."""
    shot(tmp_path / "A.JPG", {Base.SubsecTimeOriginal: digits})
    assert read_card(tmp_path)[0].taken_s == pytest.approx(MOMENT + fraction)


def test_names_padded_with_zeros_and_rationals_of_nothing(tmp_path: Path) -> None:
    shot(tmp_path / "A.JPG", {Base.ExposureTime: IFDRational(0, 0)}, maker="ANVIL  \0\0", model="One\0\0")
    (file,) = read_card(tmp_path)
    assert (file.camera, file.shutter_s) == ("ANVIL One", 0.0)


def test_a_raw_file_and_its_jpeg_are_one_shot(tmp_path: Path) -> None:
    shot(tmp_path / "100X" / "SHOT0001.NEF")
    shot(tmp_path / "100X" / "SHOT0001.JPG")
    shot(tmp_path / "101X" / "SHOT0001.JPG", {Base.DateTimeOriginal: "2026:06:21 07:00:02"})
    files = read_card(tmp_path)
    assert [[path.name for path in file.paths] for file in files] == [["SHOT0001.JPG", "SHOT0001.NEF"], ["SHOT0001.JPG"]]


def test_a_raw_file_alone_is_read(tmp_path: Path) -> None:
    shot(tmp_path / "SHOT0001.NEF")
    assert read_card(tmp_path)[0].taken_s == MOMENT


def test_the_jpeg_is_damaged_and_the_raw_file_is_not(tmp_path: Path) -> None:
    shot(tmp_path / "SHOT0001.NEF")
    (tmp_path / "SHOT0001.JPG").write_bytes(b"nothing")
    (file,) = read_card(tmp_path)
    assert file.taken_s == MOMENT
    assert file.trouble


def test_a_jpeg_cut_short_says_so(tmp_path: Path) -> None:
    path = shot(tmp_path / "A.JPG", size=(600, 400))
    path.write_bytes(path.read_bytes()[:-200])
    (file,) = read_card(tmp_path)
    assert (file.trouble, file.taken_s) == ("is cut short", MOMENT)


def test_of_a_jpeg_cut_short_the_raw_file_tells_the_rest(tmp_path: Path) -> None:
    path = shot(tmp_path / "SHOT0001.JPG", {Base.ExposureTime: None}, size=(600, 400))
    path.write_bytes(path.read_bytes()[:-200])
    raw = shot(tmp_path / "SHOT0001.NEF")
    (file,) = read_card(tmp_path)
    assert (file.trouble, file.taken_s, file.size) == ("is cut short", MOMENT, raw.stat().st_size)
    assert file.shutter_s == pytest.approx(1 / 125)
    assert [one.name for one in file.paths] == [path.name, raw.name]


@pytest.mark.parametrize("raw_says", [True, False])
def test_a_jpeg_without_a_moment_has_that_of_its_raw_file(raw_says: bool, tmp_path: Path) -> None:
    shot(tmp_path / "SHOT0001.JPG", {Base.DateTimeOriginal: None})
    shot(tmp_path / "SHOT0001.NEF", {} if raw_says else {Base.DateTimeOriginal: None})
    (file,) = read_card(tmp_path)
    assert file.trouble == "does not say when it was taken"
    assert file.taken_s == (MOMENT if raw_says else None)


def test_a_second_copy_of_a_file_is_not_another_shot(tmp_path: Path) -> None:
    one = shot(tmp_path / "FULL0003.JPG")
    (tmp_path / "FULL0003 (1).JPG").write_bytes(one.read_bytes())
    shot(tmp_path / "FULL0004.JPG", size=(64, 40))  # in the same second, but another picture
    troubles = {file.name: file.trouble for file in read_card(tmp_path)}
    assert troubles == {"FULL0003 (1).JPG": "is a copy of FULL0003.JPG", "FULL0003.JPG": None, "FULL0004.JPG": None}


@pytest.mark.parametrize(
    "name", ["FULL0003 (1).JPG", "Copy of FULL0003.JPG", "FULL9000.JPG", "A.JPG", "FULL0003-2.JPG", "0/FULL0003.jpg"]
)
@pytest.mark.parametrize("original", [1, 3, 5])
def test_the_original_is_the_one_whose_name_goes_on(name: str, original: int, tmp_path: Path) -> None:
    for number in range(1, 6):
        shot(
            tmp_path / "a" / f"FULL{number:04}.JPG",
            {Base.DateTimeOriginal: f"2026:06:21 07:00:{number:02}"},
            (60 + number, 40),
        )
    first = tmp_path / "a" / f"FULL{original:04}.JPG"
    copy = tmp_path / "b" / name.replace("0003", f"{original:04}")
    copy.parent.mkdir(parents=True)
    copy.write_bytes(first.read_bytes())
    copies = {str(file.paths[0]): file.trouble for file in read_card(tmp_path) if file.trouble}
    assert copies == {str(copy): f"is a copy of {first.name}"}


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "A.JPG")
    (tmp_path / "B.JPG").symlink_to(tmp_path / "gone")
    troubles = {file.name: file.trouble for file in read_card(tmp_path)}
    assert troubles["A.JPG"] == "is a pipe, not a photograph"
    assert troubles["B.JPG"] == "is a link to a file that does not exist"


def test_a_name_of_thousands_of_characters_is_cut(tmp_path: Path) -> None:
    shot(tmp_path / "A.JPG", model="x" * 60_000)
    assert len(read_card(tmp_path)[0].camera) == 200


def test_what_has_no_moment_comes_last(tmp_path: Path) -> None:
    shot(tmp_path / "A.JPG", {Base.DateTimeOriginal: None})
    shot(tmp_path / "B.JPG")
    (tmp_path / "._B.JPG").write_bytes(b"left by a file manager")
    assert [(file.name, file.trouble) for file in read_card(tmp_path)] == [
        ("B.JPG", None),
        ("A.JPG", "does not say when it was taken"),
    ]


def test_a_folder_without_pictures_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("nothing here")
    with pytest.raises(InputError, match="holds no photographs"):
        read_card(tmp_path)
    for path in (tmp_path / "notes.txt", tmp_path / "nowhere"):
        with pytest.raises(InputError, match=r"(notes\.txt|nowhere): is not a folder\.$"):
            read_card(path)


def test_whatever_the_reader_does_is_that_file_s_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shot(tmp_path / "A.JPG")

    def fail(*_: Any, **__: Any) -> None:
        raise IndexError("list index out of range")

    monkeypatch.setattr(exifread, "process_file", fail)
    assert "can be read" in str(read_card(tmp_path)[0].trouble)
