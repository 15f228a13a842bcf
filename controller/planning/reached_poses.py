"""The poses at which frames are really shot. They are the ones proved, linked and drawn."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from controller.kit.kit import Head
from controller.planning.directions import Array
from controller.program.kinematics import CameraPose, will_reach
from controller.program.program import Aim


class Poses(NamedTuple):
    """Yaw, pitch and roll of the camera in the levelled world, degrees, shape (n,) each; None means no roll."""

    yaw_deg: Array
    pitch_deg: Array
    roll_deg: Array | None = None


def frame_pose(head: Head, frame: Aim) -> CameraPose:
    """The pose at which this head shoots a frame, including its lean; a frame shot by hand is as planned."""
    if frame.by_hand:
        return CameraPose(frame.yaw_deg, frame.pitch_deg)
    return will_reach(head, frame.yaw_deg, frame.pitch_deg)


def levelled_poses(frames: Sequence[Aim]) -> Poses:
    """The poses at which a level head shoots `frames`: as planned."""
    return Poses(np.array([frame.yaw_deg for frame in frames]), np.array([frame.pitch_deg for frame in frames]))


def poses_of(head: Head, frames: Sequence[Aim]) -> Poses:
    """The poses at which this head shoots `frames`."""
    if head.lean_deg == 0:
        return levelled_poses(frames)
    found = [frame_pose(head, frame) for frame in frames]
    yaw, pitch, roll = (np.array([getattr(pose, name) for pose in found]) for name in CameraPose.__slots__)
    return Poses(yaw, pitch, roll)
