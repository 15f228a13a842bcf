"""The no-parallax point: how far the lens's entrance pupil is ahead of the axis about which the camera turns.

The principle: R. Littlefield, *Theory of the "No-Parallax" Point in Panorama Photography*, 2006 (the lens must turn about
its entrance pupil). The formulas follow from one triangle: axis, pupil, mark. With the pupil an offset e ahead of the
axis, a mark at distance d from the axis and at an angle psi to the lens's axis is seen at beta, where

    sin(beta - psi) / e = sin(beta) / d    or    tan(beta) = d sin(psi) / (d cos(psi) - e).

Distances are from the axis, not from the camera. Angles and pixels grow to the right. All are in one level plane: the
camera is not tilted. A rectilinear lens then shows a mark at its true bearing, however high it is.
"""

import math
from dataclasses import dataclass

from scipy.optimize import brentq

from controller.calibration.propagation import propagated

NEAREST_MM = 150.0  # anything nearer to the axis than this is inside the camera or its front lens
FARTHEST_OFFSET_MM = 400.0  # no rail is longer
UNMEASURED_OFFSET_MM = 100.0  # of a lens from the axis before it was measured. Common practice, no source
# Uncertainties of readings if none are stated: a tape held to an axis, an angle from a scale, marks read by eye on a
# screen, a lens set over the axis, a lens's distortion near the edge. Common practice, no source.
U_DISTANCE_SHARE, U_ANGLE_DEG, EYE_PX, U_SIDEWAYS_MM, U_DISTORTION = 0.005, 0.1, 1.0, 1.0, 0.02
READ_PX = math.sqrt(2) * 0.5 / math.sqrt(3)  # two places read to a whole pixel each (JCGM 100:2008, F.2.2.1)
BY_EYE_PX = math.hypot(EYE_PX, READ_PX)


def shift_px(offset_mm: float, focal_px: float, near_mm: float, far_mm: float, angle_deg: float) -> float:
    """How many pixels right of the far mark a rectilinear lens shows the near one.

    Both are in line with the axis, at `angle_deg` from the lens's axis; `far_mm` may be infinite.
    """
    sine, cosine = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    near = 1 / (near_mm * cosine - offset_mm)
    if math.isinf(far_mm):
        return focal_px * sine * (near_mm * near - 1 / cosine)
    return focal_px * offset_mm * sine * (far_mm - near_mm) * near / (far_mm * cosine - offset_mm)


def offset_mm(shift_px: float, focal_px: float, near_mm: float, far_mm: float, angle_deg: float) -> float:
    """The offset that gives this shift: the inverse of `shift_px`, in closed form.

    Raises ValueError if no offset does.
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
    """The tolerance of the camera's position: the offset that shifts the nearest thing by `pixels` at the picture's edge.

    The shift is against infinitely far things. Returns the smaller of the two offsets, ahead and behind.
    """
    ways = [offset_mm(sign * pixels, focal_px, nearest_mm, math.inf, edge_deg) for sign in (1, -1)]
    return min(abs(way) for way in ways)


def far_enough_mm(focal_px: float) -> float:
    """The distance from which a mark counts as far: an unmeasured offset, seen from there, is one pixel wide.

    The rule for every far mark of the program. What pulls an angle off is an offset across the line of sight, over the
    distance: of the lens from the axis, or between two places of a wide mark that are taken for one.
    """
    return UNMEASURED_OFFSET_MM * focal_px


def far_mark_words(focal_px: float | None) -> str:
    """Sentence part: how far away a far mark must be; `focal_px` is the focal length in pixels, None if unknown."""
    if focal_px is None:
        return "as far away as you can see it clearly"
    metres = 10 * math.ceil(round(far_enough_mm(focal_px) / 10_000, 6))
    return f"{metres} m away or more"


@dataclass(frozen=True, slots=True)
class Scene:
    """The marks, in mm from the axis, and the nearest thing of the scene to be shot.

    Either the far mark's distance is known (`far_mm`), or only that it is at least `far_at_least_mm`.
    """

    near_mm: float
    far_mm: float | None = None
    far_at_least_mm: float | None = None
    u_near_mm: float | None = None
    u_far_mm: float | None = None
    nearest_mm: float | None = None

    def far_per_mm(self) -> tuple[float, float]:
        """One over the far mark's distance, with its standard uncertainty.

        With only a least distance it may be anything from 0 to one over that: a rectangle (JCGM 100:2008, 4.3.7).
        """
        if self.far_mm is not None:
            u_far = self.far_mm * U_DISTANCE_SHARE if self.u_far_mm is None else self.u_far_mm
            return 1 / self.far_mm, 0.0 if math.isinf(self.far_mm) else u_far / self.far_mm**2
        assert self.far_at_least_mm is not None
        return 0.5 / self.far_at_least_mm, 0.5 / self.far_at_least_mm / math.sqrt(3)

    def u_near(self) -> float:
        """Standard uncertainty of the near mark's distance."""
        return self.near_mm * U_DISTANCE_SHARE if self.u_near_mm is None else self.u_near_mm


