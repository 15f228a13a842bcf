"""The files of a set as they are: damaged, of another size or lens, or turned by the camera."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

from controller.errors import InputError
from controller.inspection.taken import SharedFacts, TakenFrame, choose, glance, shared_facts, taken_frames
from controller.matching.table import MatchLine, MatchVerdict
from controller.planning.plan import Frame

COUNT = 6
STORED = (240, 160)
SKY_BELOW = 90  # codes of the upper half of an upright portrait; the lower half is darker


def write(path: Path, stored: tuple[int, int] = STORED, orientation: int = 8, focal_mm: float = 24.0) -> None:
    """A picture whose stored left half is lighter: with orientation 6 or 8 that is the upper or lower one."""
    grey = np.full(stored[::-1], SKY_BELOW, dtype=np.uint8)
    grey[:, : stored[0] // 2] += 100
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    exif.get_ifd(IFD.Exif)[Base.FocalLength] = IFDRational(round(focal_mm * 10), 10)
    Image.fromarray(grey).save(path, exif=exif, quality=95)


def card(folder: Path, names: list[str] | None = None) -> list[TakenFrame]:
    frames = [Frame(id=number, row=0, yaw_deg=30.0 * number, pitch_deg=0.0) for number in range(COUNT)]
    files = names or [f"A{number}.JPG" for number in range(COUNT)]
    lines = [MatchLine(MatchVerdict.SURE, file, frame=number, exposure=0, use=True) for number, file in enumerate(files)]
    for file in files:
        if file.endswith(".JPG"):
            write(folder / file)
    return taken_frames(frames, lines, folder)


def looked(taken: list[TakenFrame]) -> SharedFacts:
    shared = shared_facts(taken)
    for one in taken:
        glance(one, shared, None, (0.0,))
    choose(taken)
    return shared


def cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:900])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def no_picture(path: Path) -> None:
    path.write_bytes(b"nothing of the kind" * 99)


def gone(path: Path) -> None:
    path.unlink()


def smaller(path: Path) -> None:
    write(path, (120, 80))


def upright_already(path: Path) -> None:
    write(path, STORED[::-1], 1)


def other_lens(path: Path) -> None:
    write(path, focal_mm=35.0)


BAD: dict[str, tuple[Callable[[Path], None], str]] = {
    "cut short": (cut, ""),
    "empty": (emptied, ""),
    "no picture": (no_picture, ""),
    "gone": (gone, ""),
    "smaller": (smaller, "120 x 80 pixels, the others are 240 x 160 pixels. It was left out"),
    "already turned": (upright_already, "160 x 240 pixels, the others are 240 x 160 pixels. It was left out"),
    "other lens": (other_lens, "35 mm, the others at 24 mm. It was left out"),
}


@pytest.mark.parametrize("place", [0, 3, COUNT - 1])
@pytest.mark.parametrize("name", BAD)
def test_a_file_that_differs_is_left_out_by_name_and_the_others_are_used(name: str, place: int, tmp_path: Path) -> None:
    spoil, said = BAD[name]
    taken = card(tmp_path)
    spoil(tmp_path / f"A{place}.JPG")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    shared = looked(taken)
    assert shared == SharedFacts((160, 240), 8, 24.0)
    for number, one in enumerate(taken):
        assert (one.path is None) == (number == place)
        assert (one.chosen is None) == (number == place)
    (trouble,) = taken[place].troubles.values()
    assert trouble.startswith(f"A{place}.JPG: ")
    assert trouble.endswith(".")
    assert said in trouble
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_a_picture_that_the_camera_would_show_turned_is_turned_like_the_others(orientation: int, tmp_path: Path) -> None:
    taken = card(tmp_path)
    write(tmp_path / "A2.JPG", orientation=orientation)
    before = (tmp_path / "A2.JPG").read_bytes()
    shared = looked(taken)
    assert shared == SharedFacts((160, 240), 8, 24.0, ("A2.JPG",))
    assert all(one.chosen == 0 and not one.troubles for one in taken)
    assert np.array_equal(taken[2].lit[0].light, taken[1].lit[0].light)
    assert np.array_equal(taken[2].histograms[0], taken[1].histograms[0])
    assert (tmp_path / "A2.JPG").read_bytes() == before


def test_a_tiff_that_comes_out_lying_is_left_out(tmp_path: Path) -> None:
    """A TIFF keeps its own orientation."""
    taken = card(tmp_path, [f"A{number}.JPG" for number in range(COUNT - 1)] + ["B.TIF"])
    Image.fromarray(np.full(STORED[::-1], 99, dtype=np.uint8)).save(tmp_path / "B.TIF")
    looked(taken)
    assert taken[-1].path is None
    assert taken[-1].troubles == {0: "B.TIF: is turned by a quarter against the others. It was left out."}


def test_raw_files_count_by_the_jpeg_beside_them(tmp_path: Path) -> None:
    write(tmp_path / "A0.JPG")
    frames = [Frame(id=number, row=0, yaw_deg=0.0, pitch_deg=0.0) for number in range(2)]
    lines = [
        MatchLine(MatchVerdict.SURE, "A0.NEF", ["A0.JPG"], frame=0, exposure=0, use=True),
        MatchLine(MatchVerdict.SURE, "A1.HEIC", frame=1, exposure=0, use=True),
        MatchLine(MatchVerdict.SURE, "A0.JPG", frame=1, exposure=1, use=False),
    ]
    taken = taken_frames(frames, lines, tmp_path)
    looked(taken)
    assert taken[0].name_of(0) == "A0.JPG"
    assert taken[1].path is None
    assert taken[1].troubles == {
        0: "A1.HEIC: is of a kind that cannot be read here. Shoot JPEG beside raw, or copy the JPEGs too."
    }


def test_a_card_without_a_picture_is_refused(tmp_path: Path) -> None:
    taken = card(tmp_path)
    for one in list(tmp_path.iterdir()):
        no_picture(one)
    with pytest.raises(InputError, match="None of the paired files can be read"):
        shared_facts(taken)
    assert all(one.troubles for one in taken)


@given(st.lists(st.sampled_from([6, 8]), min_size=3, max_size=3))
def test_the_orientation_of_most_counts(tmp_path_factory: pytest.TempPathFactory, turns: list[int]) -> None:
    folder = tmp_path_factory.mktemp("turned")
    frames = [Frame(id=number, row=0, yaw_deg=0.0, pitch_deg=0.0) for number in range(3)]
    lines = [MatchLine(MatchVerdict.SURE, f"{number}.JPG", frame=number, exposure=0, use=True) for number in range(3)]
    for number, turn in enumerate(turns):
        write(folder / f"{number}.JPG", orientation=turn)
    shared = shared_facts(taken_frames(frames, lines, folder))
    usual = max(set(turns), key=turns.count)
    assert shared.orientation == usual
    assert shared.turned == tuple(f"{number}.JPG" for number, turn in enumerate(turns) if turn != usual)
