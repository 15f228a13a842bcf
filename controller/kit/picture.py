"""What a photograph says of the camera that took it, and what it cannot say (EXIF: CIPA DC-008)."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import ExifTags, Image, UnidentifiedImageError

from controller.errors import InputError

LEAST_PIXELS = 1_500_000  # of any camera worth carrying up a hill. Common practice, no source
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


def shot_of(path: Path) -> Shot:
    """Read a photograph's EXIF. Raises InputError for what is no photograph."""
    try:
        with Image.open(path) as image:
            size, exif = image.size, image.getexif()
            image.verify()
    except (OSError, UnidentifiedImageError, SyntaxError, ValueError) as error:
        raise InputError(f"{path}: is not a photograph that can be read ({error}).") from None
    more = exif.get_ifd(Exif)
    taken = (_number(more.get(Base.ExifImageWidth)), _number(more.get(Base.ExifImageHeight)))
    known = taken[0] is not None and taken[1] is not None
    return Shot(
        maker=_text(exif.get(Base.Make)),
        model=_text(exif.get(Base.Model)),
        lens=_text(more.get(Base.LensModel)),
        focal_length_mm=_number(more.get(Base.FocalLength)),
        focal_length_35mm=_number(more.get(Base.FocalLengthIn35mmFilm)),
        shutter_seconds=_number(more.get(Base.ExposureTime)),
        pixels=size,
        resized=size[0] * size[1] < LEAST_PIXELS
        or (known and sorted(size) != sorted(round(side) for side in taken if side is not None)),
    )


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
