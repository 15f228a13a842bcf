"""The lens and sensor of the camera as values, and the rays of its pixels.

Directions are (forward, right, up) in the camera's own axes, and x toward yaw 0, y toward yaw 90 (to the right), z up in
the world.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Table = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Distortion:
    """Radial distortion: light due at `rho` falls at rho (1 + k1 rho^2 + k2 rho^4 + k3 rho^6).

    `rho` is the radius of the lens's projection for a focal length of 1 (D. C. Brown, "Close-range camera calibration",
    Photogrammetric Engineering 37(8), 1971).
    """

    k1: float = 0.0
    k2: float = 0.0
    k3: float = 0.0

    def bent(self, rho: Table) -> Table:
        """The distorted radii."""
        square = rho**2
        return np.asarray(rho * (1 + square * (self.k1 + square * (self.k2 + square * self.k3))))


@dataclass(frozen=True, slots=True)
class Vignetting:
    """How the light falls off toward the corners.

    `natural`: by the fourth power of the cosine of the angle off axis, as in a rectilinear lens without correction
    (S. F. Ray, *Applied Photographic Optics*, 3rd ed. 2002). `corner_share` of the light is left by the rest at the
    corner farthest from the axis; the loss grows with the square of the radius.
    """

    natural: bool = False
    corner_share: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class LensSpec:
    """Sizes in millimetres, upright as mounted.

    The picture's centre is `right_mm` right of and `up_mm` above the lens's axis. The lens's law is a table of equal
    length: light `angle_rad` off axis falls at `radius_mm` from the axis, both growing from zero. Beyond the last radius
    the picture is black. The entrance pupil is `pupil_along_mm` ahead of the point about which the head turns, and
    `pupil_across_mm` to its right. Both are zero if the lens turns about its no-parallax point.
    """

    width_mm: float
    height_mm: float
    radius_mm: Table
    angle_rad: Table
    right_mm: float = 0.0
    up_mm: float = 0.0
    pupil_along_mm: float = 0.0
    pupil_across_mm: float = 0.0
    vignetting: Vignetting | None = None

    def pixel_rad(self, pixels_across: int) -> float:
        """The angle of one pixel at the lens's axis, in radians, for a picture `pixels_across` wide."""
        return float(np.interp(self.width_mm / pixels_across, self.radius_mm, self.angle_rad))


def rays(lens: LensSpec, pixels_across: int, pixels_up: int) -> Floats:
    """Unit vectors of shape (3, pixels_up, pixels_across): the direction of the middle of each pixel.

    Rows count from the top. Outside the image circle all three parts are NaN.
    """
    x, y = _on_sensor(lens, pixels_across, pixels_up)
    radius = np.hypot(x, y)
    angle = np.interp(radius, lens.radius_mm, lens.angle_rad, right=np.nan)
    # sin(angle) / radius tends to 1 / focal length on the axis. Any finite value works there, since x = y = 0.
    scale = np.sin(angle) / np.maximum(radius, 1e-12)
    return np.stack([np.cos(angle), scale * x, scale * y]).astype(np.float32)


def shade(lens: LensSpec, pixels_across: int, pixels_up: int) -> Floats | None:
    """The share of the light that reaches each pixel, (pixels_up, pixels_across); None if all of it does.

    It is NaN outside the image circle.
    """
    falloff = lens.vignetting
    if falloff is None:
        return None
    radius = np.hypot(*_on_sensor(lens, pixels_across, pixels_up))
    corner = math.hypot(lens.width_mm / 2 + abs(lens.right_mm), lens.height_mm / 2 + abs(lens.up_mm))
    share = 1 - (1 - falloff.corner_share) * (radius / corner) ** 2
    if falloff.natural:
        share *= np.cos(np.interp(radius, lens.radius_mm, lens.angle_rad, right=np.nan)) ** 4
    return share.astype(np.float32)


def _on_sensor(lens: LensSpec, pixels_across: int, pixels_up: int) -> tuple[Table, Table]:
    """Millimetres right of the lens's axis and above it, for the middle of each pixel."""
    across = ((np.arange(pixels_across) + 0.5) / pixels_across - 0.5) * lens.width_mm + lens.right_mm
    upward = (0.5 - (np.arange(pixels_up) + 0.5) / pixels_up) * lens.height_mm + lens.up_mm
    x, y = np.meshgrid(across, upward)
    return x, y


def axes_of(yaw_deg: float, pitch_deg: float, roll_deg: float = 0.0) -> Table:
    """A camera's forward, right and up as the columns of a (3, 3) matrix, in the world's axes.

    Roll turns the camera about its lens, clockwise as seen by the photographer behind it.
    """
    yaw, pitch, roll = (math.radians(angle) for angle in (yaw_deg, pitch_deg, roll_deg))
    forward = np.array([math.cos(pitch) * math.cos(yaw), math.cos(pitch) * math.sin(yaw), math.sin(pitch)])
    right = np.array([-math.sin(yaw), math.cos(yaw), 0.0])
    up = np.array([-math.sin(pitch) * math.cos(yaw), -math.sin(pitch) * math.sin(yaw), math.cos(pitch)])
    return np.stack(
        [forward, math.cos(roll) * right - math.sin(roll) * up, math.sin(roll) * right + math.cos(roll) * up], axis=-1
    )
