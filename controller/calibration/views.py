"""The no-parallax point from two pictures: far points give the camera's turn, and the near mark deviates from it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.lens_terms import TERMS, Points, PupilPlace, changed
from controller.calibration.pair import PairSolution, fit_pair
from controller.calibration.parallax import Marks, Scene, offset_from_views_mm
from controller.calibration.propagation import propagated
from controller.calibration.turning import PictureGeometry, turn_by
from controller.optics.outline import Array


@dataclass(frozen=True, slots=True, eq=False)
class NearMark:
    """Where both pictures show the near mark, in pixels (2,), with the standard uncertainty of its place to the right,
    and that of the registration that all far points share.
    """

    first_px: Array
    second_px: Array
    u_px: float
    u_common_px: float


def far_pair(points: Points, expected: PictureGeometry, u_focal_share: float) -> PairSolution:
    """The turn and the lens from far points, as `fit_pair`. Raises NoOverlap, ValueError."""
    return fit_pair(points, expected, u_focal_share, PupilPlace())


def seen_offset_mm(
    points: Points, pair: PairSolution, mark: NearMark, scene: Scene, u_sideways_mm: float
) -> tuple[float, float, dict[str, float]]:
    """How far the pupil is ahead of the axis, its standard uncertainty and the contributions to it, in mm.

    `pair` was found from `points`. The uncertainties of the lens's terms are correlated: they are propagated along the
    axes of their covariance, one independent part each. Raises ValueError if no offset within reach fits.
    """
    kept = points[0][pair.turn.kept], points[1][pair.turn.kept]
    all_kept = np.ones(len(kept[0]), dtype=bool)
    sizes, axes = np.linalg.eigh(pair.covariance)
    directions = {f"lens_{number}": axes[:, number] for number in range(TERMS)}

    def offset(
        second_px: float, turned_px: float, near_mm: float, far_per_mm: float, sideways_mm: float, **lens: float
    ) -> float:
        change = sum((lens[name] * axis for name, axis in directions.items()), np.zeros(TERMS))
        camera = changed(pair.camera, change)
        turn = turn_by(*kept, camera, all_kept).vector_rad + np.array([0.0, turned_px / camera.focal_px, 0.0])
        place = mark.second_px + np.array([second_px, 0.0])
        far_mm = math.inf if far_per_mm == 0 else 1 / far_per_mm
        first, second_far, second_near = bearings(mark.first_px, place, turn, camera)
        return offset_from_views_mm(Marks(first, first), Marks(second_near, second_far), near_mm, far_mm, sideways_mm)

    far_per_mm, u_far_per_mm = scene.far_per_mm()
    u_turn_px = pair.camera.focal_px * math.sqrt(float(pair.turn.covariance[1, 1]))
    read: dict[str, tuple[float, float]] = {
        "second_px": (0.0, mark.u_px),
        "turned_px": (0.0, math.hypot(u_turn_px, mark.u_common_px)),
        "near_mm": (scene.near_mm, scene.u_near()),
        "far_per_mm": (far_per_mm, u_far_per_mm),
        "sideways_mm": (0.0, u_sideways_mm),
    }
    read |= {name: (0.0, math.sqrt(max(size, 0.0))) for name, size in zip(directions, sizes.tolist(), strict=True)}
    values, unsure = ({name: each[which] for name, each in read.items()} for which in (0, 1))
    u_offset, parts = propagated(offset, values, unsure)
    return offset(**values), u_offset, _lens_together(parts)


def bearings(first_px: Array, second_px: Array, turn_rad: Array, camera: PictureGeometry) -> tuple[float, float, float]:
    """Bearings, in radians right of the lens's axis.

    Of the mark in the first picture, then, in the second one, of the far background behind it there and of the mark.
    """
    first, near = camera.rays(np.stack([first_px, second_px]))
    far = Rotation.from_rotvec(turn_rad).inv().apply(first)
    first_rad, far_rad, near_rad = (math.atan2(ray[0], ray[2]) for ray in (first, far, near))
    return first_rad, far_rad, near_rad


def _lens_together(parts: Mapping[str, float]) -> dict[str, float]:
    lens = math.hypot(*(part for name, part in parts.items() if name.startswith("lens_")))
    return {name: part for name, part in parts.items() if not name.startswith("lens_")} | {"lens": lens}
