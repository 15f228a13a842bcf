"""The camera's direction for given angles of the axes: the forward kinematics of a head that leans.

A pose of the camera is yaw, pitch and roll in the levelled world. Yaw grows clockwise as seen from above, pitch grows
upward, roll is positive if the camera's right side hangs low. The order is yaw, then pitch about the camera's right, then
roll about the lens. Pan and tilt are the angles of the motors; they differ from yaw and pitch as soon as the head leans.
A lean lowers what looks toward `lean_toward_deg`. `levelled` is the inverse, exact up to its STEEP_DEG.
"""

import math
from dataclasses import dataclass

from controller.kit.kit import Head
from controller.program.levelled import levelled

AT_POLE = 1e-12  # a lens this near to a pole has no yaw of its own


@dataclass(frozen=True, slots=True)
class CameraPose:
    """Yaw, pitch (-90 to 90) and roll (-180 to 180) of the camera in the levelled world, in degrees."""

    yaw_deg: float
    pitch_deg: float
    roll_deg: float = 0.0


def reached(pan_deg: float, tilt_deg: float, lean_deg: float, toward_deg: float) -> CameraPose:
    """The pose of a camera with its axes at `pan_deg` and `tilt_deg`, on a head that leans toward `toward_deg`.

    The yaw stays within half a turn of the pan. Past a pole the camera looks back: yaw and roll change by half a turn.
    """
    if lean_deg == 0 and abs(tilt_deg) <= 90:
        return CameraPose(pan_deg, tilt_deg, 0.0)
    pan, tilt, lean = (math.radians(angle) for angle in (pan_deg - toward_deg, tilt_deg, lean_deg))
    along, across, up = math.cos(tilt) * math.cos(pan), math.cos(tilt) * math.sin(pan), math.sin(tilt)
    along, up = along * math.cos(lean) + up * math.sin(lean), up * math.cos(lean) - along * math.sin(lean)
    level = math.hypot(along, across)
    yaw = math.atan2(across, along) if level > AT_POLE else pan
    pitch = math.atan2(up, level)
    # Compare the camera's right, turned with the head, with the right and the up of a camera without roll.
    right = (-math.sin(pan) * math.cos(lean), math.cos(pan), math.sin(pan) * math.sin(lean))
    to_right = -right[0] * math.sin(yaw) + right[1] * math.cos(yaw)
    to_upper = right[2] * math.cos(pitch) - (right[0] * math.cos(yaw) + right[1] * math.sin(yaw)) * math.sin(pitch)
    yaw = pan + math.remainder(yaw - pan, math.tau)
    return CameraPose(toward_deg + math.degrees(yaw), math.degrees(pitch), math.degrees(math.atan2(-to_upper, to_right)))


def pose_at(head: Head, pan_deg: float, tilt_deg: float) -> CameraPose:
    """The pose of the camera with this head's axes at these angles."""
    return reached(pan_deg, tilt_deg, head.lean_deg, head.lean_toward_deg)


def axes_for(head: Head, yaw_deg: float, pitch_deg: float) -> tuple[float, float]:
    """The angles (pan, tilt), in degrees, to which this head is sent for a frame at this yaw and pitch.

    A tilt that passes a limit only because of the lean stays at the limit.
    """
    aim = levelled(yaw_deg, pitch_deg, head.lean_deg, head.lean_toward_deg)
    tilt_deg = aim.tilt_deg
    if head.tilt.min_deg <= pitch_deg <= head.tilt.max_deg:
        tilt_deg = min(max(tilt_deg, head.tilt.min_deg), head.tilt.max_deg)
    return aim.pan_deg, tilt_deg


def will_reach(head: Head, yaw_deg: float, pitch_deg: float) -> CameraPose:
    """The pose that the camera reaches if this head is sent to a frame at this yaw and pitch.

    It ignores rounding to whole steps: half a step belongs to the head's pointing error.
    """
    return pose_at(head, *axes_for(head, yaw_deg, pitch_deg))


def angles_of_steps(head: Head, pan_steps: int, tilt_steps: int) -> tuple[float, float]:
    """The angles (pan, tilt) of axes at these steps, in degrees.

    Play needs no correction: a switch finds zero, and every frame is approached, from the same side of it.
    """
    return pan_steps / head.pan.steps_per_degree, tilt_steps / head.tilt.steps_per_degree
