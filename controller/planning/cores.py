"""The cores of a plan's frames on the sphere, as intersections of half-spaces through its centre.

A rectilinear core is bounded by four great circles. Each is kept as the unit normal that points into the core,
so the angle by which a direction lies inside an edge is asin(normal . direction), and the smallest of the four
is its margin in that core: positive inside, negative outside, never changing faster than the direction moves.
"""

from dataclasses import dataclass

import numpy as np

from controller.errors import InputError
from controller.optics.field import Field
from controller.optics.projection import Projection
from controller.planning.directions import Array, camera_axes

EDGES = 4


@dataclass(frozen=True, slots=True)
class Cores:
    """`forward` (n, 3): the lens axes; `normals` (n, 4, 3): right, left, top, bottom edge, pointing inward.

    `radius_rad` is the angle from the axis to the core's corner.
    """

    forward: Array
    normals: Array
    radius_rad: float

    def margin_rad(self, directions: Array, frames: Array | slice = slice(None)) -> Array:
        """Margin of each of the (k, 3) `directions` in each chosen core, shape (k, frames)."""
        sines = np.einsum("kc,nec->kne", directions, self.normals[frames])
        margins: Array = np.arcsin(np.clip(sines.min(axis=2), -1, 1))
        return margins

    def best_margin_rad(self, directions: Array) -> Array:
        """For each of the (k, 3) `directions` the margin in the core that holds it best, shape (k,)."""
        best: Array = np.concatenate(
            [
                self.margin_rad(part).max(axis=1)
                for part in np.array_split(directions, 1 + len(directions) * len(self.forward) // 500_000)
            ]
        )
        return best


def cores_at(field: Field, yaw_deg: Array, pitch_deg: Array) -> Cores:
    """The cores of frames aimed at `yaw_deg` and `pitch_deg`, shape (n,) each.

    Raises InputError for a projection whose edges are not great circles.
    """
    if field.projection is not Projection.RECTILINEAR:
        raise InputError(f'lens.projection = "{field.projection}": only rectilinear lenses can be planned yet.')
    axes = camera_axes(np.radians(yaw_deg), np.radians(pitch_deg))
    wide, high = field.core_half_width_rad, field.core_half_height_rad
    normals = np.stack(
        [
            np.sin(wide) * axes.forward - np.cos(wide) * axes.right,
            np.sin(wide) * axes.forward + np.cos(wide) * axes.right,
            np.sin(high) * axes.forward - np.cos(high) * axes.up,
            np.sin(high) * axes.forward + np.cos(high) * axes.up,
        ],
        axis=1,
    )
    corner = np.arctan(np.hypot(np.tan(wide), np.tan(high)))
    return Cores(axes.forward, normals, float(corner))


def core_solid_angle_sr(field: Field) -> float:
    """Solid angle of one rectilinear core in steradians: 4 asin(sin(a) sin(b)) for half-angles a and b."""
    return 4 * float(np.arcsin(np.sin(field.core_half_width_rad) * np.sin(field.core_half_height_rad)))
