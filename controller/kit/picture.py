"""What a photograph says about the camera that shot it, and what it cannot say (EXIF: CIPA DC-008)."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL.ExifTags import Base

from controller import exif
from controller.picture_file import UPRIGHT, read_facts

LEAST_PIXELS = 1_500_000  # of any camera worth carrying. Common practice, no source
UNITS_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
LARGEST_MM = 1000.0  # largest plausible side of a sensor


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """Facts from the EXIF; None if missing or unreliable. `pixels` are the file's, width first as stored."""

    maker: str | None
    model: str | None
    lens: str | None
    focal_length_mm: float | None
    focal_length_35mm: float | None
    shutter_seconds: float | None
    pixels: tuple[int, int]
    resized: bool
    """Whether the picture's size differs from the size that the camera recorded."""
    orientation: int = 1
    """How to turn the picture upright, EXIF values 1 to 8; 1 if missing."""
    taken: str | None = None
    """Time as ISO 8601, with the fraction of a second and the offset from UTC if the picture has them."""
    focal_plane_mm: tuple[float, float] | None = None
    """Width and height, in millimetres, of these pixels on the sensor. None also if the picture was resized: an editor
    may shrink a picture and leave the pixels per millimetre as they were.
    """
    f_number: float | None = None


def shot_of(path: Path) -> PictureFacts:
    """Read a photograph's EXIF. Raises InputError if the file is no photograph or cannot be read."""
    facts = read_facts(path)
    size, tags, more = facts.size_px, facts.tags, facts.details
    taken = (exif.positive(more.get(Base.ExifImageWidth)), exif.positive(more.get(Base.ExifImageHeight)))
    known = taken[0] is not None and taken[1] is not None
    resized = size[0] * size[1] < LEAST_PIXELS or (
        known and sorted(size) != sorted(round(side) for side in taken if side is not None)
    )
    when = (Base.DateTimeOriginal, Base.SubsecTimeOriginal, Base.OffsetTimeOriginal)
    moment = exif.moment(*(more.get(tag) for tag in when))
    turn = exif.whole(tags.get(Base.Orientation))
    return PictureFacts(
        maker=exif.text(tags.get(Base.Make)),
        model=exif.text(tags.get(Base.Model)),
        lens=exif.text(more.get(Base.LensModel)),
        focal_length_mm=exif.positive(more.get(Base.FocalLength)),
        focal_length_35mm=exif.positive(more.get(Base.FocalLengthIn35mmFilm)),
        shutter_seconds=exif.positive(more.get(Base.ExposureTime)),
        f_number=exif.positive(more.get(Base.FNumber)),
        pixels=size,
        resized=resized,
        orientation=turn if turn in UPRIGHT else 1,
        taken=None if moment is None else moment.isoformat(),
        focal_plane_mm=None if resized else _focal_plane_mm(more, size),
    )


def _focal_plane_mm(more: Any, size: tuple[int, int]) -> tuple[float, float] | None:
    """Pixels divided by pixels per unit. Unit 2 is inch and the default, 3 is cm; 4 and 5 (mm, µm) also occur."""
    unit_mm = UNITS_MM.get(exif.whole(more.get(Base.FocalPlaneResolutionUnit, 2)) or 0)
    across, down = (
        exif.positive(more.get(Base.FocalPlaneXResolution)),
        exif.positive(more.get(Base.FocalPlaneYResolution)),
    )
    if unit_mm is None or across is None or down is None:
        return None
    covered = size[0] / across * unit_mm, size[1] / down * unit_mm
    return covered if max(covered) <= LARGEST_MM else None
