"""A closed ring of photographs: focal length and steps per degree at once, with no instrument.

Neighbours are registered, the last with the first as well. The turns that this gives depend on the focal length, and
only the right one lets them add up to 360 degrees. Where the camera was told to go says how many steps that was.

For neighbours i and i + 1 with s steps between them, a turn theta, D = d(theta) / d(ln f), and x degrees for a step:

    theta + D d(ln f) = x s (+ 360 for the pair that closes the ring) + (e[i+1] - e[i]) + h

where e is by how much the head missed where it was told to go and h the error of the registration. The e cancel round the
ring, so the focal length is sure even where the head is not. Their size is estimated along (restricted maximum
likelihood: H. Patterson and R. Thompson, Biometrika 58:545, 1971); h is known from how the points scatter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation

from controller.calibration.turning import Camera, NoOverlap, Turn, main_direction, turn_between
from controller.optics.outline import Array

FEWEST_PICTURES = 5
STEP = 1e-4  # of the focal length, for slopes
ROUNDS = 12
CLOSED, CLOSED_AT_LEAST = 0.02, 0.5  # change of the focal length against its uncertainty; a match more or less does that

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
    """Degrees for a step and the change of ln f, their covariance, and what the head's own errors add to it."""

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
    for _ in range(ROUNDS):
        turns = _turns(pairs, camera, turns)
        if np.linalg.norm(np.sum([turn.vector_rad for turn in turns], axis=0)) < 1.0:
            raise NotClosed  # nothing like a whole turn
        about = main_direction(turns)
        theta, slope, spread = _angles(pairs, turns, camera, about)
        sign = 1.0 if about[1] > 0 else -1.0  # to the right, or to the left
        solved = _solve(sign * theta, sign * slope, spread, moved, sign)
        change = float(solved.values[1])
        if abs(change) > 0.5:
            raise NotClosed
        camera = camera.scaled(math.exp(change))
        if abs(change) < CLOSED * math.sqrt(solved.covariance[1, 1]):
            break
    if abs(change) > CLOSED_AT_LEAST * math.sqrt(solved.covariance[1, 1]):
        raise NotClosed
    return _ring(solved, camera, turns, slope, common_px)


def _turns(pairs: Sequence[Points], camera: Camera, before: Sequence[Turn]) -> list[Turn]:
    turns = []
    for number, (first, second) in enumerate(pairs):
        try:
            turns.append(turn_between(first, second, camera, before[number].kept if before else None))
        except NoOverlap:
            raise NoOverlap(number) from None
    return turns


def _angles(pairs: Sequence[Points], turns: Sequence[Turn], camera: Camera, about: Array) -> tuple[Array, Array, Array]:
    """Turns about the axis `about` in degrees, their slopes against ln f, and their standard uncertainties, each (n,)."""
    theta = np.array([turn.vector_rad @ about for turn in turns])
    other = camera.scaled(1 + STEP)
    slopes = []
    for (first, second), turn, here in zip(pairs, turns, theta, strict=True):
        rotation = Rotation.align_vectors(other.rays(first[turn.kept]), other.rays(second[turn.kept]))[0]
        slopes.append((rotation.as_rotvec() @ about - here) / math.log1p(STEP))
    spread = np.array([math.sqrt(about @ turn.covariance @ about) for turn in turns])
    return np.degrees(theta), np.degrees(slopes), np.degrees(spread)


def _solve(theta: Array, slope: Array, spread: Array, moved: Array, sign: float) -> _Solved:
    count = len(theta)
    closing = np.zeros(count)
    closing[-1] = 360.0 * sign
    design, seen = np.stack([moved, -slope], axis=-1), theta - closing
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
    covariance = np.asarray(np.linalg.inv(design.T @ weight @ design), dtype=np.float64)
    gain = covariance @ design.T @ weight
    values = gain @ seen
    return _Solved(values, covariance, missed**2 * gain @ neighbours @ gain.T, missed, seen - design @ values)


def _ring(solved: _Solved, camera: Camera, turns: list[Turn], slope: Array, common_px: float) -> Ring:
    """Put into the units that are asked for; the head's own errors have n - 2 degrees of freedom (GUM G.4.1)."""
    by_points = 2.0 * sum(np.count_nonzero(turn.kept) - 2 for turn in turns)
    total, head = np.diag(solved.covariance), np.diag(solved.by_head)
    points = np.maximum(total - head, 0.0)
    freedom = total**2 / (head**2 / (len(turns) - 2) + points**2 / by_points)
    common = math.degrees(common_px / camera.focal_px) * len(turns) / abs(float(np.sum(slope)))
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
