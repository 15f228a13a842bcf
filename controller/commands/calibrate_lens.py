"""`fullturn calibrate parallax`: where the lens must stand to turn about its entrance pupil."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.finding import Finding, Plot, PlotSeries
from controller.calibration.found import plus_minus
from controller.calibration.marks import MarkNotFound, mark_shift_px
from controller.calibration.parallax import (
    FARTHEST_OFFSET_MM,
    NEAREST_MM,
    Scene,
    TypedShift,
    offset_that_costs_mm,
    shift_px,
    typed_offset_mm,
)
from controller.calibration.photographs import Photograph, camera_for, photographs_in, read_photographs
from controller.calibration.readings import NotBelievable
from controller.calibration.records import CalibrationKind
from controller.calibration.registration import common_px
from controller.calibration.turning import PictureGeometry
from controller.calibration.views import NearMark, far_pair, seen_offset_mm
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_pictures import U_FOCAL_SHARE, LensGiven, finding_turn, lens_name, must_fit, registered
from controller.commands.calibrate_rail import typed_focal
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.projection import Projection

MARK_SHARE = 1 / 16  # of the picture's width that the mark fills, where nobody says
MARK_PX = 0.1  # what finding a mark again near the edge is off by at least, from simulated photographs
MOST_DOWN_PX = 3.0  # in a picture of handy size; a level camera on a pan axis shifts marks sideways alone
TURNED_DEG = 5.0  # less turn between two photographs than this shows no parallax worth the name


@dataclass(frozen=True, slots=True)
class Rail:
    """Where the rail's scale stood, and whether it counts up as the camera slides forward."""

    rail_mm: float
    grows_forward: bool = True
    u_rail_mm: float = 0.25  # read to half a millimetre or so

    def without(self, offset: float) -> float:
        """Where it should stand when the camera is slid back by `offset`."""
        return self.rail_mm - offset if self.grows_forward else self.rail_mm + offset


@dataclass(frozen=True, slots=True)
class _Measured:
    """An offset with its standard uncertainty, what contributes to it, and what is needed to say how good it must be."""

    offset: float
    u_offset: float
    parts: dict[str, float]
    focal_px: float
    edge_deg: float
    how: str
    more: dict[str, Any]
    plots: tuple[Plot, ...] = ()


def typed_parallax_command(
    given: LensGiven, scene: Scene, typed: TypedShift, rail: Rail | None, keeping: Keeping
) -> Finding:
    """The offset from a shift in pixels. Raises InputError, NotBelievable."""
    kit = keeping.kit()
    _must_be_usable(scene)
    if not 0 < abs(typed.angle_deg) < 85:
        raise InputError(f"--angle-deg {typed.angle_deg:g}: must lie between 0 and 85, either side of the middle.")
    if kit is not None and kit.lens.projection is not Projection.RECTILINEAR:
        raise InputError(
            f"The kit's lens is {kit.lens.projection}; typed shifts are for rectilinear ones, give photographs."
        )
    focal_mm, focal_px = typed_focal(kit, given)
    u_focal = given.u_focal_mm / focal_mm if given.u_focal_mm else U_FOCAL_SHARE
    try:
        offset, u_offset, parts = typed_offset_mm(typed, scene, focal_px, u_focal)
    except ValueError:
        raise NotBelievable(
            f"No place of the lens gives a shift of {typed.shift_px:g} px at {typed.angle_deg:g}°; check the pixels' "
            "size, the distances (from the axis) and the angle."
        ) from None
    reach = np.linspace(-1.5, 1.5, 61) * max(abs(offset), 4 * u_offset)
    far_mm = 1 / max(scene.far_per_mm()[0], 1e-12)
    curve = [shift_px(float(e), focal_px, scene.near_mm, far_mm, typed.angle_deg) for e in reach]
    plot = Plot(
        heading="Shift and offset",
        caption="How far the near mark is shifted against the far one, by how far ahead of the axis the lens stands.",
        x_label="no-parallax point ahead of the axis, mm",
        y_label="shift px",
        series=(PlotSeries("exact", reach.tolist(), curve, line=True), PlotSeries("read", [offset], [typed.shift_px])),
    )
    edge_deg = abs(typed.angle_deg)
    measured = _Measured(offset, u_offset, parts, focal_px, edge_deg, "shift of a near mark, typed in", {}, (plot,))
    return _finding(measured, scene, rail, kit, focal_mm)


def seen_parallax_command(
    paths: Sequence[Path],
    place: tuple[float, float],
    size_px: float | None,
    given: LensGiven,
    scene: Scene,
    u_sideways_mm: float,
    rail: Rail | None,
    keeping: Keeping,
) -> Finding:
    """The offset from two photographs, the near mark at `place` (column, row) of the first one's own pixels.

    Raises InputError, NotBelievable.
    """
    kit = keeping.kit()
    _must_be_usable(scene)
    files = photographs_in(paths)
    if len(files) != 2:
        raise InputError(f"{paths[0]}: two photographs are needed, not {len(files)}.")
    taken = read_photographs(files)
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    measured = _from_photographs(taken, place, size_px, camera, given, scene, u_sideways_mm)
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else taken[0].focal_mm)
    return _finding(measured, scene, rail, kit, focal_mm)


