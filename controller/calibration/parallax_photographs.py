"""The no-parallax point from two photographs, with a near mark near one edge and then near the other."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.finding import Finding
from controller.calibration.known_lens import U_FOCAL_SHARE, LensGiven
from controller.calibration.marks import MarkNotFound, mark_shift_px
from controller.calibration.parallax import (
    Scene,
)
from controller.calibration.parallax_finding import MeasuredOffset, Rail, must_be_usable, parallax_finding
from controller.calibration.photograph_pairs import finding_turn, must_fit, registered
from controller.calibration.photographs import Photograph, camera_for
from controller.calibration.readings import ReadingsRefused
from controller.calibration.registration import common_px
from controller.calibration.turning import PictureGeometry
from controller.calibration.views import NearMark, far_pair, seen_offset_mm
from controller.errors import InputError
from controller.kit.kit import Kit

MARK_SHARE = 1 / 16  # of the picture's width that the mark fills, where nobody says
MARK_PX = 0.1  # what finding a mark again near the edge is off by at least, from simulated photographs
MOST_DOWN_PX = 3.0  # in a picture of handy size; a level camera on a pan axis shifts marks sideways alone
TURNED_DEG = 5.0  # less turn between two photographs than this shows no parallax worth the name


@dataclass(frozen=True, slots=True)
class MarkGiven:
    """Where the first photograph shows the near mark (column, row), in its own pixels, and its size; None: unknown."""

    place_px: tuple[float, float]
    size_px: float | None = None


def seen_finding(
    taken: Sequence[Photograph],
    mark: MarkGiven,
    kit: Kit | None,
    given: LensGiven,
    scene: Scene,
    *,
    u_sideways_mm: float,
    rail: Rail | None,
) -> Finding:
    """The offset from two photographs that both show the near mark. Raises InputError, ReadingsRefused."""
    must_be_usable(scene)
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    measured = _measured(taken, mark, camera, given, scene, u_sideways_mm)
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else taken[0].focal_mm)
    return parallax_finding(measured, scene, rail, kit, focal_mm)


def _measured(
    taken: Sequence[Photograph],
    mark: MarkGiven,
    camera: PictureGeometry,
    given: LensGiven,
    scene: Scene,
    u_sideways_mm: float,
) -> MeasuredOffset:
    place = mark.place_px
    first, second = taken
    at = first.place(place)
    half = max(4, round((first.grey.shape[1] * MARK_SHARE if mark.size_px is None else mark.size_px * first.share) / 2))
    rows, columns = first.grey.shape
    if not (half <= at[0] < columns - half and half <= at[1] < rows - half):
        raise InputError(
            f"{first.path}: a mark of {2 * half / first.share:.0f} px around {place[0]:g} {place[1]:g} (--mark, "
            f"--mark-px) does not lie inside its {first.own_px[0]} x {first.own_px[1]} pixels."
        )
    share = given.u_focal_mm / given.focal_mm if given.u_focal_mm and given.focal_mm else U_FOCAL_SHARE
    turn, points = registered(first, second, camera, (*at, 1.2 * half))
    points = points[0][turn.kept], points[1][turn.kept]
    with finding_turn(first, second):
        pair = far_pair(points, camera, share)
    must_fit(pair, first)
    turn, camera = pair.turn, pair.camera
    if abs(math.degrees(turn.vector_rad[1])) < TURNED_DEG:
        raise ReadingsRefused(
            f"{second.path}: was turned by {abs(math.degrees(turn.vector_rad[1])):.1f}° only; have the mark near one "
            "edge of the picture, then near the other."
        )
    reach = min(round(camera.focal_px * 0.25), first.grey.shape[1] // 4)
    try:
        right, down, u_mark = mark_shift_px(first.grey, second.grey, turn, camera, place=at, half_px=half, reach_px=reach)
    except MarkNotFound:
        raise InputError(
            f"{second.path}: does not show again what {first.path.name} shows at {place[0]:g} {place[1]:g} (--mark); "
            "name a place on the near mark, its size with --mark-px, and check that both photographs show it."
        ) from None
    if abs(down) > MOST_DOWN_PX:
        raise ReadingsRefused(
            f"{second.path}: the mark moved {abs(down):.0f} px up or down as the head turned, and not only sideways; "
            "level the camera, and name a place on the near mark (--mark)."
        )
    seen = camera.pixels(
        Rotation.from_rotvec(turn.vector_rad).inv().apply(camera.rays(np.array(at)[None] + (right, down)))
    )
    near = NearMark(np.array(at), seen[0], math.hypot(u_mark, MARK_PX), common_px(camera.focal_px))
    try:
        value, u_offset, parts = seen_offset_mm(points, pair, near, scene, u_sideways_mm)
    except ValueError as error:
        raise ReadingsRefused(
            f"{second.path}: {error}; check the mark (--mark), the distances and the focal length."
        ) from None
    more = {"mark_shift_px": right / first.share, "turned_deg": math.degrees(float(turn.vector_rad[1]))}
    edge_deg = math.degrees(math.atan(first.grey.shape[1] / 2 / camera.focal_px))
    return MeasuredOffset(value, u_offset, parts, camera.focal_px / first.share, edge_deg, "two photographs", more)
