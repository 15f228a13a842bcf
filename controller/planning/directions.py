"""Directions as unit vectors: x toward yaw 0, y to the right (yaw 90), z up.

Yaw grows clockwise seen from above and pitch grows upward, so the three axes are left-handed; nothing here
depends on the handedness, only on dot products and lengths.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class CameraAxes(NamedTuple):
    """Unit vectors of cameras, each of shape (..., 3): along the lens, to the picture's right, and up."""

    forward: Array
    right: Array
    up: Array


def camera_axes(yaw_rad: Array, pitch_rad: Array, roll_rad: Array | None = None) -> CameraAxes:
    """The axes of cameras aimed at `yaw_rad` and `pitch_rad`, rolled by `roll_rad` (None: no roll), all of equal shape.

    Roll turns a camera about its lens, clockwise as seen from behind it: the right side goes down.
    """
    sin_yaw, cos_yaw = np.sin(yaw_rad), np.cos(yaw_rad)
    sin_pitch, cos_pitch = np.sin(pitch_rad), np.cos(pitch_rad)
    level = CameraAxes(
        forward=np.stack([cos_pitch * cos_yaw, cos_pitch * sin_yaw, sin_pitch], axis=-1),
        right=np.stack([-sin_yaw, cos_yaw, np.zeros_like(sin_yaw)], axis=-1),
        up=np.stack([-sin_pitch * cos_yaw, -sin_pitch * sin_yaw, cos_pitch], axis=-1),
    )
    if roll_rad is None:
        return level
    sin_roll, cos_roll = np.sin(roll_rad)[..., None], np.cos(roll_rad)[..., None]
    return CameraAxes(
        forward=level.forward,
        right=cos_roll * level.right - sin_roll * level.up,
        up=sin_roll * level.right + cos_roll * level.up,
    )


def yaw_pitch_deg(direction: Array) -> tuple[float, float]:
    """Yaw (0 to 360) and pitch in degrees of one unit vector of shape (3,)."""
    x, y, z = (float(part) for part in direction)
    return float(np.degrees(np.arctan2(y, x))) % 360.0, float(np.degrees(np.arctan2(z, np.hypot(x, y))))


def spiral(count: int) -> Array:
    """`count` directions spread evenly over the sphere, shape (count, 3).

    The Fibonacci lattice with half-step offset (A. Gonzalez, Mathematical Geosciences 42:49, 2010).
    """
    index = np.arange(count) + 0.5
    z = 1 - 2 * index / count
    yaw = index * (np.pi * (3 - np.sqrt(5)))
    across = np.sqrt(1 - z * z)
    return np.stack([across * np.cos(yaw), across * np.sin(yaw), z], axis=-1)
