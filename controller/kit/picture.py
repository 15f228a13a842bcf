"""What a photograph says of the camera that took it, and what it cannot say (EXIF: CIPA DC-008)."""

import math
import warnings
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image, UnidentifiedImageError

from controller.errors import InputError

LEAST_PIXELS = 1_500_000  # of any camera worth carrying up a hill. Common practice, no source
UNITS_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
Base, Exif = ExifTags.Base, ExifTags.IFD.Exif


@dataclass(frozen=True, slots=True)
class Shot:
    """What was found; None is not said, or not in a way to rely on. `pixels` are the file's, width first as stored."""

    maker: str | None
    model: str | None
    lens: str | None
    focal_length_mm: float | None
    focal_length_35mm: float | None
    shutter_seconds: float | None
    pixels: tuple[int, int]
    resized: bool
    """The picture is not of the size that the camera says it took."""
    orientation: int = 1
    """How to turn the picture so that it stands upright, 1 to 8; 1 also where it does not say."""
    taken: str | None = None
    """When, as ISO 8601, with the fraction of a second and the offset from UTC where the picture says them."""
    focal_plane_mm: tuple[float, float] | None = None
    """Width and height of what these pixels covered on the sensor. None also where the picture was resized: an editor
    that makes a picture smaller may leave the pixels per millimetre as they were."""


def shot_of(path: Path) -> Shot:
    """Read a photograph's EXIF. Raises InputError for what is no photograph."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # EXIF that breaks off says what it says until there
            with Image.open(path) as image:
                size, exif = image.size, image.getexif()
                more = exif.get_ifd(Exif)
                image.verify()
    except (OSError, UnidentifiedImageError, SyntaxError, ValueError) as error:
        raise InputError(f"{path}: is not a photograph that can be read ({error}).") from None
    taken = (_number(more.get(Base.ExifImageWidth)), _number(more.get(Base.ExifImageHeight)))
    known = taken[0] is not None and taken[1] is not None
    resized = size[0] * size[1] < LEAST_PIXELS or (
        known and sorted(size) != sorted(round(side) for side in taken if side is not None)
    )
    turn = exif.get(Base.Orientation)
    return Shot(
        maker=_text(exif.get(Base.Make)),
        model=_text(exif.get(Base.Model)),
        lens=_text(more.get(Base.LensModel)),
        focal_length_mm=_number(more.get(Base.FocalLength)),
        focal_length_35mm=_number(more.get(Base.FocalLengthIn35mmFilm)),
        shutter_seconds=_number(more.get(Base.ExposureTime)),
        pixels=size,
        resized=resized,
        orientation=turn if isinstance(turn, int) and 1 <= turn <= 8 else 1,
        taken=_taken(more),
        focal_plane_mm=None if resized else _focal_plane_mm(more, size),
    )


def _taken(more: Any) -> str | None:
    """DateTimeOriginal with SubSecTimeOriginal, the digits after the point ("046" is 46 ms), and OffsetTimeOriginal."""
    text, fraction = _text(more.get(Base.DateTimeOriginal)), _text(more.get(Base.SubsecTimeOriginal)) or ""
    try:
        moment = datetime.strptime(text or "", "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    if fraction.isdecimal():
        moment = moment.replace(microsecond=int(f"{fraction:0<6.6}"))
    try:
        zone = datetime.strptime(_text(more.get(Base.OffsetTimeOriginal)) or "", "%z").tzinfo
    except ValueError:
        zone = None
    return moment.replace(tzinfo=zone).isoformat()


def _focal_plane_mm(more: Any, size: tuple[int, int]) -> tuple[float, float] | None:
    """Pixels through pixels per unit; 2 is inch and the default, 3 is cm, and 4 and 5 (mm, µm) occur besides."""
    unit_mm = UNITS_MM.get(more.get(Base.FocalPlaneResolutionUnit, 2))
    across, down = _number(more.get(Base.FocalPlaneXResolution)), _number(more.get(Base.FocalPlaneYResolution))
    if unit_mm is None or across is None or down is None:
        return None
    return size[0] / across * unit_mm, size[1] / down * unit_mm


def _text(value: Any) -> str | None:
    """A text without the zeros and blanks that some cameras pad it with."""
    if not isinstance(value, str):
        return None
    text = " ".join(value.replace("\0", " ").split())
    return text or None


def _number(value: Any) -> float | None:
    """A positive number; a rational of 0/0, which stands for nothing known, is none."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if math.isfinite(number) and number > 0 else None
