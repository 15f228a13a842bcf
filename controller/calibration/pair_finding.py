"""The finding of two photographs through a known lens: steps per degree."""

import math
from collections.abc import Sequence

import numpy as np

from controller.amounts import counted
from controller.calibration.finding import Finding
from controller.calibration.interval_words import plus_minus
from controller.calibration.known_lens import U_FOCAL_SHARE, LensGiven, focal_of_camera_mm, lens_name
from controller.calibration.lens_terms import PupilPlace
from controller.calibration.pair import UncertaintySource
from controller.calibration.photograph_pairs import fitted
from controller.calibration.photographs import Photograph, camera_for
from controller.calibration.readings import ReadingsRefused
from controller.calibration.records import AxisName, CalibrationKind, nominal_rate
from controller.calibration.registration import common_px
from controller.calibration.steps import must_fit_gearing
from controller.kit.kit import Kit
from controller.optics.outline import Array

PARTS: dict[UncertaintySource, str] = {
    UncertaintySource.POINTS: "points",
    UncertaintySource.FOCAL_LENGTH: "focal length",
    UncertaintySource.LENS: "lens's distortion",
    UncertaintySource.PUPIL: "place of the lens's pupil",
    UncertaintySource.REGISTRATION: "registration",
    UncertaintySource.POSES: "poses",
}
ASIDE = 0.2  # the largest share of the turn that may be about another axis than the one being calibrated


def pair_finding(
    taken: Sequence[Photograph],
    steps: Array,
    axis: AxisName,
    kit: Kit | None,
    given: LensGiven,
    *,
    standing: PupilPlace,
    u_pose_deg: float,
) -> Finding:
    """The finding of two photographs, shot at these steps of the axis.

    `u_pose_deg` is the standard uncertainty of where the head stops. Raises InputError; ReadingsRefused if the result is
    unreliable.
    """
    camera = camera_for(taken[0], kit, given.focal_mm, given.pixel_um)
    focal_mm = focal_of_camera_mm(camera, taken[0], kit, given)
    u_focal = given.u_focal_mm / focal_mm if given.u_focal_mm else U_FOCAL_SHARE
    pair = fitted(taken[0], taken[1], camera, u_focal, standing)
    about = np.array([0.0, 1.0, 0.0] if axis is AxisName.PAN else [1.0, 0.0, 0.0])
    angle_deg, toward = pair.angle_deg, pair.turn.vector_rad / max(float(np.linalg.norm(pair.turn.vector_rad)), 1e-12)
    moved = float(steps[1] - steps[0])
    aside = abs(float(toward[0 if axis is AxisName.PAN else 1]))
    turned = f"{taken[1].path}: the camera turned by {angle_deg:.2f}° after {taken[0].path.name}"
    if angle_deg < 0.5:
        raise ReadingsRefused(f"{turned}, which is too little. Shoot the two at least half a degree apart.")
    if aside > ASIDE or (toward @ about) * moved <= 0:
        raise ReadingsRefused(
            f"{turned}, but not as the steps say. Give photographs and steps in one order, and the axis that turned."
        )
    parts = pair.parts_deg | {
        UncertaintySource.REGISTRATION: math.degrees(common_px(camera.focal_px) / camera.focal_px),
        UncertaintySource.POSES: math.sqrt(2) * u_pose_deg,
    }
    value, u_angle = abs(moved) / angle_deg, math.hypot(*parts.values())
    u_value = value * u_angle / angle_deg
    must_fit_gearing(str(taken[0].path), value, nominal_rate(kit, axis))
    largest = max(parts, key=lambda name: parts[name])
    return Finding(
        kind=CalibrationKind.STEPS,
        axis=axis,
        values={"steps_per_degree": value, "angle_deg": angle_deg},
        uncertainties={"u_steps_per_degree": u_value, "u_angle_deg": u_angle},
        degrees_of_freedom=None,
        how="two photographs of a known lens",
        sentences=(
            f"{abs(moved):g} steps turned the camera by {plus_minus(angle_deg, u_angle, math.inf)}°: "
            f"{plus_minus(value, u_value, math.inf)} steps per degree (95 %, "
            f"{counted(int(pair.turn.kept.sum()), 'point')}).",
            f"Most of that uncertainty comes from the {PARTS[largest]}. A closed ring (--ring) needs fewer figures.",
        ),
        more={"u_parts_deg": {part.value: parts[part] for part in parts}},
        lens=lens_name(kit),
        focal_length_mm=focal_mm,
    )
