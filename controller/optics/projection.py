"""The five radial projections: distance from the picture's centre as a function of the angle off axis.

Formulas: S. F. Ray, *Applied Photographic Optics*, 3rd ed. 2002; J. Kannala and S. Brandt, IEEE TPAMI
28(8):1335, 2006, equations 1-5. They are the zenithal projections TAN, ARC, ZEA, STG and SIN of
M. Calabretta and E. Greisen, A&A 395:1077, 2002, section 5.1, against which they are tested.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum


class Projection(StrEnum):
    """The projection of a lens, by its name in the trade."""

    RECTILINEAR = "rectilinear"
    EQUIDISTANT = "equidistant"
    EQUISOLID = "equisolid"
    STEREOGRAPHIC = "stereographic"
    ORTHOGRAPHIC = "orthographic"


@dataclass(frozen=True, slots=True)
class Law:
    """One projection for a focal length of 1.

    `radius(theta)` for theta in radians and its inverse `angle(radius)` are odd functions. `largest_radius` is the
    supremum of the radius (infinite if there is none).
    """

    radius: Callable[[float], float]
    angle: Callable[[float], float]
    largest_radius: float


LAWS: dict[Projection, Law] = {
    Projection.RECTILINEAR: Law(math.tan, math.atan, math.inf),
    Projection.EQUIDISTANT: Law(lambda theta: theta, lambda radius: radius, math.pi),
    Projection.EQUISOLID: Law(lambda theta: 2 * math.sin(theta / 2), lambda radius: 2 * math.asin(radius / 2), 2.0),
    Projection.STEREOGRAPHIC: Law(
        lambda theta: 2 * math.tan(theta / 2), lambda radius: 2 * math.atan(radius / 2), math.inf
    ),
    Projection.ORTHOGRAPHIC: Law(math.sin, math.asin, 1.0),
}


ROUNDING = 1e-12  # multiplying and dividing the largest radius by f may exceed it by this share


def picture_radius(projection: Projection, focal_length: float, theta_rad: float) -> float:
    """Distance from the picture's centre, in the focal length's unit, at `theta_rad` off axis."""
    return focal_length * LAWS[projection].radius(theta_rad)


def off_axis_angle(projection: Projection, focal_length: float, radius: float) -> float:
    """Angle off axis in radians at `radius` (the focal length's unit; negative gives the negative angle).

    Raises ValueError if the projection never reaches that radius.
    """
    law = LAWS[projection]
    relative = radius / focal_length
    if abs(relative) > law.largest_radius * (1 + ROUNDING):
        raise ValueError(
            f"an {projection} lens of {focal_length:g} mm never reaches {abs(radius):g} mm off centre "
            f"(its picture ends at {law.largest_radius * focal_length:.4g} mm)"
        )
    return law.angle(max(-law.largest_radius, min(law.largest_radius, relative)))