def _must_be_usable(scene: Scene) -> None:
    if scene.near_mm <= NEAREST_MM:
        raise InputError(
            f"--near-mm {scene.near_mm:g}: a mark nearer than {NEAREST_MM:g} mm to the axis stands nearer than the "
            "camera; "
            "distances are from the pan axis."
        )
    if (scene.far_mm is None) == (scene.far_at_least_mm is None):
        raise InputError(
            "The far mark shifts as well: say how far it is (--far-mm) or how far at least (--far-at-least-mm), not both."
        )
    least, option = (scene.far_mm, "far") if scene.far_mm is not None else (scene.far_at_least_mm, "far-at-least")
    if least is not None and least < 1.2 * scene.near_mm:
        raise InputError(f"--{option}-mm {least:g}: must be well beyond the near mark at {scene.near_mm:g} mm.")
    if scene.nearest_mm is not None and scene.nearest_mm <= NEAREST_MM:
        raise InputError(f"--nearest-mm {scene.nearest_mm:g}: must be more than {NEAREST_MM:g} mm.")


def _from_photographs(
    taken: Sequence[Photograph],
    place: tuple[float, float],
    size_px: float | None,
    camera: PictureGeometry,
    given: LensGiven,
    scene: Scene,
    u_sideways_mm: float,
) -> _Measured:
    first, second = taken
    at = first.place(place)
    half = max(4, round((first.grey.shape[1] * MARK_SHARE if size_px is None else size_px * first.share) / 2))
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
        raise NotBelievable(
            f"{second.path}: was turned by {abs(math.degrees(turn.vector_rad[1])):.1f}° only; have the mark near one "
            "edge of the picture, then near the other."
        )
    reach = min(round(camera.focal_px * 0.25), first.grey.shape[1] // 4)
    try:
        right, down, u_mark = mark_shift_px(first.grey, second.grey, turn, camera, at, half, reach)
    except MarkNotFound:
        raise InputError(
            f"{second.path}: does not show again what {first.path.name} shows at {place[0]:g} {place[1]:g} (--mark); "
            "name a "
            "place on the near mark, its size with --mark-px, and check that both photographs show it."
        ) from None
    if abs(down) > MOST_DOWN_PX:
        raise NotBelievable(
            f"{second.path}: the mark moved {abs(down):.0f} px up or down as the head turned, and not only sideways; "
            "level the camera, and name a place on the near mark (--mark)."
        )
    seen = camera.pixels(
        Rotation.from_rotvec(turn.vector_rad).inv().apply(camera.rays(np.array(at)[None] + (right, down)))
    )
    mark = NearMark(np.array(at), seen[0], math.hypot(u_mark, MARK_PX), common_px(camera.focal_px))
    try:
        value, u_offset, parts = seen_offset_mm(points, pair, mark, scene, u_sideways_mm)
    except ValueError as error:
        raise NotBelievable(
            f"{second.path}: {error}; check the mark (--mark), the distances and the focal length."
        ) from None
    more = {"mark_shift_px": right / first.share, "turned_deg": math.degrees(float(turn.vector_rad[1]))}
    edge_deg = math.degrees(math.atan(first.grey.shape[1] / 2 / camera.focal_px))
    return _Measured(value, u_offset, parts, camera.focal_px / first.share, edge_deg, "two photographs", more)


def _finding(measured: _Measured, scene: Scene, rail: Rail | None, kit: Kit | None, focal_mm: float | None) -> Finding:
    offset, u = measured.offset, measured.u_offset
    if abs(offset) > min(FARTHEST_OFFSET_MM, scene.near_mm / 2):
        raise NotBelievable(
            f"The no-parallax point would lie {abs(offset):.0f} mm {'ahead of' if offset > 0 else 'behind'} the axis, "
            "which no rail allows; check the shift's sign, the distances (from the axis) and the pixels' size."
        )
    nearest = scene.near_mm if scene.nearest_mm is None else scene.nearest_mm
    costs = offset_that_costs_mm(1.0, measured.focal_px, nearest, measured.edge_deg)
    slide = "back" if offset >= 0 else "forward"
    side = "ahead of" if offset >= 0 else "behind"
    where = f"The no-parallax point is {plus_minus(abs(offset), u, math.inf)} mm {side} the pan axis (95 %)"
    sentences = [f"{where}: slide the camera {slide} by {abs(offset):.1f} mm."]
    if abs(offset) < 2 * u:
        sentences = [f"{where}, which cannot be told from none: leave it."]
    sentences.append(
        f"For things {nearest / 1000:g} m away, {costs:.2f} mm cost one pixel at {measured.edge_deg:.0f}° off the middle"
        + (", more than this is uncertain by." if 2 * u < costs else f"; {_advice(measured)}")
    )
    values, uncertainties = {"offset_mm": offset}, {"u_offset_mm": u}
    if rail is not None:
        values["rail_mm"], uncertainties["u_rail_mm"] = rail.without(offset), math.hypot(u, rail.u_rail_mm)
        said = plus_minus(values["rail_mm"], uncertainties["u_rail_mm"], math.inf)
        sentences.append(f"The rail's scale should be at {said} mm (95 %).")
    return Finding(
        kind=CalibrationKind.PARALLAX,
        axis=None,
        values=values,
        uncertainties=uncertainties,
        degrees_of_freedom=None,
        how=measured.how,
        sentences=tuple(sentences),
        more={"slide": slide, "one_pixel_mm": costs, "u_parts_mm": measured.parts} | measured.more,
        plots=measured.plots,
        lens=lens_name(kit),
        focal_length_mm=focal_mm,
    )


def _advice(measured: _Measured) -> str:
    """How to be surer, by what contributes most."""
    largest = max(measured.parts, key=lambda name: measured.parts[name])
    share = largest in {"distortion", "lens", "far_per_mm", "focal_px", "near_mm", "angle_deg"}
    if share and abs(measured.offset) > measured.u_offset:
        return "slide, and measure again: most of the uncertainty shrinks with the offset."
    return "measured again with a nearer mark it would be surer."
