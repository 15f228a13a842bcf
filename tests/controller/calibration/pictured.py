"""Simulated matched points of two pictures: where a camera would show directions, with errors of a known size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.calibration.turning import PictureGeometry

Array = NDArray[np.float64]
SIZE = (1000, 667)


def camera_of(focal_mm: float = 24.0) -> PictureGeometry:
    """A rectilinear camera with a sensor of 36 mm across SIZE[0] pixels."""
    return PictureGeometry(focal_mm / 36 * SIZE[0], ((SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2))


def common_points(
    random: np.random.Generator, camera: PictureGeometry, turn: Rotation, count: int, noise_px: float, bend: float = 0.0
) -> tuple[Array, Array]:
    """`count` points that both pictures show, the second taken after `turn` (its rays into the first's axes)."""
    firsts, seconds, found = [], [], 0
    while found < count:
        first = random.uniform((0, 0), SIZE, (4 * count, 2))
        second = camera.pixels(turn.inv().apply(camera.rays(first)))
        inside = np.all((second >= 0) & (second <= SIZE), axis=1)
        firsts.append(first[inside])
        seconds.append(second[inside])
        found += int(inside.sum())
    both = [distorted(np.concatenate(points)[:count], camera, bend) for points in (firsts, seconds)]
    return both[0] + random.normal(0, noise_px, (count, 2)), both[1] + random.normal(0, noise_px, (count, 2))


def distorted(points_px: Array, camera: PictureGeometry, bend: float) -> Array:
    """Where a lens with the distortion `bend` shows points: at r instead of r (1 + bend r^2), in focal lengths."""
    due = (points_px - camera.middle_px) / camera.focal_px
    seen = due
    for _ in range(25):
        seen = due / (1 + bend * np.sum(seen**2, axis=1, keepdims=True))
    return np.asarray(seen * camera.focal_px + camera.middle_px)


def turned(right_deg: float, pitch_deg: float = 0.0) -> Rotation:
    """A turn to the right about an upright axis, in the axes of a camera that looks up by `pitch_deg`."""
    tilt = Rotation.from_rotvec([np.radians(pitch_deg), 0, 0])
    return tilt.inv() * Rotation.from_rotvec([0, np.radians(right_deg), 0]) * tilt
