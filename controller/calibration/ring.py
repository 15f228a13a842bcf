"""A closed ring of photographs: focal length and steps per degree at once, with no instrument.

Neighbours are registered, the last with the first as well. The turns that this gives depend on the focal length, and
only the right one lets them add up to 360 degrees. Where the camera was told to go says how many steps that was.

For neighbours i and i + 1 with s steps between them, a turn theta, D = d(theta) / d(ln f), and x degrees for a step:

    theta + D d(ln f) = x s (+ 360 for the pair that closes the ring) + (e[i+1] - e[i]) + h

where e is by how much the head missed where it was told to go and h the error of the registration. The e cancel round
the ring, so the focal length is sure even where the head is not. Their size is estimated along (restricted maximum
likelihood: H. Patterson and R. Thompson, Biometrika 58:545, 1971); h is known from how the points scatter.

A lens distorts a little, too, and what that does to the turns looks like another focal length. So its first radial term
is found along with the others, from what it does to the shape of the overlaps.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from controller.calibration.turning import Camera, NoOverlap, Turn, main_direction, turn_between, turn_by
from controller.optics.outline import Array

FEWEST_PICTURES = 5
STEP = 1e-4  # of the focal length and the distortion, for slopes
MOST_BEND = 0.3
ROUNDS = 12
CHOOSING = 6  # rounds after which matches neither leave nor return, so that it comes to an end
CLOSED, CLOSED_AT_LEAST = 0.1, 0.5  # change of the focal length against its uncertainty; a match more or less does that

Points = tuple[Array, Array]


class NotClosed(Exception):
    """The turns do not add up to a whole turn for any focal length near the one that was expected."""


@dataclass(frozen=True, slots=True, eq=False)
class Ring:
    """What a ring says. Angles in degrees; each uncertainty with its degrees of freedom.

    `steps_per_degree` is negative where the steps grow as the camera turns to the left. `missed_deg` is the standard
    deviation of where the head stopped, `residual_deg` (n,) by how much each turn differs from what the steps say,
    `turns` the registrations at the found focal length.
    """

    camera: Camera
    u_focal_px: float
    focal_freedom: float
    steps_per_degree: float
    u_steps_per_degree: float
    steps_freedom: float
    correlation: float
    missed_deg: float
    residual_deg: Array
    turns: tuple[Turn, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    """Degrees for a step, the changes of ln f and of the distortion, their covariance, and what the head adds to it."""

    values: Array
    covariance: Array
    by_head: Array
    missed_deg: float
    residual_deg: Array


def close_ring(pairs: Sequence[Points], steps: Array, camera: Camera, common_px: float = 0.0) -> Ring:
    """Close a ring of n pictures: `pairs` of matched points of each with the next and of the last with the first.

    `steps` (n,) is where the head was told to stand; the pictures were taken in this order and span less than a turn.
    `common_px` is the standard uncertainty of a registration that is the same for all pairs. Raises NoOverlap with the
    pair's number, NotClosed, ValueError.
    """
    moved = np.append(np.diff(steps), steps[0] - steps[-1])
    turns: list[Turn] = []
    for number in range(ROUNDS):
        turns = _turns(pairs, camera, turns, choose=number < CHOOSING)
        if np.linalg.norm(np.sum([turn.vector_rad for turn in turns], axis=0)) < 1.0:
            raise NotClosed  # nothing like a whole turn
        about = main_direction(turns)
        angles = _angles(pairs, turns, camera, about)
        solved = _solve(angles, moved, sign=1.0 if about[1] > 0 else -1.0)  # to the right, or to the left
        change, bend = (float(value) for value in solved.values[1:])
        if abs(change) > 0.5 or abs(camera.bend + bend) > MOST_BEND:
            raise NotClosed
        camera = camera.scaled(math.exp(change)).bent(bend)
        if abs(change) < CLOSED * math.sqrt(solved.covariance[1, 1]):
            break
    if abs(change) > CLOSED_AT_LEAST * math.sqrt(solved.covariance[1, 1]):
        raise NotClosed
    return _ring(solved, camera, turns, angles, common_px)


def _turns(pairs: Sequence[Points], camera: Camera, before: Sequence[Turn], *, choose: bool) -> list[Turn]:
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


@dataclass(frozen=True, slots=True, eq=False)
class _Angles:
    """Turns in degrees (n,), their slopes against ln f and the distortion (n, 2), their standard uncertainties (n,).

    `shape` (2, 2) and `pull` (2,) are the normal equations of those two from how the points lie beside each other once
    the turn is taken out, which has no part in the turns' own errors.
    """

    theta: Array
    slopes: Array
    spread: Array
    shape: Array
    pull: Array


def _angles(pairs: Sequence[Points], turns: Sequence[Turn], camera: Camera, about: Array) -> _Angles:
    """Turns about the axis `about`, and what the focal length and the distortion do to them."""
    others, slopes = (camera.scaled(math.exp(STEP)), camera.bent(STEP)), np.empty((len(turns), 2))
    shape, pull, squares, freedom = np.zeros((2, 2)), np.zeros(2), 0.0, 0
    for number, ((first, second), turn) in enumerate(zip(pairs, turns, strict=True)):
        here, misfit = _left_over(camera, first[turn.kept], second[turn.kept], Rotation.from_rotvec(turn.vector_rad))
        bends = []
        for which, other in enumerate(others):
            there, changed = _left_over(other, first[turn.kept], second[turn.kept])
            slopes[number, which] = (there - here) @ about / STEP
            bends.append((changed - misfit) / STEP)
        design = np.stack(bends, axis=-1)
        shape += design.T @ design
        pull -= design.T @ misfit
        squares += float(misfit @ misfit)
        freedom += 2 * int(np.count_nonzero(turn.kept)) - 3
    theta = np.array([turn.vector_rad @ about for turn in turns])
    spread = np.array([math.sqrt(about @ turn.covariance @ about) for turn in turns])
    variance = max(squares / freedom, 1e-24)
    return _Angles(np.degrees(theta), np.degrees(slopes), np.degrees(spread), shape / variance, pull / variance)


def _left_over(camera: Camera, first: Array, second: Array, turn: Rotation | None = None) -> tuple[Array, Array]:
    """The turn (3,), the best one unless it is given, and what is left of the points (3 n,)."""
    rays, others = camera.rays(first), camera.rays(second)
    rotation = Rotation.align_vectors(rays, others)[0] if turn is None else turn
    return rotation.as_rotvec(), (rays - rotation.apply(others)).ravel()


def _solve(angles: _Angles, moved: Array, sign: float) -> _Solved:
    theta, spread = sign * angles.theta, angles.spread
    count = len(theta)
    closing = np.zeros(count)
    closing[-1] = 360.0 * sign
    whole, seen = np.column_stack([moved, -sign * angles.slopes]), theta - closing
    design = whole[:, :2]  # enough to tell how far the head missed
    neighbours = 2 * np.eye(count) - np.roll(np.eye(count), 1, axis=0) - np.roll(np.eye(count), -1, axis=0)

    def weights(missed: float) -> Array:
        return np.asarray(np.linalg.inv(missed**2 * neighbours + np.diag(spread**2)))

    def unlikelihood(log_missed: float) -> float:
        weight = weights(math.exp(log_missed))
        normal = design.T @ weight @ design
        residual = seen - design @ np.linalg.solve(normal, design.T @ weight @ seen)
        return float(residual @ weight @ residual - np.linalg.slogdet(weight)[1] + np.linalg.slogdet(normal)[1])

    typical = float(np.median(spread))
    largest = max(float(np.std(np.diff(seen / moved)) * np.abs(moved[:-1]).max()), typical) * 10
    found = minimize_scalar(unlikelihood, bounds=(math.log(typical / 100), math.log(largest)), method="bounded")
    missed = math.exp(float(found.x))
    weight = weights(missed)
    normal = whole.T @ weight @ whole
    normal[1:, 1:] += angles.shape
    # Steps are many and distortions small: without units of their own the matrix could not be inverted well.
    units = 1 / np.sqrt(np.diag(normal))
    covariance = np.linalg.inv(normal * np.outer(units, units)) * np.outer(units, units)
    gain = covariance @ whole.T @ weight
    values = gain @ seen + covariance[:, 1:] @ angles.pull
    return _Solved(values, covariance, missed**2 * gain @ neighbours @ gain.T, missed, seen - whole @ values)


def _ring(solved: _Solved, camera: Camera, turns: list[Turn], angles: _Angles, common_px: float) -> Ring:
    """Put into the units that are asked for; the head's own errors have n - 2 degrees of freedom (GUM G.4.1)."""
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
    )
