"""A picture in the file of a camera: JPEG with EXIF (CIPA DC-008; tag names as in Pillow)."""

from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import IFD, Base
from PIL.TiffImagePlugin import IFDRational

QUALITY = 92
UPRIGHT, GRIP_UP = 1, 8  # Orientation: as it is; turned a quarter to the left for viewing
SRGB = 1


@dataclass(frozen=True, slots=True)
class CameraName:
    """The camera's name and data in its files; None is left out."""

    make: str | None
    model: str | None
    lens_make: str | None
    lens_model: str | None
    focal_length_mm: float
    focal_length_35mm: int
    f_number: float | None = None
    iso: int = 100


@dataclass(frozen=True, slots=True)
class ExposureMoment:
    """When and how one photograph was exposed. `taken` includes its time zone."""

    taken: datetime
    shutter_s: float
    bias_ev: float


def save_photograph(
    path: Path, picture: NDArray[np.uint8], camera: CameraName, moment: ExposureMoment, *, portrait: bool
) -> None:
    """Write the upright `picture` (rows, columns, 3). In `portrait` the file's rows are those of the sensor, which was on
    end with the grip up, and Orientation says so. Raises OSError.
    """
    image = Image.fromarray(picture)
    if portrait:
        image = image.transpose(Image.Transpose.ROTATE_270)
    exif = Image.Exif()
    whole = {
        Base.Make: camera.make,
        Base.Model: camera.model,
        Base.Orientation: GRIP_UP if portrait else UPRIGHT,
        Base.Software: "Fullturn simulator",
        Base.DateTime: f"{moment.taken:%Y:%m:%d %H:%M:%S}",
    }
    exif.update({tag: value for tag, value in whole.items() if value is not None})
    exif.get_ifd(IFD.Exif).update(_details(camera, moment, image.size))
    image.save(path, "JPEG", quality=QUALITY, exif=exif)


def _details(camera: CameraName, moment: ExposureMoment, size: tuple[int, int]) -> dict[int, object]:
    zone = f"{moment.taken:%z}"
    details: dict[int, object | None] = {
        Base.ExposureTime: _rational(moment.shutter_s),
        Base.FNumber: None if camera.f_number is None else _rational(camera.f_number),
        Base.ISOSpeedRatings: camera.iso,
        Base.ExifVersion: b"0232",
        Base.DateTimeOriginal: f"{moment.taken:%Y:%m:%d %H:%M:%S}",
        Base.SubsecTimeOriginal: f"{moment.taken.microsecond // 1000:03}",
        Base.OffsetTimeOriginal: f"{zone[:3]}:{zone[3:5]}",
        Base.ExposureBiasValue: _rational(moment.bias_ev),
        Base.FocalLength: _rational(camera.focal_length_mm),
        Base.FocalLengthIn35mmFilm: camera.focal_length_35mm,
        Base.ColorSpace: SRGB,
        Base.ExifImageWidth: size[0],
        Base.ExifImageHeight: size[1],
        Base.LensMake: camera.lens_make,
        Base.LensModel: camera.lens_model,
    }
    return {tag: value for tag, value in details.items() if value is not None}


def _rational(value: float) -> IFDRational:
    """The value to within a few millionths, as 1/80 instead of 0.0125 if possible."""
    near = Fraction(value).limit_denominator(1_000_000)
    return IFDRational(near.numerator, near.denominator)
