"""`fullturn calibrate parallax`, `centre`, `rail`: where the lens must stand to turn about its entrance pupil."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration import records
from controller.calibration.finding import Finding, Plot, Series
from controller.calibration.marks import MarkNotFound, mark_shift_px
from controller.calibration.parallax import (
    FARTHEST_OFFSET_MM,
    NEAREST_MM,
    READ_PX,
    Marks,
    offset_from_views_mm,
    offset_mm,
    offset_that_costs_mm,
    shift_px,
    sideways_mm,
)
from controller.calibration.photographs import Photograph, camera_for, photographs_in, read_photographs
from controller.calibration.propagation import propagated
from controller.calibration.rail import Place, Reading, rail_at, rail_table
from controller.calibration.readings import NotBelievable
from controller.calibration.records import Kind
from controller.calibration.registration import common_px
from controller.calibration.turning import Camera
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_pictures import LensGiven, lens_name, registered
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.optics.outline import Array
from controller.optics.projection import Projection

# What readings are taken to be uncertain by where nobody says: a tape held to an axis, an angle off a scale, a focal
# length as engraved. Common practice, no source.
U_DISTANCE_SHARE, U_ANGLE_DEG, U_FOCAL_SHARE, U_AIM_DEG = 0.005, 0.1, 0.01, 0.1
MARK_SHARE = 1 / 16  # of the picture's width that the mark fills, where nobody says
MARK_PX = 0.05  # what finding a mark again is off by at least, from simulated photographs
MOST_DOWN_PX = 3.0  # in a picture of handy size; a level camera on a pan axis shifts marks sideways alone
TURNED_DEG = 5.0  # less turn between two photographs than this shows no parallax worth the name


@dataclass(frozen=True, slots=True)
class Scene:
    """The marks, from the axis in mm (`far_mm` may be infinite), and the nearest thing of the scene to be shot."""

    near_mm: float
    far_mm: float
    u_near_mm: float | None = None
    u_far_mm: float | None = None
    nearest_mm: float | None = None

    def uncertainties(self) -> dict[str, float]:
        """Standard uncertainties of near_mm and far_mm."""
        near = self.near_mm * U_DISTANCE_SHARE if self.u_near_mm is None else self.u_near_mm
        far = self.far_mm * U_DISTANCE_SHARE if self.u_far_mm is None else self.u_far_mm
        return {"near_mm": near, "far_mm": 0.0 if math.isinf(self.far_mm) else far}


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


@dataclass(frozen=True, slots=True)
class TypedShift:
    """What was read by eye: the near mark's shift against the far one, `angle_deg` off the middle of the picture.

    The marks stand in line in the middle of the picture, and the head was then turned by that angle.
    """

    angle_deg: float
    shift_px: float
    u_angle_deg: float = U_ANGLE_DEG
    u_shift_px: float | None = None


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
    focal_mm, focal_px = _typed_focal(kit, given)
    values = {
        "shift_px": typed.shift_px,
        "focal_px": focal_px,
        "near_mm": scene.near_mm,
        "far_mm": scene.far_mm,
        "angle_deg": typed.angle_deg,
    }
    u_focal = U_FOCAL_SHARE if given.u_focal_mm is None else given.u_focal_mm / focal_mm
    u_shift = READ_PX if typed.u_shift_px is None else typed.u_shift_px
    unsure = {"shift_px": u_shift, "angle_deg": typed.u_angle_deg, "focal_px": focal_px * u_focal}
    try:
        offset = offset_mm(**values)
        u_offset, parts = propagated(offset_mm, values, unsure | scene.uncertainties())
    except ValueError:
        raise NotBelievable(
            f"No place of the lens gives a shift of {typed.shift_px:g} px at {typed.angle_deg:g}°; check the pixels' "
            "size, "
            "the distances (from the axis) and the angle."
        ) from None
    reach = np.linspace(-1.5, 1.5, 61) * max(abs(offset), 4 * u_offset)
    curve = [shift_px(float(e), focal_px, scene.near_mm, scene.far_mm, typed.angle_deg) for e in reach]
    plot = Plot(
        heading="Shift and offset",
        caption="How far the near mark is shifted against the far one, by how far ahead of the axis the lens stands.",
        x_label="no-parallax point ahead of the axis, mm",
        y_label="shift px",
        series=(Series("exact", reach.tolist(), curve, line=True), Series("read", [offset], [typed.shift_px])),
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
    measured = _from_photographs(taken, place, size_px, camera, given, scene)
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else taken[0].focal_mm)
    return _finding(measured, scene, rail, kit, focal_mm)


def centre_command(
    given: LensGiven, distance_mm: float, places_px: tuple[float, float], u_aim_deg: float, keeping: Keeping
) -> Finding:
    """How far the lens stands beside the pan axis, from a mark on the ground before and after half a turn.

    It goes with the record of the lens's place but is no place along the rail, so nothing is stored. Raises InputError.
    """
    kit = keeping.kit()
    _, focal_px = _typed_focal(kit, given)
    if distance_mm <= NEAREST_MM:
        raise InputError(f"--distance-mm {distance_mm:g}: a mark nearer than {NEAREST_MM:g} mm stands in the camera.")
    values = {"first_px": places_px[0], "second_px": places_px[1], "focal_px": focal_px, "distance_mm": distance_mm}
    value = sideways_mm(**values)
    unsure = {
        "first_px": READ_PX,
        "second_px": READ_PX,
        "focal_px": focal_px * U_FOCAL_SHARE,
        "distance_mm": distance_mm * U_DISTANCE_SHARE,
    }
    u_read, parts = propagated(sideways_mm, values, unsure)
    parts["aim_deg"] = distance_mm * math.radians(u_aim_deg)  # a lens not quite upright looks beside its foot
    u = math.hypot(u_read, parts["aim_deg"])
    side = "left" if value > 0 else "right"
    where = f"{abs(value):.1f} mm {'right' if value > 0 else 'left'}"
    found = f"The lens stands {where} of the pan axis (standard uncertainty {u:.1f})"
    advice = "which cannot be told from none" if abs(value) < 2 * u else f"so slide the camera {side} by that much"
    return Finding(
        kind=Kind.PARALLAX,
        axis=None,
        values={"sideways_mm": value},
        uncertainties={"u_sideways_mm": u},
        degrees_of_freedom=None,
        how="a mark straight below, before and after half a turn",
        sentences=(f"{found}, {advice}.", "Then find the place fore and aft: `fullturn calibrate parallax`."),
        more={"slide": side, "u_parts_mm": parts},
        lens=lens_name(kit),
    )


def rail_command(kit_path: Path, focal_mm: float | None) -> tuple[tuple[Place, ...], float, Reading]:
    """The table of the kit's lens, the focal length asked for and the rail's reading there. Raises InputError."""
    kit = load_kit(kit_path)
    table = rail_table(records.read(kit_path), kit)
    if not table:
        raise InputError(
            f"{records.calibration_path(kit_path)}: holds no place of this lens on the rail; run `fullturn calibrate "
            "parallax` "
            "with --rail-mm."
        )
    focal = focal_mm or kit.lens.focal_length_mm
    return table, focal, rail_at(table, focal)


def _must_be_usable(scene: Scene) -> None:
    if scene.near_mm <= NEAREST_MM:
        raise InputError(
            f"--near-mm {scene.near_mm:g}: a mark nearer than {NEAREST_MM:g} mm to the axis stands nearer than the "
            "camera; "
            "distances are from the pan axis."
        )
    if scene.far_mm < 1.2 * scene.near_mm:
        raise InputError(f"--far-mm {scene.far_mm:g}: must be well beyond the near mark at {scene.near_mm:g} mm.")
    if scene.nearest_mm is not None and scene.nearest_mm <= NEAREST_MM:
        raise InputError(f"--nearest-mm {scene.nearest_mm:g}: must be more than {NEAREST_MM:g} mm.")


def _typed_focal(kit: Kit | None, given: LensGiven) -> tuple[float, float]:
    """Focal length in mm and in pixels of the camera's own. Raises InputError."""
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else None)
    if focal_mm is None:
        raise InputError("Give --focal-length-mm, or name the kit (--kit).")
    if given.pixel_um is not None:
        return focal_mm, focal_mm * 1000 / given.pixel_um
    if kit is None:
        raise InputError("Give --pixel-um, or name the kit (--kit).")
    field = kit.field(0.0)
    return focal_mm, focal_mm * field.pixels_across / field.width_mm


