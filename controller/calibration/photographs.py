"""Photographs as calibration needs them: grey, upright, of a moderate size, with the lens and time from their EXIF."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import Base

from controller import exif
from controller.calibration.turning import PictureGeometry
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.lens_data import FULL_FRAME_DIAGONAL_MM
from controller.picture_file import read_grey
from controller.reading import files_in

ENDINGS = frozenset({".jpg", ".jpeg", ".tif", ".tiff"})
LONGEST_PX = 2000  # of the long side; larger pictures are reduced, which costs little precision and saves much time
SMALLEST_PX = 64
SAME_FOCAL, SAME_SHAPE = 0.005, 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Photograph:
    """One photograph. `grey` (rows, columns) is upright and `share` times as large as the file's own picture, equally in
    both directions. `own_px` (columns, rows) is the size of the file's picture in pixels.

    `focal_mm` and `focal_35mm` are from its EXIF. `taken_s` is in seconds since a moment common to all. None if missing.
    """

    path: Path
    grey: NDArray[np.uint8]
    own_px: tuple[int, int]
    share: float
    focal_mm: float | None
    focal_35mm: float | None
    taken_s: float | None

    def place(self, own_px: tuple[float, float]) -> tuple[float, float]:
        """Where in `grey` a place (column, row) of the file's own upright picture is."""
        return (own_px[0] + 0.5) * self.share - 0.5, (own_px[1] + 0.5) * self.share - 0.5


def photographs_in(paths: Sequence[Path]) -> list[Path]:
    """The photographs in files and folders; a folder means its files in order of name. Raises InputError."""
    files: list[Path] = []
    for path in paths:
        if path.is_dir():
            files += [file for file in files_in(path) if file.suffix.lower() in ENDINGS and not file.is_dir()]
        else:
            files.append(path)
    if not files:
        raise InputError(f"{paths[0]}: holds no photographs (.jpg, .tif).")
    return files


def read_photographs(files: Sequence[Path]) -> list[Photograph]:
    """Photographs of one camera at one focal length. Raises InputError that names the file unlike the first."""
    taken = [read_photograph(file) for file in files]
    first = taken[0]
    for other in taken[1:]:
        if other.grey.shape != first.grey.shape or other.share != first.share:
            raise InputError(f"{other.path}: does not have the same size as {first.path}. Use pictures of one camera.")
        if first.focal_mm and other.focal_mm and abs(other.focal_mm / first.focal_mm - 1) > SAME_FOCAL:
            raise InputError(
                f"{other.path}: was shot at {other.focal_mm:g} mm, {first.path.name} at {first.focal_mm:g} mm; "
                "shoot all at one focal length."
            )
    return taken


def read_two(paths: Sequence[Path]) -> list[Photograph]:
    """Two photographs of one camera at one focal length. Raises InputError."""
    files = photographs_in(paths)
    if len(files) != 2:
        raise InputError(f"{paths[0]}: two photographs are needed, not {len(files)}.")
    return read_photographs(files)


def read_photograph(path: Path) -> Photograph:
    """Read a JPEG or TIFF. Raises InputError that names the file."""
    read = read_grey(path, LONGEST_PX)
    own, details = read.facts.size_px, read.facts.details
    if min(_handy_size(read.picture)) < SMALLEST_PX:
        what = "too small" if max(own) <= LONGEST_PX else "too narrow"
        raise InputError(
            f"{path}: is {own[0]} x {own[1]} pixels, which is {what} to compare with another. Use a whole photograph."
        )
    grey, share = _handy(read.picture)
    return Photograph(
        path=path,
        grey=np.asarray(grey, dtype=np.uint8),
        own_px=own if (read.picture.width > read.picture.height) == (own[0] > own[1]) else own[::-1],
        share=read.share * share,
        focal_mm=exif.positive(details.get(Base.FocalLength)),
        focal_35mm=exif.positive(details.get(Base.FocalLengthIn35mmFilm)),
        taken_s=_taken_s(details),
    )


def _handy_size(image: Image.Image) -> tuple[int, int]:
    share = min(1.0, LONGEST_PX / max(image.size))
    return math.floor(image.width * share + 1e-9), math.floor(image.height * share + 1e-9)


def _handy(image: Image.Image) -> tuple[Image.Image, float]:
    """The picture at most LONGEST_PX wide and high, and its share. Partial pixels are cut off: both scales are equal."""
    share = min(1.0, LONGEST_PX / max(image.size))
    if share == 1.0:
        return image, share
    size = _handy_size(image)
    cut = [(whole - part / share) / 2 for whole, part in zip(image.size, size, strict=True)]
    box = (cut[0], cut[1], image.width - cut[0], image.height - cut[1])
    return image.resize(size, Image.Resampling.LANCZOS, box=box), share


def _taken_s(details: Any) -> float | None:
    """When it was taken, in seconds, by the camera's clock."""
    moment = exif.moment(details.get(Base.DateTimeOriginal), details.get(Base.SubsecTimeOriginal), None)
    return None if moment is None else moment.replace(tzinfo=UTC).timestamp()


def camera_for(
    photograph: Photograph, kit: Kit | None, focal_mm: float | None, pixel_um: float | None
) -> PictureGeometry:
    """The camera to which the pixels of `grey` belong.

    From `pixel_um`, the pitch of the file's own pixels, with the focal length given or that of the EXIF. Otherwise from
    the kit, with `focal_mm` in place of its focal length. Otherwise from the 35 mm equivalent in the EXIF (CIPA DC-008).
    Raises InputError.
    """
    rows, columns = photograph.grey.shape
    middle = ((columns - 1) / 2, (rows - 1) / 2)
    focal = focal_mm or (photograph.focal_mm if kit is None else kit.lens.focal_length_mm)
    if pixel_um is not None and focal is not None:
        return PictureGeometry(focal / pixel_um * 1000 * photograph.share, middle)
    if kit is not None:
        return _camera_of_kit(photograph, kit, focal or kit.lens.focal_length_mm)
    if focal_mm is None and photograph.focal_35mm is not None:
        return PictureGeometry(
            photograph.focal_35mm / FULL_FRAME_DIAGONAL_MM * math.hypot(*photograph.own_px) * photograph.share, middle
        )
    raise InputError(
        f"{photograph.path}: does not describe its lens completely. Name the kit (--kit), or give --focal-length-mm "
        "and --pixel-um."
    )


def _camera_of_kit(photograph: Photograph, kit: Kit, focal_mm: float) -> PictureGeometry:
    rows, columns = photograph.grey.shape
    field = kit.field(0.0)
    if abs((columns / rows) / (field.width_mm / field.height_mm) - 1) > SAME_SHAPE:
        raise InputError(
            f"{photograph.path}: is {columns} x {rows} pixels upright, which is not the shape of the kit's pictures, "
            f"{field.width_mm:g} x {field.height_mm:g} mm. Use uncropped pictures, or correct `mounted` in the kit."
        )
    for_mm = photograph.own_px[0] / field.width_mm * photograph.share
    middle = (
        (columns - 1) / 2 - kit.camera.offset_right_mm * for_mm,
        (rows - 1) / 2 + kit.camera.offset_up_mm * for_mm,
    )
    return PictureGeometry(focal_mm * for_mm, middle, kit.lens.projection)