@dataclass(frozen=True, slots=True)
class TypedShift:
    """A shift read by eye: the near mark's against the far one, `angle_deg` off the middle of the picture.

    The marks were lined up in the middle of the picture, and the head was then turned by that angle. Standard
    uncertainties: of lining up (`u_lined_up_px`) and of the shift; `u_distortion` is the share by which the lens may show
    the marks too far out or in; `u_sideways_mm` is how far the lens may be beside the pan axis.
    """

    angle_deg: float
    shift_px: float
    u_angle_deg: float = U_ANGLE_DEG
    u_shift_px: float = BY_EYE_PX
    u_lined_up_px: float = BY_EYE_PX
    u_distortion: float = U_DISTORTION
    u_sideways_mm: float = U_SIDEWAYS_MM


def offset_from_typed_mm(
    *,
    shift_px: float,
    lined_up_px: float,
    focal_px: float,
    near_mm: float,
    far_per_mm: float,
    angle_deg: float,
    distortion: float,
    sideways_mm: float,
) -> float:
    """The offset from a shift that was read, corrected for everything else that shifts the marks.

    - Marks that were lined up `lined_up_px` apart in the middle are 1 / cos^2 times that apart at the angle.
    - A first radial term that shows the marks farther out by a share d stretches distances there by 1 + 3 d.
    - A pupil right of the axis by s moves sideways by s (1 - cos), while one ahead by e moves by e sin.

    Raises ValueError if no offset gives this shift.
    """
    angle = math.radians(angle_deg)
    seen = shift_px / (1 + 3 * distortion) - lined_up_px / math.cos(angle) ** 2
    far_mm = math.inf if far_per_mm == 0 else 1 / far_per_mm
    return offset_mm(seen, focal_px, near_mm, far_mm, angle_deg) - sideways_mm * math.tan(angle / 2)


def typed_offset_mm(
    typed: TypedShift, scene: Scene, focal_px: float, u_focal_share: float
) -> tuple[float, float, dict[str, float]]:
    """The offset from the shift read by eye, its standard uncertainty and the contributions to it. Raises ValueError."""
    far_per_mm, u_far_per_mm = scene.far_per_mm()
    read = {
        "shift_px": (typed.shift_px, typed.u_shift_px),
        "lined_up_px": (0.0, typed.u_lined_up_px),
        "focal_px": (focal_px, focal_px * u_focal_share),
        "near_mm": (scene.near_mm, scene.u_near()),
        "far_per_mm": (far_per_mm, u_far_per_mm),
        "angle_deg": (typed.angle_deg, typed.u_angle_deg),
        "distortion": (0.0, typed.u_distortion),
        "sideways_mm": (0.0, typed.u_sideways_mm),
    }
    values, unsure = ({name: pair[which] for name, pair in read.items()} for which in (0, 1))
    return offset_from_typed_mm(**values), *propagated(offset_from_typed_mm, values, unsure)


@dataclass(frozen=True, slots=True)
class Marks:
    """The angles, in radians right of the lens's axis, at which one picture shows the near and the far mark."""

    near_rad: float
    far_rad: float


def offset_from_views_mm(first: Marks, second: Marks, near_mm: float, far_mm: float, sideways_mm: float = 0.0) -> float:
    """The offset from two pictures between which only the head was turned, by any angle.

    The pupil is `sideways_mm` right of the axis as well. The marks need not be in line. Given the offset, either mark
    tells how far the head was turned; both must agree. Raises ValueError if no offset within reach makes them agree, or
    if the marks hardly moved.
    """
    angles = (first.near_rad, second.near_rad, first.far_rad, second.far_rad)
    sines, beside = [math.sin(angle) for angle in angles], [sideways_mm * math.cos(angle) for angle in angles]
    if abs(sines[0] - sines[1]) < 0.02:
        raise ValueError("the near mark is at nearly the same place in both pictures")
    unlike = (first.near_rad - second.near_rad) - (first.far_rad - second.far_rad)

    def disagreement(offset: float) -> float:
        bent = [
            math.asin((offset * sine - aside) / distance)
            for sine, aside, distance in zip(sines, beside, [near_mm] * 2 + [far_mm] * 2, strict=True)
        ]
        return unlike - (bent[0] - bent[1]) + (bent[2] - bent[3])

    reach = min(FARTHEST_OFFSET_MM, 0.95 * near_mm)
    if disagreement(-reach) * disagreement(reach) > 0:
        raise ValueError("no offset gives this shift")
    return float(brentq(disagreement, -reach, reach, xtol=1e-9))


def sideways_mm(first_px: float, second_px: float, focal_px: float, distance_mm: float) -> float:
    """How far right of the pan axis the pupil is, from a mark seen looking straight down before and after half a turn.

    Both places count to the right of the picture's middle; `distance_mm` is from the pupil down to the mark. Half a turn
    takes a mark from P to -P about the axis. A pupil at g sees it at (P - g) f / d and (-P - g) f / d.
    """
    return -(first_px + second_px) / 2 * distance_mm / focal_px