def _from_photographs(
    taken: Sequence[Photograph],
    place: tuple[float, float],
    size_px: float | None,
    camera: Camera,
    given: LensGiven,
    scene: Scene,
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
    turn, _ = registered(first, second, camera, (*at, 1.2 * half))
    if abs(math.degrees(turn.vector_rad[1])) < TURNED_DEG:
        raise NotBelievable(
            f"{second.path}: was turned by {abs(math.degrees(turn.vector_rad[1])):.1f}° only; have the mark near one "
            "edge of "
            "the picture, then near the other."
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
    u_far_px = math.hypot(camera.focal_px * math.sqrt(float(turn.covariance[1, 1])), common_px(camera.focal_px))
    values = {"right_px": right, "focal_px": camera.focal_px, "near_mm": scene.near_mm, "far_mm": scene.far_mm}

    def offset(right_px: float, focal_px: float, near_mm: float, far_mm: float) -> float:
        other = camera.scaled(focal_px / camera.focal_px)
        return _offset_of(np.array(at), np.array([right_px, down]), turn.vector_rad, other, near_mm, far_mm)

    share = U_FOCAL_SHARE if given.u_focal_mm is None or given.focal_mm is None else given.u_focal_mm / given.focal_mm
    unsure = {
        "right_px": math.hypot(u_mark, MARK_PX, u_far_px),
        "focal_px": share * camera.focal_px,
    } | scene.uncertainties()
    try:
        value = offset(**values)
        u_offset, parts = propagated(offset, values, unsure)
    except ValueError as error:
        raise NotBelievable(
            f"{second.path}: {error}; check the mark (--mark), the distances and the focal length."
        ) from None
    more = {"mark_shift_px": right / first.share, "turned_deg": math.degrees(float(turn.vector_rad[1]))}
    edge_deg = math.degrees(math.atan(first.grey.shape[1] / 2 / camera.focal_px))
    return _Measured(value, u_offset, parts, camera.focal_px / first.share, edge_deg, "two photographs", more)


def _offset_of(at: Array, shift: Array, turn_rad: Array, camera: Camera, near_mm: float, far_mm: float) -> float:
    """The offset, from where the first picture shows the mark and where the second does, laid over it by what is far."""
    back = Rotation.from_rotvec(turn_rad).inv()
    rays = camera.rays(np.stack([at, at + shift]))
    far, near = back.apply(rays)
    first, second_far, second_near = (math.atan2(ray[0], ray[2]) for ray in (rays[0], far, near))
    return offset_from_views_mm(Marks(first, first), Marks(second_near, second_far), near_mm, far_mm)


def _finding(measured: _Measured, scene: Scene, rail: Rail | None, kit: Kit | None, focal_mm: float | None) -> Finding:
    offset, u = measured.offset, measured.u_offset
    if abs(offset) > min(FARTHEST_OFFSET_MM, scene.near_mm / 2):
        raise NotBelievable(
            f"The no-parallax point would lie {abs(offset):.0f} mm {'ahead of' if offset > 0 else 'behind'} the axis, "
            "which no "
            "rail allows; check the shift's sign, the distances (from the axis) and the pixels' size."
        )
    nearest = scene.near_mm if scene.nearest_mm is None else scene.nearest_mm
    costs = offset_that_costs_mm(1.0, measured.focal_px, nearest, measured.edge_deg)
    slide = "back" if offset >= 0 else "forward"
    where = f"The no-parallax point lies {abs(offset):.2f} mm {'ahead of' if offset >= 0 else 'behind'} the pan axis"
    sentences = [f"{where} (standard uncertainty {u:.2f} mm): slide the camera {slide} by {abs(offset):.1f} mm."]
    if abs(offset) < 2 * u:
        sentences = [f"{where} (standard uncertainty {u:.2f} mm), which cannot be told from none: leave it."]
    sentences.append(
        f"For things {nearest / 1000:g} m away, {costs:.2f} mm cost one pixel at {measured.edge_deg:.0f}° off the middle"
        + (
            ", more than this is uncertain by."
            if 2 * u < costs
            else "; measured again with a nearer mark it would be surer."
        )
    )
    values, uncertainties = {"offset_mm": offset}, {"u_offset_mm": u}
    if rail is not None:
        values["rail_mm"], uncertainties["u_rail_mm"] = rail.without(offset), math.hypot(u, rail.u_rail_mm)
        sentences.append(f"The rail's scale should stand at {values['rail_mm']:.1f} mm.")
    return Finding(
        kind=Kind.PARALLAX,
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
