"""The pose of each intended exposure: where the camera really pointed, as far as the session knows."""

from dataclasses import dataclass
from enum import StrEnum

from controller.kit.kit import Head
from controller.planning.plan import Frame
from controller.program.kinematics import CameraPose, angles_of_steps, pose_at
from controller.session.rows import ShotRow

DECIMALS = 4  # of a degree: a tenth of the finest head's step, without false digits


class PoseFrom(StrEnum):
    """How a pose was determined."""

    REPORTED = "reported"
    """The steps that the board reported when the exposure ended."""
    COMMANDED = "commanded"
    """The steps that were commanded."""
    ASKED = "asked"
    """The pose that a person who shoots by hand was asked for."""


@dataclass(frozen=True, slots=True)
class ShotPose:
    """Yaw, pitch and roll of the camera in the levelled world, the angles of the axes (None by hand), and their source.

    All in degrees.
    """

    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    pan_deg: float | None
    tilt_deg: float | None
    source: PoseFrom


def shot_pose(head: Head, frame: Frame | None, row: ShotRow) -> ShotPose:
    """The pose of one row of a session; `frame` is None if the plan does not contain it."""
    intent = row.intent
    if (frame is not None and frame.by_hand) or intent.pan_deg is None or intent.tilt_deg is None:
        asked = CameraPose(0.0, 0.0) if frame is None else CameraPose(frame.yaw_deg, frame.pitch_deg)
        return _rounded(asked, None, PoseFrom.ASKED)
    source, pan_steps, tilt_steps = PoseFrom.REPORTED, row.reported_pan_steps, row.reported_tilt_steps
    if pan_steps is None or tilt_steps is None:
        source, pan_steps, tilt_steps = PoseFrom.COMMANDED, intent.commanded_pan_steps, intent.commanded_tilt_steps
    if pan_steps is None or tilt_steps is None:  # a row of version 2, which stored angles only
        angles = intent.pan_deg, intent.tilt_deg
    else:
        angles = angles_of_steps(head, pan_steps, tilt_steps)
    return _rounded(pose_at(head, *angles), angles, source)


def _rounded(pose: CameraPose, angles: tuple[float, float] | None, source: PoseFrom) -> ShotPose:
    pan_deg, tilt_deg = (None, None) if angles is None else (_round(angles[0]), _round(angles[1]))
    return ShotPose(_round(pose.yaw_deg), _round(pose.pitch_deg), _round(pose.roll_deg), pan_deg, tilt_deg, source)


def _round(angle_deg: float) -> float:
    return round(angle_deg, DECIMALS) + 0.0  # avoids minus zero
