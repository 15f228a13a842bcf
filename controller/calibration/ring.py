"""A closed ring of photographs: focal length and steps per degree at once, with no instrument.

Neighbours are registered, and the last picture with the first. The resulting turns depend on the focal length, and only
the right one makes them add up to 360 degrees. The commanded positions tell how many steps that was.

For neighbours i and i + 1 with s steps between them, a turn theta, the terms g in which the lens may differ from its kit
(`lens_terms`), D = d(theta) / dg, and x degrees for a step:

    theta + D dg = x s (+ 360 for the pair that closes the ring) + (e[i+1] - e[i]) + h

where e is the head's error from its commanded position and h the error of the registration. The e cancel round the ring,
so the focal length is accurate even if the head is not. The size of e is estimated as well (restricted maximum
likelihood: H. Patterson and R. Thompson, Biometrika 58:545, 1971). That of h is known from the scatter of the points.

Distortion and a displaced axis change the turns as another focal length would. So they are estimated together with it:
from the shape of the overlaps, and from usual values where the overlaps do not tell.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.stats import chi2

from controller.calibration.lens_terms import Pairs, Points, PupilPlace, changed, from_prior, pairs_at
from controller.calibration.slip import Slip, likeliest_slip
from controller.calibration.turning import NoOverlap, PictureGeometry, PictureTurn, main_direction, turn_between, turn_by
from controller.optics.outline import Array

FEWEST_PICTURES = 5
MOST_CORNER = 0.3  # distortion at the corner; no lens sold as rectilinear or as a plain fisheye has more
LARGEST_CHANGE = 0.25  # of the focal length in one round
ROUNDS = 20
CHOOSING = 6  # rounds, after which the kept matches stay as they are: the search must end
CLOSED = 0.1  # change of each term over its uncertainty
ON_AXIS = PupilPlace()


class NotClosed(Exception):
    """The turns do not add up to a whole turn for any focal length near the expected one."""


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """The result of a ring. Angles in degrees; each uncertainty with its degrees of freedom.

    `steps_per_degree` is negative if the steps grow as the camera turns to the left. `missed_deg` is the standard
    deviation of the head's stops, with its 95 % interval. `residual_deg` (n,) is each turn less what the steps say,
    `turns` the registrations at the estimated focal length. `lens_covariance` (6, 6) is that of the lens's terms.
    `pupil_share` is the share of the focal length's variance that comes from the position of the pupil.
    """

    camera: PictureGeometry
    u_focal_px: float
    focal_freedom: float
    steps_per_degree: float
    u_steps_per_degree: float
    steps_freedom: float
    correlation: float
    missed_deg: float
    residual_deg: Array
    turns: tuple[PictureTurn, ...]
    slip: Slip
    missed_interval_deg: tuple[float, float]
    lens_covariance: Array
    pupil_share: float


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """Degrees for a step and the changes of the lens's terms, with their covariance; the parts of it from the head and
    from a pupil off the axis; and the head's error.
    """

    values: Array
    covariance: Array
    by_head: Array
    by_pupil: Array
    missed_deg: float
    residual_deg: Array
    slip: Slip


def close_ring(
    pairs: Sequence[Points],
    steps: Array,
    expected: PictureGeometry,
    common_px: float = 0.0,
    standing: PupilPlace = ON_AXIS,
) -> Ring:
    """Close a ring of n pictures: `pairs` of matched points of each with the next and of the last with the first.

    `steps` (n,) are the commanded positions. The pictures were taken in this order and span less than a turn.
    `common_px` is the standard uncertainty of a registration that is common to all pairs. Raises NoOverlap with the
    pair's number, NotClosed, ValueError.
    """
    moved = np.append(np.diff(steps), steps[0] - steps[-1])
    turns: list[PictureTurn] = []
    camera = expected
    for number in range(ROUNDS):
        turns = _turns(pairs, camera, turns, choose=number < CHOOSING)
        if np.linalg.norm(np.sum([turn.vector_rad for turn in turns], axis=0)) < 1.0:
            raise NotClosed  # not even roughly a whole turn
        about = main_direction(turns)
        angles = pairs_at(pairs, turns, camera, about)
        sign = 1.0 if about[1] > 0 else -1.0  # to the right, or to the left
        solved = _solve(angles, moved, sign, from_prior(camera, expected), standing)
        change = solved.values[1:].copy()
        if not np.isfinite(change).all() or abs(camera.corner_share) > MOST_CORNER:
            raise NotClosed
        settled = np.all(np.abs(change) < CLOSED * np.sqrt(np.diag(solved.covariance)[1:]))
        change *= min(1.0, LARGEST_CHANGE / max(abs(float(change[0])), 1e-9))
        camera = changed(camera, change)
        if settled and number >= min(2, CHOOSING):
            return _ring(solved, camera, turns, angles, common_px)
    raise NotClosed


def _turns(
    pairs: Sequence[Points], camera: PictureGeometry, before: Sequence[PictureTurn], *, choose: bool
) -> list[PictureTurn]:
    turns = []
    for number, (first, second) in enumerate(pairs):
        if not choose:
            turns.append(turn_by(first, second, camera, before[number].kept))
            continue
        try:
            turns.append(turn_between(first, second, camera, before[number].kept if before else None))
        except NoOverlap:
            raise NoOverlap(number) from None
    return turns


def _solve(angles: Pairs, moved: Array, sign: float, prior: tuple[Array, Array], standing: PupilPlace) -> _Solved:
    theta, count = sign * angles.theta, len(angles.theta)
    closing = np.zeros(count)
    closing[-1] = 360.0 * sign
    whole, seen = np.column_stack([moved, -sign * angles.slopes]), theta - closing
    neighbours = 2 * np.eye(count) - np.roll(np.eye(count), 1, axis=0) - np.roll(np.eye(count), -1, axis=0)
    missed = _missed_deg(whole[:, :2], seen, neighbours, angles.spread)
    whole_covariance = missed**2 * neighbours + np.diag(angles.spread**2)
    slip = likeliest_slip(whole[:, :2], seen, whole_covariance, angles.spread)
    weight = np.linalg.inv(whole_covariance)
    information, below = prior
    normal = whole.T @ weight @ whole
    normal[1:, 1:] += angles.shape + np.diag(information)
    # Steps are many and distortions small: without scaling, the matrix could not be inverted accurately.
    units = 1 / np.sqrt(np.diag(normal))
    inverse = np.linalg.inv(normal * np.outer(units, units)) * np.outer(units, units)
    gain = inverse @ whole.T @ weight
    values = gain @ seen + inverse[:, 1:] @ (angles.pull + information * below)
    # Use the actual scatter of the points; they do not all scatter alike.
    along = gain @ (sign * angles.along) @ inverse[1:, :]
    lens = inverse[:, 1:] @ (angles.scatter + np.diag(information)) @ inverse[1:, :]
    by_head = missed**2 * gain @ neighbours @ gain.T
    by_points = gain @ np.diag(angles.spread**2) @ gain.T + lens + along + along.T
    pupil = gain @ (sign * angles.shifted) + inverse[:, 1:] @ angles.pulled
    by_pupil = np.outer(pupil, pupil) * standing.u_shift**2
    by_head[0, 0] += slip.u_added**2
    values[0] -= slip.added
    return _Solved(values, by_points + by_head + by_pupil, by_head, by_pupil, missed, seen - whole @ values, slip)


def _missed_deg(design: Array, seen: Array, neighbours: Array, spread: Array) -> float:
    """The head's error from its commanded positions, a standard deviation, by restricted maximum likelihood.

    `design` has the steps and the focal length only, which is enough.
    """

    def unlikelihood(log_missed: float) -> float:
        weight = np.linalg.inv(math.exp(2 * log_missed) * neighbours + np.diag(spread**2))
        normal = design.T @ weight @ design
        residual = seen - design @ np.linalg.solve(normal, design.T @ weight @ seen)
        return float(residual @ weight @ residual - np.linalg.slogdet(weight)[1] + np.linalg.slogdet(normal)[1])

    typical, moved = float(np.median(spread)), design[:, 0]
    largest = max(float(np.std(np.diff(seen / moved)) * np.abs(moved[:-1]).max()), typical) * 10
    found = minimize_scalar(unlikelihood, bounds=(math.log(typical / 100), math.log(largest)), method="bounded")
    return math.exp(float(found.x))


def _ring(solved: _Solved, camera: PictureGeometry, turns: list[PictureTurn], angles: Pairs, common_px: float) -> Ring:
    """Convert to the units of Ring; the head's own errors have n - 2 degrees of freedom (GUM G.4.1)."""
    by_points = 2.0 * sum(np.count_nonzero(turn.kept) - 2 for turn in turns)
    total, head = np.diag(solved.covariance), np.diag(solved.by_head)
    points = np.maximum(total - head, 0.0)
    freedom = total**2 / (head**2 / (len(turns) - 2) + points**2 / by_points)
    common = math.degrees(common_px / camera.focal_px) * len(turns) / abs(float(np.sum(angles.slopes[:, 0])))
    degrees_for_step = abs(float(solved.values[0]))
    return Ring(
        camera=camera,
        u_focal_px=camera.focal_px * math.hypot(math.sqrt(total[1]), common),
        focal_freedom=float(freedom[1]),
        steps_per_degree=1 / float(solved.values[0]),
        u_steps_per_degree=math.sqrt(total[0]) / degrees_for_step**2,
        steps_freedom=float(freedom[0]),
        correlation=-float(solved.covariance[0, 1] / math.sqrt(total[0] * total[1])),
        missed_deg=solved.missed_deg,
        residual_deg=solved.residual_deg,
        turns=tuple(turns),
        slip=solved.slip,
        missed_interval_deg=_missed_interval(solved.missed_deg, float(np.median(angles.spread)), len(turns) - 2),
        lens_covariance=solved.covariance[1:, 1:],
        pupil_share=float(solved.by_pupil[1, 1] / total[1]),
    )


def _missed_interval(missed_deg: float, spread_deg: float, freedom: int) -> tuple[float, float]:
    """The 95 % interval of a standard deviation, by chi squared for the variance of a turn, less the points' part."""
    variance = 2 * missed_deg**2 + spread_deg**2
    low, high = (variance * freedom / float(chi2.ppf(share, freedom)) for share in (0.975, 0.025))
    return math.sqrt(max(low - spread_deg**2, 0.0) / 2), math.sqrt(max(high - spread_deg**2, 0.0) / 2)
