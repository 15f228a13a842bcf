"""Photographs that went wrong, as values: a table of them spoils a set.

Small turns are rotation vectors in degrees about the camera's own axes: right, down and along the lens. Positive ones
turn the camera up, to the right, and clockwise as seen from behind it.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.signal import oaconvolve
from scipy.spatial.transform import Rotation

from sim.scene.lens import Floats, axes_of
from sim.scene.render import HeldPose

Turn = tuple[float, float, float]
NOT_TURNED: Turn = (0.0, 0.0, 0.0)
MOST_PARTS = 64  # of one motion
DISC_GRID = 8  # points across a pixel of the disc that defocus makes of a point


@dataclass(frozen=True, slots=True)
class Spoilt:
    """What went wrong with the exposures of one frame.

    They were `brighter_ev` brighter than due; out of focus, so that a point is a disc `soft_px` across; turned by
    `turned_deg`; turned further by `moved_deg` in all, evenly while the shutter was open. `elsewhere`: the seed of
    another place that they show. `swapped_with`: the frame whose pictures were exchanged for these. `lost`: there is no
    picture. With `exposure`, only that exposure of the bracket is spoilt.
    """

    brighter_ev: float = 0.0
    soft_px: float = 0.0
    turned_deg: Turn = NOT_TURNED
    moved_deg: Turn = NOT_TURNED
    elsewhere: int | None = None
    swapped_with: int | None = None
    lost: bool = False
    exposure: int | None = None


SOUND = Spoilt()


def turned(pose: HeldPose, turn_deg: Turn) -> HeldPose:
    """The pose after a small turn about the camera's own axes."""
    if turn_deg == NOT_TURNED:
        return pose
    axes = axes_of(pose.yaw_deg, pose.pitch_deg, pose.roll_deg)
    right, down, forward = (
        np.stack([axes[:, 1], -axes[:, 2], axes[:, 0]], axis=1) @ Rotation.from_rotvec(turn_deg, degrees=True).as_matrix()
    ).T
    yaw_deg = math.degrees(math.atan2(forward[1], forward[0]))
    pitch_deg = math.degrees(math.atan2(forward[2], math.hypot(forward[0], forward[1])))
    level = axes_of(yaw_deg, pitch_deg)
    roll_deg = math.degrees(math.atan2(-right @ level[:, 2], -down @ level[:, 2]))
    return replace(pose, yaw_deg=yaw_deg, pitch_deg=pitch_deg, roll_deg=roll_deg)


def swept(poses: tuple[HeldPose, ...], turn_deg: Turn, pixel_deg: float) -> tuple[HeldPose, ...]:
    """The poses of an exposure during which the camera also turned by `turn_deg`, half of it before the middle.

    The motion is divided into parts of half a pixel of `pixel_deg`, at most MOST_PARTS.
    """
    if turn_deg == NOT_TURNED:
        return poses
    parts = min(MOST_PARTS, max(2, math.ceil(2 * math.hypot(*turn_deg) / pixel_deg)))
    shares = [(number + 0.5) / parts - 0.5 for number in range(parts)]
    return tuple(
        turned(pose, (share * turn_deg[0], share * turn_deg[1], share * turn_deg[2]))
        for pose in poses
        for share in shares
    )


def defocused(light: Floats, disc_px: float) -> Floats:
    """The light (rows, columns, 3) if each point becomes an even disc `disc_px` across; edges are continued outward."""
    if disc_px == 0:
        return light
    reach = math.ceil(disc_px / 2)
    fine = (np.arange((2 * reach + 1) * DISC_GRID) + 0.5) / DISC_GRID - reach - 0.5
    inside = np.hypot(fine[:, np.newaxis], fine) <= disc_px / 2
    disc = inside.reshape(2 * reach + 1, DISC_GRID, 2 * reach + 1, DISC_GRID).mean(axis=(1, 3))
    padded = np.pad(light, ((reach, reach), (reach, reach), (0, 0)), mode="edge")
    spread = oaconvolve(padded, (disc / disc.sum()).astype(np.float32)[..., np.newaxis], mode="valid", axes=(0, 1))
    return np.maximum(spread, 0).astype(np.float32)
