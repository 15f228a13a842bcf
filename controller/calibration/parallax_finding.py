"""The finding of a parallax: where the lens must be to turn about its entrance pupil, and how to get it there."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from controller.calibration.finding import Finding, Plot, PlotSeries
from controller.calibration.interval_words import plus_minus
from controller.calibration.known_lens import U_FOCAL_SHARE, LensGiven, lens_name, typed_focal
from controller.calibration.parallax import (
    FARTHEST_OFFSET_MM,
    NEAREST_MM,
    Scene,
    TypedShift,
    offset_that_costs_mm,
    shift_px,
    typed_offset_mm,
)
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import CalibrationKind
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.projection import Projection


@dataclass(frozen=True, slots=True)
class Rail:
    """The reading of the rail's scale, and whether it grows as the camera slides forward."""

    rail_mm: float
    grows_forward: bool = True
    u_rail_mm: float = 0.25  # read to half a millimetre or so

    def without(self, offset: float) -> float:
        """The reading once the camera is slid back by `offset`."""
        return self.rail_mm - offset if self.grows_forward else self.rail_mm + offset


@dataclass(frozen=True, slots=True)
class MeasuredOffset:
    """An offset with its standard uncertainty, the parts of that, and what limits how exact it must be."""

    offset: float
    u_offset: float
    parts: dict[str, float]
    focal_px: float
    edge_deg: float
    how: str
    more: dict[str, Any]
    plots: tuple[Plot, ...] = ()


def typed_finding(kit: Kit | None, given: LensGiven, scene: Scene, typed: TypedShift, rail: Rail | None) -> Finding:
    """The offset from a shift in pixels. Raises InputError, ReadingsRefused."""
    must_be_usable(scene)
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
        raise ReadingsRefused(
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
    measured = MeasuredOffset(offset, u_offset, parts, focal_px, edge_deg, "shift of a near mark, typed in", {}, (plot,))
    return parallax_finding(measured, scene, rail, kit, focal_mm)


def must_be_usable(scene: Scene) -> None:
    """Raise InputError for marks that cannot be where they are said to be."""
    if scene.near_mm <= NEAREST_MM:
        raise InputError(
            f"--near-mm {scene.near_mm:g}: a mark less than {NEAREST_MM:g} mm from the axis is nearer than the camera. "
            "Distances are from the pan axis."
        )
    least, option = (scene.far_mm, "far") if scene.far_mm is not None else (scene.far_at_least_mm, "far-at-least")
    if least is not None and least < 1.2 * scene.near_mm:
        raise InputError(f"--{option}-mm {least:g}: must be well beyond the near mark at {scene.near_mm:g} mm.")
    if scene.nearest_mm is not None and scene.nearest_mm <= NEAREST_MM:
        raise InputError(f"--nearest-mm {scene.nearest_mm:g}: must be more than {NEAREST_MM:g} mm.")


def parallax_finding(
    measured: MeasuredOffset, scene: Scene, rail: Rail | None, kit: Kit | None, focal_mm: float | None
) -> Finding:
    """The record of an offset and what to do about it. Raises ReadingsRefused if no rail allows that offset."""
    offset, u = measured.offset, measured.u_offset
    if abs(offset) > min(FARTHEST_OFFSET_MM, scene.near_mm / 2):
        raise ReadingsRefused(
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
        sentences = [f"{where}, too little to tell from zero: leave it."]
    sentences.append(
        f"For things {nearest / 1000:g} m away, {costs:.2f} mm cost one pixel at {measured.edge_deg:.0f}° off the middle."
    )
    sentences.append("This measurement is finer than that." if 2 * u < costs else _advice(measured))
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


def _advice(measured: MeasuredOffset) -> str:
    """How to reduce the uncertainty, by what contributes most to it."""
    largest = max(measured.parts, key=lambda name: measured.parts[name])
    share = largest in {"distortion", "lens", "far_per_mm", "focal_px", "near_mm", "angle_deg"}
    if share and abs(measured.offset) > measured.u_offset:
        return "Slide the camera, and measure again: most of the uncertainty shrinks with the offset."
    return "A nearer mark would reduce the uncertainty."
