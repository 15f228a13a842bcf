"""The data of photographs: their size, orientation, lens and time; and near marks found in a second picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational
from scipy import ndimage
from scipy.spatial.transform import Rotation

from controller.calibration.marks import MarkNotFound, as_first_sees, mark_shift_px
from controller.calibration.photographs import LONGEST_PX, camera_for, read_photograph
from controller.calibration.turning import PictureGeometry, PictureTurn
from controller.errors import InputError
from controller.optics.projection import Projection
from tests.controller.calibration.pictured import camera_of, turned
from tests.end_to_end.whole_runs import kit_of


def smooth(rows: int, columns: int, seed: int = 1) -> NDArray[np.uint8]:
    values = ndimage.gaussian_filter(np.random.default_rng(seed).normal(0, 1, (rows, columns)), 4)
    return np.rint(np.interp(values, (values.min(), values.max()), (5, 250))).astype(np.uint8)


def saved(path: Path, grey: NDArray[Any], details: dict[int, Any] | None = None, orientation: int = 1) -> Path:
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    exif.get_ifd(IFD.Exif).update(details or {})
    Image.fromarray(grey).save(path, exif=exif)
    return path


def test_what_a_photograph_says(tmp_path: Path) -> None:
    details: dict[int, Any] = {
        Base.FocalLength: IFDRational(35, 1),
        Base.FocalLengthIn35mmFilm: 52,
        Base.DateTimeOriginal: "2026:06:21 09:00:07",
        Base.SubsecTimeOriginal: "05",  # a decimal fraction: a twentieth of a second (CIPA DC-008)
    }
    later = details | {Base.SubsecTimeOriginal: "5"}
    one, other = (
        read_photograph(saved(tmp_path / f"{n}.jpg", smooth(100, 150), said)) for n, said in enumerate((details, later))
    )
    assert (one.focal_mm, one.focal_35mm, one.grey.shape, one.share) == (35.0, 52.0, (100, 150), 1.0)
    assert one.taken_s is not None
    assert other.taken_s is not None
    assert other.taken_s - one.taken_s == pytest.approx(0.45)


@pytest.mark.parametrize(
    "details",
    [
        {},
        {Base.FocalLength: IFDRational(0, 0), Base.DateTimeOriginal: "    :  :     :  :  "},
        {Base.FocalLength: IFDRational(0, 1), Base.FocalLengthIn35mmFilm: 0, Base.DateTimeOriginal: "yesterday"},
    ],
    ids=["nothing", "0/0", "nonsense"],
)
def test_what_a_photograph_does_not_say_is_none(details: dict[int, Any], tmp_path: Path) -> None:
    taken = read_photograph(saved(tmp_path / "a.jpg", smooth(100, 150), details))
    assert (taken.focal_mm, taken.focal_35mm, taken.taken_s) == (None, None, None)


@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_it_is_brought_upright(ending: str, tmp_path: Path) -> None:
    """Orientation 8: turned a quarter to the left for viewing (CIPA DC-008)."""
    upright = smooth(160, 100)
    file = saved(tmp_path / f"a.{ending}", np.ascontiguousarray(np.rot90(upright, -1)), orientation=8)
    found = read_photograph(file).grey
    assert found.shape == upright.shape
    assert np.abs(found.astype(int) - upright).mean() < 3


@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_what_is_large_is_made_smaller_and_places_go_along(ending: str, tmp_path: Path) -> None:
    grey = np.full((2200, 3300), 40, dtype=np.uint8)
    grey[1490:1511, 790:811] = 250  # the middle is column 800, row 1500
    taken = read_photograph(saved(tmp_path / f"a.{ending}", grey))
    assert max(taken.grey.shape) == LONGEST_PX
    bright = ndimage.center_of_mass(np.clip(taken.grey.astype(float) - 45, 0, None))
    assert taken.place((800.0, 1500.0)) == pytest.approx(bright[::-1], abs=0.3)
    # Equal in both directions: otherwise the lens would seem wider one way than the other.
    assert taken.share == 2000 / 3300
    assert taken.own_px == (3300, 2200)


def test_sixteen_bits_are_read(tmp_path: Path) -> None:
    Image.fromarray(smooth(100, 150).astype(np.uint16) * 200).save(tmp_path / "a.tif")
    assert np.ptp(read_photograph(tmp_path / "a.tif").grey) > 200


def test_what_is_no_photograph_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"b\.jpg: is 40 x 30 pixels, which is too small"):
        read_photograph(saved(tmp_path / "b.jpg", smooth(30, 40)))
    with pytest.raises(InputError, match=r"c\.jpg: does not exist\."):
        read_photograph(tmp_path / "c.jpg")
    Image.fromarray(smooth(100, 150)).save(tmp_path / "d.png")
    with pytest.raises(InputError, match=r"d\.png: is not a photograph that can be read\. Give a JPEG or TIFF"):
        read_photograph(tmp_path / "d.png")


def test_what_pixels_mean(tmp_path: Path) -> None:
    said: dict[int, Any] = {Base.FocalLength: IFDRational(20, 1), Base.FocalLengthIn35mmFilm: 30}
    taken = read_photograph(saved(tmp_path / "a.jpg", smooth(200, 300), said))
    kit = kit_of(24.0, camera={"mounted": "landscape", "offset_right_mm": 0.6, "offset_up_mm": -1.2})
    by_kit = camera_for(taken, kit, None, None)
    assert by_kit.focal_px == pytest.approx(24 / 36 * 300)
    # The picture's middle is 5 pixels right of the axis and 10 below it: the axis is left of it and above.
    assert by_kit.middle_px == pytest.approx((149.5 - 5, 99.5 - 10))
    assert camera_for(taken, kit, 30.0, None).focal_px == pytest.approx(250)
    assert camera_for(taken, None, None, 100.0).focal_px == pytest.approx(200)
    assert camera_for(taken, None, 25.0, 100.0).focal_px == pytest.approx(250)
    assert camera_for(taken, None, None, None).focal_px == pytest.approx(30 / 36 * 300)
    fisheye = kit_of(12.0, camera={"mounted": "landscape"}, lens={"projection": "equisolid"})
    assert camera_for(taken, fisheye, None, None).projection is Projection.EQUISOLID
    with pytest.raises(InputError, match="not the shape of the kit's pictures"):
        camera_for(taken, kit_of(24.0), None, None)
    dumb = read_photograph(saved(tmp_path / "b.jpg", smooth(200, 300)))
    with pytest.raises(InputError, match="does not describe its lens completely"):
        camera_for(dumb, None, None, None)


def views(camera: PictureGeometry, right_deg: float) -> tuple[NDArray[np.uint8], NDArray[np.uint8], PictureTurn]:
    """Two pictures of one far scene; the second is the first after the turn."""
    turn = turned(right_deg)
    first = smooth(667, 1000)
    back = PictureTurn(turn.inv().as_rotvec(), np.eye(3), np.ones(1, dtype=bool), 0.0)
    columns, rows = np.arange(1000.0), np.arange(667.0)[:, np.newaxis]
    second = as_first_sees(first, back, camera, columns, rows)
    there = PictureTurn(turn.as_rotvec(), np.eye(3), np.ones(1, dtype=bool), 0.0)
    return first, np.rint(np.nan_to_num(second)).clip(0, 255).astype(np.uint8), there


def test_a_far_mark_does_not_shift() -> None:
    camera = camera_of()
    first, second, turn = views(camera, 20.0)
    right, down, u = mark_shift_px(first, second, turn, camera, place=(700.0, 333.0), half_px=25, reach_px=60)
    assert (right, down) == pytest.approx((0.0, 0.0), abs=0.05)
    assert 0 < u < 0.05


@pytest.mark.parametrize("shift", [-31.25, -0.5, 3.75, 40.0])
def test_a_near_mark_shifts_by_what_it_shifts(shift: float) -> None:
    camera = camera_of()
    first, second, turn = views(camera, 20.0)
    # Paint the mark into the second picture at its place in the first, `shift` to the right.
    mark = smooth(667, 1000, 5)
    square = (slice(293, 374), slice(660, 741))
    first[square] = mark[square]
    columns, rows = np.arange(1000.0), np.arange(667.0)[:, np.newaxis]
    board = np.full((667, 1000), np.nan)
    board[square] = mark[square]
    back = PictureTurn(Rotation.from_rotvec(turn.vector_rad).inv().as_rotvec(), turn.covariance, turn.kept, 0.0)
    moved = ndimage.shift(np.nan_to_num(board), (0, shift), order=3)
    inside = ndimage.shift(np.isfinite(board).astype(float), (0, shift), order=1)
    seen = as_first_sees(np.rint(moved).clip(0, 255).astype(np.uint8), back, camera, columns, rows)
    there = as_first_sees(np.rint(255 * inside).astype(np.uint8), back, camera, columns, rows)
    second = np.where(np.nan_to_num(there) > 200, np.nan_to_num(seen), second).clip(0, 255).astype(np.uint8)
    right, down, u = mark_shift_px(first, second, turn, camera, place=(700.0, 333.0), half_px=30, reach_px=60)
    assert right == pytest.approx(shift, abs=0.1)
    assert down == pytest.approx(0.0, abs=0.1)
    assert u < 0.1


def test_a_mark_that_is_not_there_is_not_found() -> None:
    camera = camera_of()
    first, second, turn = views(camera, 20.0)
    with pytest.raises(MarkNotFound):
        mark_shift_px(first, smooth(667, 1000, 9), turn, camera, place=(700.0, 333.0), half_px=25, reach_px=60)
    with pytest.raises(MarkNotFound):  # at the edge
        mark_shift_px(first, second, turn, camera, place=(995.0, 333.0), half_px=25, reach_px=60)
    with pytest.raises(MarkNotFound):  # beyond the edge of the second picture
        mark_shift_px(first, second, turn, camera, place=(60.0, 333.0), half_px=25, reach_px=30)


@pytest.mark.parametrize("size", [(1, 65_000), (65_000, 1), (30, 20), (20_000, 90)])
def test_a_picture_that_is_too_narrow_is_one_sentence(size: tuple[int, int], tmp_path: Path) -> None:
    path = tmp_path / "narrow.jpg"
    Image.new("L", size).save(path)
    with pytest.raises(InputError, match=rf"is {size[0]} x {size[1]} pixels, which is too "):
        read_photograph(path)
