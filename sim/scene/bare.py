"""Parts of a place in which there is nothing to see: clear sky, still water and a plastered wall.

Amounts of texture are our own choice, no source: less than the noise of a small sensor. Colours are light in red, green
and blue, as in `place.py`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.scene.lens import Floats

GRAIN = 0.002  # of water and wall
SOFT_RAD = 0.2  # from clouds to clear sky
WATER, FAR_WATER = (0.10, 0.16, 0.20), (0.36, 0.43, 0.50)
PLASTER = (0.62, 0.58, 0.50)
WALL_PITCH_DEG = (-35.0, 50.0)  # foot and top


@dataclass(frozen=True, slots=True)
class Sector:
    """Yaws within `half_deg` of `yaw_deg`."""

    yaw_deg: float
    half_deg: float

    def inward_rad(self, yaw_rad: Floats) -> Floats:
        """How far inside the sector yaws are; negative outside."""
        away = (yaw_rad - np.radians(self.yaw_deg) + np.pi) % (2 * np.pi) - np.pi
        return np.asarray(np.radians(self.half_deg) - np.abs(away), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Bareness:
    """Where the sky is clear, where there is water instead of the meadow, and where a wall hides hills and sky.

    The usual figures leave about a third of the frames of a sphere without detail.
    """

    clear: Sector = Sector(-60.0, 100.0)
    water: Sector = Sector(-120.0, 75.0)
    wall: Sector = Sector(30.0, 50.0)

    def cloudy(self, yaw_rad: Floats) -> Floats:
        """The share of clouds and haze that is left at these yaws."""
        share = np.clip(0.5 - self.clear.inward_rad(yaw_rad) / SOFT_RAD, 0, 1)
        return np.asarray(share * share * (3 - 2 * share), dtype=np.float32)

    def empty(self, yaw_rad: Floats) -> NDArray[np.bool_]:
        """At which yaws nothing is on the ground."""
        return (self.water.inward_rad(yaw_rad) > -0.02) | (self.wall.inward_rad(yaw_rad) > -0.02)

    def paint(self, light: Floats, yaw_rad: Floats, pitch_rad: Floats, shore: Floats, grain: Floats) -> None:
        """Paint water and wall over `light` (rows, columns, 3). Water is where `shore`, in points, is positive."""
        per_rad = len(yaw_rad) / (2 * np.pi)
        wet = np.minimum(self.water.inward_rad(yaw_rad) * per_rad, shore)
        near = np.clip(-pitch_rad / 1.2, 0, 1)[:, np.newaxis, np.newaxis]
        water = np.array(FAR_WATER) + near * (np.array(WATER) - np.array(FAR_WATER))
        _over(light, water * (1 + GRAIN * grain[..., np.newaxis]), wet)
        foot, top = np.radians(WALL_PITCH_DEG)
        tall = np.minimum(pitch_rad - foot, top - pitch_rad)[:, np.newaxis]
        inside = np.minimum(self.wall.inward_rad(yaw_rad), tall) * per_rad
        shading = 1 + 0.1 * np.sin(pitch_rad)[:, np.newaxis, np.newaxis] + GRAIN * grain[..., np.newaxis]
        _over(light, np.array(PLASTER) * shading, inside)


def _over(light: Floats, colour: NDArray[np.float64], points_inside: Floats) -> None:
    opacity = np.clip(points_inside + np.float32(0.5), 0, 1)[..., np.newaxis]
    light += (opacity * (colour - light)).astype(np.float32)
