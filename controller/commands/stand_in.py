"""From a kit to the simulated rig that replaces it. Controller and sim meet here and in `rehearse`."""

import math

import numpy as np

from controller.kit.kit import LONGEST_OF_NOMINAL, Axis, Kit
from controller.optics.projection import LAWS
from sim.axis import AxisSpec
from sim.camera import CameraSpec
from sim.head import HeadSpec
from sim.rig import RigSpec
from sim.scene.lens import Distortion, LensSpec, Vignetting
from sim.scene.photograph import CameraName

TABLE_LINES = 8192
GUSTY_PX = 0.1  # of shaking, above which the simulated wind sensor reports gusts


def rig_spec(kit: Kit, seed: int) -> RigSpec:
    """A rig exactly as the kit describes it; the seed determines where it starts and how the camera dithers."""
    head = kit.head
    return RigSpec(
        head=HeadSpec(
            pan=_axis_spec(head.pan),
            tilt=_axis_spec(head.tilt),
            ring_hz=head.ring_hz,
            ring_damping=head.ring_damping,
            second_ring_hz=head.second_ring_hz,
            second_ring_damping=head.second_ring_damping,
            lean_deg=head.lean_deg,
            lean_toward_deg=head.lean_toward_deg,
            pixel_deg=math.degrees(kit.field(0.0).pixel_rad),
        ),
        camera=CameraSpec(
            shutter_s=kit.shutter_times_s(),
            release_lag_ms=kit.exposure.release_lag_ms,
            ready_ms=kit.exposure.ready_ms,
            noise_reduction_s=kit.exposure.noise_reduction_from_s if kit.exposure.noise_reduction else None,
            bulb=kit.exposure.bulb,
            longest_timed_s=kit.exposure.longest_timed_s * LONGEST_OF_NOMINAL * (1 + 1e-9),
        ),
        baud=kit.board.baud,
        sync_contact=kit.board.sync_contact,
        gusty_from_deg=GUSTY_PX * math.degrees(kit.field(0.0).pixel_rad) if kit.board.wind_sensor else None,
        max_step_rate=kit.board.max_step_rate_hz,
        shapes=kit.board.shapes_ramps,
        seed=seed,
    )


def _axis_spec(axis: Axis) -> AxisSpec:
    return AxisSpec(
        axis.steps_per_degree,
        axis.backlash_deg,
        switch=axis.zero_switch,
        ring_hz=axis.ring_hz,
        ring_damping=axis.ring_damping,
        ring_over_pitch=axis.ring_over_pitch,
    )


def lens_spec(
    kit: Kit,
    pupil_mm: tuple[float, float] = (0.0, 0.0),
    distortion: Distortion | None = None,
    vignetting: Vignetting | None = None,
) -> LensSpec:
    """The kit's lens and sensor, as mounted.

    The entrance pupil is `pupil_mm` ahead and to the right of the point about which the head turns. The projection
    becomes a table, evenly spaced in angle; between its lines the error is below 1e-7 rad. Distortion leaves the image
    circle as large as it is. Raises ValueError if it folds the picture back within the picture.
    """
    field = kit.field(0.0)
    law, focal_mm = LAWS[field.projection], field.focal_length_mm
    right_mm, up_mm = kit.camera.offset_right_mm, kit.camera.offset_up_mm
    corner_mm = math.hypot(field.width_mm / 2 + abs(right_mm), field.height_mm / 2 + abs(up_mm))
    last = corner_mm * 1.001 / focal_mm if field.circle_rad is None else law.radius(field.circle_rad)
    if distortion is not None:
        last = _before_bending(distortion, min(last, corner_mm * 1.001 / focal_mm), law.largest_radius)
    angles = np.linspace(0.0, law.angle(last), TABLE_LINES)
    radii = np.array([law.radius(float(angle)) for angle in angles])
    return LensSpec(
        width_mm=field.width_mm,
        height_mm=field.height_mm,
        radius_mm=focal_mm * (radii if distortion is None else distortion.bent(radii)),
        angle_rad=angles,
        right_mm=right_mm,
        up_mm=up_mm,
        pupil_along_mm=pupil_mm[0],
        pupil_across_mm=pupil_mm[1],
        vignetting=vignetting,
    )


def _before_bending(distortion: Distortion, last: float, most: float) -> float:
    """The undistorted radius, at most `most`, that distortion moves to `last` or nearest to it; for a focal length of 1.

    Raises ValueError if distorted radii do not grow all the way.
    """
    radii = np.linspace(0.0, min(2 * last, most), TABLE_LINES)
    bent = distortion.bent(radii)
    end = int(np.searchsorted(np.maximum.accumulate(bent), last))
    if np.any(np.diff(bent[: end + 1]) <= 0):
        raise ValueError("the distortion folds the picture back on itself")
    return float(np.interp(last, bent[: end + 1], radii[: end + 1]))


def camera_name(kit: Kit) -> CameraName:
    """What the kit's camera would write about itself; its aperture only if the kit states one."""
    focal_mm = kit.lens.focal_length_mm
    diagonal_mm = math.hypot(kit.camera.sensor_width_mm, kit.camera.sensor_height_mm)
    return CameraName(
        make=kit.camera.make,
        model=kit.camera.model,
        lens_make=kit.lens.make,
        lens_model=kit.lens.model,
        focal_length_mm=focal_mm,
        focal_length_35mm=round(focal_mm * math.hypot(36, 24) / diagonal_mm),
        f_number=kit.exposure.f_number,
    )
