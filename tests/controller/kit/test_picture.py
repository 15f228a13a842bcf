"""What real photographs say about their cameras: samples of two open packages, see tests/pictures/README.md.

The expected values were read with exifread, and crop factors come from the lensfun data (CC BY-SA 3.0).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import exifread
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.ExifTags import IFD, Base

from controller.commands.kit_new import from_picture_command
from controller.errors import InputError
from controller.kit.crop import crop_of
from controller.kit.from_picture import FromPicture
from controller.kit.lens_data import Entry
from controller.kit.load import load_kit
from controller.kit.picture import PictureFacts, shot_of

PICTURES = Path(__file__).resolve().parents[2] / "pictures"
DATA, TWO = "the lens data", "the focal length for 35 mm"
FULL_FRAME = Entry("camera", "Some", "Thing", 1.0)


def read(name: str) -> FromPicture:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return from_picture_command(PICTURES / name, None)


def taken_by(path: Path, size: tuple[int, int], more: Mapping[Any, Any], **tags: Any) -> Path:
    exif = Image.Exif()
    for name, value in tags.items():
        exif[getattr(Base, name)] = value
    exif.get_ifd(IFD.Exif).update(more)
    Image.new("L", size).save(path, exif=exif)
    return path


@pytest.mark.parametrize(
    ("name", "maker", "model", "focal_mm", "focal_35mm"),
    [
        ("r_casio.jpg", "CASIO COMPUTER CO.,LTD.", "EX-100", 12, 57),
        ("r_olympus.jpg", "OLYMPUS IMAGING CORP.", "STYLUS1", 16.1, 76),
        ("r_pen.jpg", "OLYMPUS IMAGING CORP.", "E-P3", 15, None),
        ("r_ricoh.jpg", "PENTAX RICOH IMAGING", "GR", 18.3, 28),
        ("r_sigma.jpg", "SIGMA", "SIGMA DP3 Merrill", 50, 75),
        ("r_sony.jpg", "SONY", "DSC-RX1R", 35, 35),
        ("02.jpg", "CASIO COMPUTER CO.,LTD", "QV-R51", 9.2, 44),
        ("noexif.jpg", None, None, None, None),
        ("broken_exif_dpi.jpg", "NIKON CORPORATION", "NIKON D800", 14, 14),
        ("empty_gps_ifd.jpg", "Xiaomi", "Redmi Note 9S", 4.74, 26),
        ("frame_size.mpo", "Apple", "iPhone 14 Pro Max", 6.86, 24),
    ],
)
def test_names_and_focal_lengths(
    name: str, maker: str | None, model: str | None, focal_mm: float | None, focal_35mm: float | None
) -> None:
    shot = read(name).shot
    assert (shot.maker, shot.model) == (maker, model)
    assert (shot.focal_length_mm, shot.focal_length_35mm) == (
        None if focal_mm is None else pytest.approx(focal_mm),
        focal_35mm,
    )


@pytest.mark.parametrize(
    ("name", "camera", "factor", "source"),
    [
        ("r_casio.jpg", None, 4.75, TWO),
        ("r_olympus.jpg", "Stylus1", 4.67, DATA),  # 76 / 16.1 = 4.720, 1 % off
        ("r_pen.jpg", "E-P3", 2.0, DATA),
        ("r_ricoh.jpg", None, 1.530, TWO),  # the data has the model under another maker: named, but not accepted
        ("r_sigma.jpg", "Sigma DP3 Merrill", 1.531, DATA),  # 75 / 50 = 1.5, 2 % off
        ("r_sony.jpg", None, 1.0, TWO),
        ("broken_exif_dpi.jpg", "Nikon D800", 1.0, DATA),
        ("frame_size.mpo", None, 24 / 6.86, TWO),
    ],
)
def test_the_crop_factor_is_of_the_best_source(name: str, camera: str | None, factor: float, source: str) -> None:
    found = read(name)
    assert (None if found.camera is None else found.camera.model) == camera
    assert found.crop is not None
    assert found.crop.factor == pytest.approx(factor, abs=5e-4)
    assert found.crop.source == source
    assert found.crop.doubts == ()


@pytest.mark.parametrize("name", [path.name for path in sorted(PICTURES.iterdir()) if path.suffix in {".jpg", ".mpo"}])
def test_no_sample_is_of_full_size_and_none_makes_a_kit(name: str, tmp_path: Path) -> None:
    """All were reduced for their packages, so a kit from one would have the wrong pixels."""
    with pytest.raises(InputError, match=r"smaller or cropped|not a photograph"):
        from_picture_command(PICTURES / name, tmp_path / "kit.toml")
    assert not list(tmp_path.iterdir())


def test_the_successor_of_a_camera_is_named_and_not_taken() -> None:
    assert any("Is it one of Sony DSC-RX1RM2?" in sentence for sentence in read("r_sony.jpg").unknown)
    assert any("Company, Ltd. GR" in sentence for sentence in read("r_ricoh.jpg").unknown)


def test_what_is_only_zeros_is_not_said() -> None:
    assert read("r_olympus.jpg").shot.lens is None
    assert read("r_ricoh.jpg").shot.lens == "GR LENS"
    assert read("noexif.jpg").crop is None
    with pytest.raises(InputError, match="not a photograph"):
        read("notjpeg.jpg")


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("frame_size.mpo", "2025-09-07T14:16:43.472000-04:00"),
        ("empty_gps_ifd.jpg", "2020-07-27T14:46:48.780685"),
        ("broken_exif_dpi.jpg", "2013-09-11T16:45:13.900000"),  # "90" is 0.90 s
        ("r_ricoh.jpg", "2013-03-29T10:06:41"),  # DateTime, when an editor saved it, differs
        ("noexif.jpg", None),
    ],
)
def test_when_it_was_taken(name: str, taken: str | None) -> None:
    assert read(name).shot.taken == taken


@pytest.mark.parametrize("name", ["frame_size.mpo", "empty_gps_ifd.jpg", "r_ricoh.jpg", "r_pen.jpg", "r_sigma.jpg"])
def test_another_reader_says_the_same(name: str) -> None:
    """Checked against exifread."""
    with (PICTURES / name).open("rb") as file:
        said = exifread.process_file(file, details=False)
    shot = shot_of(PICTURES / name)
    assert shot.orientation == said["Image Orientation"].values[0]
    assert shot.focal_length_mm == pytest.approx(float(said["EXIF FocalLength"].values[0]))
    assert shot.taken is not None
    assert shot.taken.replace("-", ":").startswith(str(said["EXIF DateTimeOriginal"]).replace(" ", "T"))


def test_orientation_is_read_and_one_where_the_camera_says_so() -> None:
    assert shot_of(PICTURES / "empty_gps_ifd.jpg").orientation == 6
    assert shot_of(PICTURES / "r_sigma.jpg").orientation == 1  # although it is upright
    assert shot_of(PICTURES / "noexif.jpg").orientation == 1


def test_the_focal_plane_of_a_smaller_picture_is_not_believed() -> None:
    """204.84 pixels/mm and 1500 pixels would make a sensor of 7.32 mm; that camera's is 35.9 mm wide."""
    assert read("broken_exif_dpi.jpg").shot.focal_plane_mm is None


