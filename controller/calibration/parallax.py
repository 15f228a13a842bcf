"""The no-parallax point: how far the lens's entrance pupil stands ahead of the axis about which the camera turns.

The principle: R. Littlefield, *Theory of the "No-Parallax" Point in Panorama Photography*, 2006 (the lens must turn about
its entrance pupil). The formulas follow from one triangle: axis, pupil, mark. With the pupil an offset e ahead of the
axis, a mark at distance d from the axis and at an angle psi to the lens's axis is seen at beta, where

    sin(beta - psi) / e = sin(beta) / d    or    tan(beta) = d sin(psi) / (d cos(psi) - e).

Distances are from the axis, not from the camera. Angles and pixels grow to the right. All lie in one level plane: the
camera is not tilted, and a rectilinear lens then shows a mark as far right as if it stood in that plane, however high
it stands.
"""

import math
from dataclasses import dataclass

from scipy.optimize import brentq

NEAREST_MM = 150.0  # what stands nearer to the axis than this stands in the camera or its front lens
FARTHEST_OFFSET_MM = 400.0  # no rail is longer
READ_PX = math.sqrt(2) * 0.5 / math.sqrt(3)  # two places read to a whole pixel each (GUM 4.3.7)


def shift_px(offset_mm: float, focal_px: float, near_mm: float, far_mm: float, angle_deg: float) -> float:
    """How many pixels right of the far mark the near one is seen by a rectilinear lens.

    Both stand in line with the axis at `angle_deg` from where the lens looks; `far_mm` may be infinite.
    """
    sine, cosine = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    near = 1 / (near_mm * cosine - offset_mm)
    if math.isinf(far_mm):
        return focal_px * sine * (near_mm * near - 1 / cosine)
    return focal_px * offset_mm * sine * (far_mm - near_mm) * near / (far_mm * cosine - offset_mm)


def offset_mm(shift_px: float, focal_px: float, near_mm: float, far_mm: float, angle_deg: float) -> float:
    """The offset that gives this shift: the inverse of `shift_px`, in closed form.

    Raises ValueError where no offset does.
    """
    cosine = math.cos(math.radians(angle_deg))
    k = shift_px / (focal_px * math.sin(math.radians(angle_deg)))
    if math.isinf(far_mm):
        if 1 + k * cosine <= 0:
            raise ValueError("no offset gives this shift")
        return k * cosine**2 * near_mm / (1 + k * cosine)
    b = k * cosine * (near_mm + far_mm) + far_mm - near_mm
    room = b * b - 4 * k * k * cosine**2 * near_mm * far_mm
    if b <= 0 or room < 0:
        raise ValueError("no offset gives this shift")
    return 2 * k * cosine**2 * near_mm * far_mm / (b + math.sqrt(room))


def offset_that_costs_mm(pixels: float, focal_px: float, nearest_mm: float, edge_deg: float) -> float:
    """How well the camera must stand: the offset that shifts the nearest thing by `pixels` at the picture's edge.

    Against what is infinitely far. The smaller of the two ways, ahead and behind.
    """
    ways = [offset_mm(sign * pixels, focal_px, nearest_mm, math.inf, edge_deg) for sign in (1, -1)]
    return min(abs(way) for way in ways)


@dataclass(frozen=True, slots=True)
class Marks:
    """The angles, in radians to the right of the lens's axis, at which one picture shows the near and the far mark."""

    near_rad: float
    far_rad: float


def offset_from_views_mm(first: Marks, second: Marks, near_mm: float, far_mm: float) -> float:
    """The offset from two pictures between which only the head was turned, by however much.

    The marks need not stand in line. How far the head was turned follows from either mark, given the offset; both must
    say the same. Raises ValueError where no offset within reach makes them agree, or where the marks hardly moved.
    """
    sines = [math.sin(first.near_rad), math.sin(second.near_rad), math.sin(first.far_rad), math.sin(second.far_rad)]
    if abs(sines[0] - sines[1]) < 0.02:
        raise ValueError("the near mark is at nearly the same place in both pictures")
    unlike = (first.near_rad - second.near_rad) - (first.far_rad - second.far_rad)

    def disagreement(offset: float) -> float:
        bent = [
            math.asin(offset * sine / distance)
            for sine, distance in zip(sines, [near_mm] * 2 + [far_mm] * 2, strict=True)
        ]
        return unlike - (bent[0] - bent[1]) + (bent[2] - bent[3])

    reach = min(FARTHEST_OFFSET_MM, 0.95 * near_mm)
    if disagreement(-reach) * disagreement(reach) > 0:
        raise ValueError("no offset gives this shift")
    return float(brentq(disagreement, -reach, reach, xtol=1e-9))


def sideways_mm(first_px: float, second_px: float, focal_px: float, distance_mm: float) -> float:
    """How far right of the pan axis the pupil stands, from a mark seen looking straight down before and after half a
    turn.

    Both places count to the right of the picture's middle, `distance_mm` is from the pupil down to the mark. Half a turn
    takes a mark from P to -P about the axis, seen from a pupil at g: (P - g) f / d and (-P - g) f / d.
    """
    return -(first_px + second_px) / 2 * distance_mm / focal_px
