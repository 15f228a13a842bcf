"""Surfaces of the place that look like photographs of real ones: the meadow's ground, and a near wall.

A texture is a grey picture of a plane, tiled by reflection. Of its ever smaller versions the one is used whose points are
as large as those of the scenery there, to prevent aliasing (L. Williams, "Pyramidal parametrics", SIGGRAPH 1983).
"""

import math
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sim.scene.bare import Sector
from sim.scene.lens import Floats

Places = NDArray[np.floating[Any]]
FEWEST_POINTS = 8  # of the smallest version of a texture
AHEAD = Sector(0.0, 60.0)
BRICK = (0.42, 0.24, 0.17)  # light of a wall in red, green and blue


@dataclass(frozen=True, slots=True, eq=False)
class Texture:
    """Versions of a texture as light about a mean of 1, each half as large as the one before; the first has points of
    `point_mm`.
    """

    versions: tuple[Floats, ...]
    point_mm: float

    @classmethod
    def of(cls, codes: NDArray[np.uint8], across_mm: float) -> Self:
        """From a grey picture (rows, columns) on the curve of sRGB that shows `across_mm` from left to right."""
        code = codes / 255
        light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
        versions = [(light / light.mean()).astype(np.float32)]
        while min(versions[-1].shape) >= 2 * FEWEST_POINTS:
            last = versions[-1]
            rows, columns = last.shape[0] // 2, last.shape[1] // 2
            versions.append(last[: 2 * rows, : 2 * columns].reshape(rows, 2, columns, 2).mean(axis=(1, 3)))
        return cls(tuple(versions), across_mm / codes.shape[1])

    def light(self, right_mm: Places, down_mm: Places, grain_mm: Places) -> Floats:
        """The share of light at places of shape (rows, columns), if points there are `grain_mm` (rows,) large."""
        wanted = np.clip(np.log2(np.maximum(grain_mm / self.point_mm, 1e-6)), 0, len(self.versions) - 1)
        shares = np.zeros(np.broadcast_shapes(right_mm.shape, down_mm.shape), dtype=np.float32)
        right_mm, down_mm = (np.broadcast_to(part, shares.shape) for part in (right_mm, down_mm))
        for number, version in enumerate(self.versions):
            weight = np.clip(1 - np.abs(wanted - number), 0, 1)
            rows = np.flatnonzero(weight)
            if len(rows):
                size = self.point_mm * 2**number
                places = [down_mm[rows] / size - 0.5, right_mm[rows] / size - 0.5]
                seen = ndimage.map_coordinates(version, places, order=1, mode="reflect")
                shares[rows] += weight[rows, np.newaxis].astype(np.float32) * seen
        return shares


@dataclass(frozen=True, slots=True, eq=False)
class Surfaces:
    """What the meadow's ground looks like, and a round wall `distance_mm` from the head and `height_mm` high."""

    ground: Texture
    wall: Texture
    sector: Sector = AHEAD
    distance_mm: float = 3000.0
    height_mm: float = 2600.0

    def ground_light(self, yaw_rad: Floats, pitch_rad: Floats, eye_mm: float) -> Floats:
        """The share of light (rows, columns) of level ground `eye_mm` below; 1 far away and above the horizon."""
        depression = np.maximum(-pitch_rad, 1e-3)
        away = eye_mm / np.tan(depression)
        grain = (away**2 + eye_mm**2) / eye_mm * (2 * math.pi / len(yaw_rad))
        ahead, right = away[:, np.newaxis] * np.cos(yaw_rad), away[:, np.newaxis] * np.sin(yaw_rad)
        share = self.ground.light(right, ahead, grain)
        return np.where(pitch_rad[:, np.newaxis] < -1e-2, share, np.float32(1))

    def wall_light(self, yaw_rad: Floats, pitch_rad: Floats, eye_mm: float) -> tuple[Floats, Floats]:
        """Light (rows, columns, 3) of the wall, and how many points inside it a direction is."""
        per_rad = len(yaw_rad) / (2 * math.pi)
        up = self.distance_mm * np.tan(np.clip(pitch_rad, -1.5, 1.5))
        grain = self.distance_mm / np.cos(np.clip(pitch_rad, -1.5, 1.5)) ** 2 / per_rad
        share = self.wall.light((yaw_rad * self.distance_mm)[np.newaxis], -up[:, np.newaxis], grain)
        foot, top = (math.atan2(height - eye_mm, self.distance_mm) for height in (0.0, self.height_mm))
        tall = np.minimum(pitch_rad - foot, top - pitch_rad)[:, np.newaxis]
        inside = np.minimum(self.sector.inward_rad(yaw_rad), tall) * per_rad
        return (np.array(BRICK, dtype=np.float32) * share[..., np.newaxis]), inside.astype(np.float32)