def test_a_focal_plane_in_inches_beside_no_focal_length_for_35_mm(tmp_path: Path) -> None:
    """r_pen.jpg, as written by a camera that records pixels per inch.

    The full picture, 4032 x 3024 at 5917.4 per inch, is 17.31 x 12.98 mm (arithmetic). This one was reduced, so its value
    is not used.
    """
    with Image.open(PICTURES / "r_pen.jpg") as image:
        exif = image.getexif()
        exif.get_ifd(IFD.Exif).update(
            {Base.FocalPlaneXResolution: 5917.4, Base.FocalPlaneYResolution: 5917.4, Base.FocalPlaneResolutionUnit: 2}
        )
        image.save(tmp_path / "inches.jpg", exif=exif)
    with (tmp_path / "inches.jpg").open("rb") as file:  # another reader confirms what was written
        assert exifread.process_file(file, details=False)["EXIF FocalPlaneResolutionUnit"].values == [2]
    found = from_picture_command(tmp_path / "inches.jpg", None)
    assert found.shot.focal_plane_mm is None
    assert found.shot.focal_length_35mm is None
    assert found.crop is not None
    assert found.crop.factor == pytest.approx(2.0, abs=5e-4)
    assert (found.crop.source, found.crop.doubts) == (DATA, ())


@pytest.mark.parametrize(("unit", "per_unit"), [(2, 5917.4), (3, 5917.4 / 2.54), (4, 5917.4 / 25.4), (5, 5917.4 / 25400)])
def test_the_focal_plane_of_a_full_size_picture(unit: int, per_unit: float, tmp_path: Path) -> None:
    """4032 x 3024 at 5917.4 pixels per inch are 17.31 x 12.98 mm, a crop factor of 2.0 (arithmetic)."""
    more = {
        Base.FocalPlaneXResolution: per_unit, Base.FocalPlaneYResolution: per_unit, Base.FocalLength: 15,
        Base.FocalPlaneResolutionUnit: unit, Base.ExifImageWidth: 4032, Base.ExifImageHeight: 3024,
    }  # fmt: skip
    path = taken_by(tmp_path / "a.jpg", (4032, 3024), more, Make="Some", Model="Thing")
    found = from_picture_command(path, tmp_path / "kit.toml")
    assert found.shot.focal_plane_mm == pytest.approx((17.307, 12.980), rel=2e-3)
    assert found.crop is not None
    assert found.crop.factor == pytest.approx(2.0, rel=0.01)
    assert not found.crop.doubts
    assert load_kit(tmp_path / "kit.toml").camera.sensor_width_mm == pytest.approx(17.307, rel=2e-3)


def shot_with(focal_35mm: float | None, focal_plane_mm: tuple[float, float] | None) -> PictureFacts:
    return PictureFacts("Some", "Thing", None, 24.0, focal_35mm, None, (6000, 4000), False, focal_plane_mm=focal_plane_mm)


@given(st.floats(12, 400), st.floats(1, 40))
def test_more_than_five_percent_apart_is_flagged(focal_35mm: float, wide_mm: float) -> None:
    crop = crop_of(shot_with(focal_35mm, (wide_mm, wide_mm / 1.5)), FULL_FRAME)
    assert crop is not None
    assert (crop.factor, crop.source) == (1.0, DATA)
    factors = (1.0, focal_35mm / 24, math.hypot(36, 24) / math.hypot(wide_mm, wide_mm / 1.5))
    apart = [abs(b / a - 1) > 0.05 for a, b in ((factors[0], factors[1]), (factors[0], factors[2]), factors[1:])]
    assert len(crop.doubts) == sum(apart)


def test_the_order_of_sources() -> None:
    both = shot_with(36.0, (24.0, 16.0))
    plane = shot_with(None, (24.0, 16.0))
    found = [crop_of(shot, camera) for shot, camera in ((both, FULL_FRAME), (both, None), (plane, None))]
    assert [crop.source for crop in found if crop is not None] == [DATA, TWO, "the resolution of the focal plane"]
    assert crop_of(shot_with(None, None), None) is None


def test_exif_that_breaks_off_says_nothing_and_is_quiet(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.new("L", (64, 64)).save(path, exif=b"Exif\0\0II*\0\x08\0\0\0\x05\0\x12\x01")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert shot_of(path).model is None
