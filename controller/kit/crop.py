"""The crop factor of the camera that shot a photograph: from the best source, checked against the others."""

import math
from dataclasses import dataclass
from itertools import combinations

from controller.kit.lens_data import FULL_FRAME_DIAGONAL_MM, Entry
from controller.kit.picture import PictureFacts

FAR_APART = 0.05  # a focal length for 35 mm is rounded to whole millimetres, up to 3 % of a short one


@dataclass(frozen=True, slots=True)
class Crop:
    """Diagonal of a 36 x 24 mm picture over that of the sensor, its source, and a sentence for each doubt."""

    factor: float
    source: str
    doubts: tuple[str, ...]


def crop_of(shot: PictureFacts, camera: Entry | None) -> Crop | None:
    """From the lens data, else from the two focal lengths, else from the focal plane; None if none is known.

    The focal plane comes last because editors and some cameras write it wrong (see `Shot.focal_plane_mm`).
    """
    found: dict[str, float] = {}
    if camera is not None:
        found["the lens data"] = camera.crop_factor
    if shot.focal_length_35mm is not None and shot.focal_length_mm is not None:
        found["the focal length for 35 mm"] = shot.focal_length_35mm / shot.focal_length_mm
    if shot.focal_plane_mm is not None:
        found["the resolution of the focal plane"] = FULL_FRAME_DIAGONAL_MM / math.hypot(*shot.focal_plane_mm)
    if not found:
        return None
    source, factor = next(iter(found.items()))
    doubts = tuple(
        f"The crop factor is {a:.3g} by {one} and {b:.3g} by {other}: more than 5 % apart; look it up in the camera's "
        "handbook."
        for (one, a), (other, b) in combinations(found.items(), 2)
        if abs(b / a - 1) > FAR_APART
    )
    return Crop(factor, source, doubts)
