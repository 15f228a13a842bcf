"""What is known of a lens: from this measurement's options, or from the kit."""

import math
from dataclasses import dataclass

from controller.calibration.photographs import Photograph
from controller.calibration.turning import PictureGeometry
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.lens_data import FULL_FRAME_DIAGONAL_MM

U_FOCAL_SHARE = 0.01  # of a focal length as engraved. Common practice, no source.


@dataclass(frozen=True, slots=True)
class LensGiven:
    """What the command line states about the lens; None comes from the kit or from the photographs."""

    focal_mm: float | None = None
    u_focal_mm: float | None = None
    pixel_um: float | None = None


def lens_name(kit: Kit | None) -> str | None:
    """The kit's lens by make and model, if it has a name."""
    if kit is None:
        return None
    return " ".join(part for part in (kit.lens.make, kit.lens.model) if part) or None


def typed_focal(kit: Kit | None, given: LensGiven) -> tuple[float, float]:
    """Focal length in mm and in the camera's own pixels. Raises InputError."""
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else None)
    if focal_mm is None:
        raise InputError("Give --focal-length-mm, or name the kit (--kit).")
    if given.pixel_um is not None:
        return focal_mm, focal_mm * 1000 / given.pixel_um
    if kit is None:
        raise InputError("Give --pixel-um, or name the kit (--kit).")
    field = kit.field(0.0)
    return focal_mm, focal_mm * field.pixels_across / field.width_mm


def focal_of_camera_mm(camera: PictureGeometry, photograph: Photograph, kit: Kit | None, given: LensGiven) -> float:
    """The camera's focal length in mm; in 36x24 mm equivalent by the picture's diagonal if no size is known."""
    own_px = camera.focal_px / photograph.share
    if given.pixel_um is not None:
        return own_px * given.pixel_um / 1000
    if kit is not None:
        return float(own_px * kit.field(0.0).width_mm / photograph.own_px[0])
    return own_px * FULL_FRAME_DIAGONAL_MM / math.hypot(*photograph.own_px)
