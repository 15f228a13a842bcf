"""Equirectangular pictures: columns are yaws, rows are pitches, all pixels the same angle apart.

This is the plate carrée projection (FITS code CAR: M. Calabretta and E. Greisen, "Representations of celestial
coordinates in FITS", Astronomy & Astrophysics 395:1077, 2002, section 5.2.3). Directions are as in `poses`: x to the
right of yaw 0, y down, z toward yaw 0.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.inspection.lens_model import Array


@dataclass(frozen=True, slots=True)
class SphereGrid:
    """A sphere or a window of it. The left edge is at `yaw_from_deg`, the top edge at `pitch_to_deg`.

    Places on it are (x, y) in pixels from the top left corner: the middle of the first pixel is at (0.5, 0.5).
    """

    yaw_from_deg: float
    pitch_to_deg: float
    pixels_per_deg: float
    columns: int
    rows: int

    @property
    def pixels_per_rad(self) -> float:
        """Pixels to a radian: down anywhere, across at the horizon."""
        return math.degrees(self.pixels_per_deg)

    @property
    def turn_px(self) -> float:
        """The columns of a whole turn."""
        return 360 * self.pixels_per_deg

    def yaws_rad(self) -> Array:
        """The yaws of the columns' middles."""
        return np.asarray(np.radians(self.yaw_from_deg + (np.arange(self.columns) + 0.5) / self.pixels_per_deg))

    def pitches_rad(self) -> Array:
        """The pitches of the rows' middles."""
        return np.asarray(np.radians(self.pitch_to_deg - (np.arange(self.rows) + 0.5) / self.pixels_per_deg))

    def directions(self, pixels: NDArray[np.intp]) -> Array:
        """Unit vectors (n, 3) of pixels by number, counted along the rows."""
        row, column = np.divmod(pixels, self.columns)
        return directions_of(self.yaws_rad()[column], self.pitches_rad()[row])

    def places(self, directions: Array) -> Array:
        """Places (n, 2) of unit vectors (n, 3). What is outside a window has its place beyond the nearer edge."""
        yaw, pitch = angles_deg(directions)
        width = self.columns / self.pixels_per_deg
        beyond = (360 - width) / 2  # so that the seam is opposite the middle of a window
        x = ((yaw - self.yaw_from_deg + beyond) % 360 - beyond) * self.pixels_per_deg
        return np.stack([x, (self.pitch_to_deg - pitch) * self.pixels_per_deg], axis=1)


def directions_of(yaw_rad: Array, pitch_rad: Array) -> Array:
    """Unit vectors (n, 3)."""
    across = np.cos(pitch_rad)
    return np.stack([across * np.sin(yaw_rad), -np.sin(pitch_rad), across * np.cos(yaw_rad)], axis=-1)


def angles_deg(directions: Array) -> tuple[Array, Array]:
    """Yaw (-180 to 180) and pitch of vectors (n, 3)."""
    right, down, ahead = directions.T
    return np.degrees(np.arctan2(right, ahead)), np.degrees(np.arctan2(-down, np.hypot(right, ahead)))


def whole_sphere(width: int) -> SphereGrid:
    """The whole sphere, `width` by `width` / 2 pixels, yaw 0 in the middle. Raises ValueError for an odd width."""
    if width % 2:
        raise ValueError("a whole sphere is twice as wide as it is high")
    return SphereGrid(-180.0, 90.0, width / 360, width, width // 2)


def window(yaw_deg: tuple[float, float], pitch_deg: tuple[float, float], width: int, finest: float) -> SphereGrid:
    """A window of the sphere, from the left yaw to the right one and the lower pitch to the upper one.

    It has at most `width` columns and no more pixels than a whole sphere of that width, and at most `finest` pixels to a
    degree.
    """
    across, up = yaw_deg[1] - yaw_deg[0], pitch_deg[1] - pitch_deg[0]
    scale = min(width / across, math.sqrt(width * width / 2 / (across * up)), finest)
    columns, rows = (max(1, round(angle * scale)) for angle in (across, up))
    return SphereGrid(yaw_deg[0], pitch_deg[1], columns / across, columns, rows)
