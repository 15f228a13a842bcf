"""Adjust all frames of a set together: rotations, lens and head, with the covariance of everything.

Gauss-Newton with reweighting (B. Triggs and others, "Bundle adjustment: a modern synthesis", 2000, sections 3.3 and 4).
The unknowns are a small turn of each frame, the lens's terms, and the head's terms (`poses.HEAD_TERMS`). The head's poses
are measurements with standard uncertainties, and give yaw, pitch and roll their zero. A head's scale errors grow along
the set; without terms of their own they would pull at the focal length.

The normal matrix is summed link by link and then solved as a full matrix: with three unknowns a frame that takes less
time than a sparse solver's bookkeeping for several hundred frames, and all covariances are wanted anyway.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from controller.inspection.lens_model import TERMS, Array, Lens
from controller.inspection.links import Link, Misses, Points, misses, points_of
from controller.inspection.poses import (
    HEAD_PRIOR,
    HEAD_TERMS,
    Frame,
    commanded,
    head_covariances,
    predicted,
    turn_of,
    turned,
)

Flags = NDArray[np.bool_]
# Lens terms in the order in which they are left out, each with the term that must have gone before.
DROPS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("k3",), ""),
    (("k2",), "k3"),
    (("centre_x_px", "centre_y_px"), ""),
    (("k1",), "k2"),
)
# Standard uncertainties of TERMS before anything is seen; lengths as shares of the focal length. Generous, no source.
LENS_PRIOR = (0.05, 0.3, 0.02, 0.02, 0.3, 0.3)
ROUNDS, STILL_PX = 40, 1e-3  # most rounds of a fit, and the turn of any frame, in pixels, that ends it
STILL_ROBUST_PX = 0.02  # the same while wild points are looked for
RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))  # of the length of a residual with a standard deviation of 1 each way
CAUCHY = 2.385  # scale of the robust loss: 95 % as efficient as least squares (Z. Zhang, Image Vision Comp. 15:59, 1997)
GATE = 4.0  # points further off than this many standard deviations are wild: one sound point in 3,000
FRAME_GATE = 4.0  # a frame further from its pose than this many standard deviations pulls no harder than at this distance


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """What is being adjusted: the rotations (n, 3, 3), the lens and the HEAD_TERMS."""

    rotations: Array
    lens: Lens
    head: Array


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """A set to adjust: its frames, its points, the lens as assumed, the pan axis in the world, the head's weights."""

    frames: Sequence[Frame]
    points: Points
    lens: Lens
    axis: Array
    weights: Array  # (n, 3, 3)

    def lens_prior(self, terms: tuple[str, ...]) -> tuple[Array, Array]:
        """The assumed values of these terms and their standard uncertainties."""
        sizes = dict(zip(TERMS, LENS_PRIOR, strict=True))
        unit = [self.lens.focal_px if term.endswith("_px") else 1.0 for term in terms]
        return (
            np.array([getattr(self.lens, term) for term in terms]),
            np.array([sizes[term] * one for term, one in zip(terms, unit, strict=True)]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """A set after the adjustment.

    `rotations` (n, 3, 3). `alone` (n,): frames without a single good point, which keep their commanded pose. `lens` and
    the `terms` of it that the data carry; the others are as assumed. `head`: the HEAD_TERMS. `covariance`: of the turns
    of the frames (3 each, radians, in the camera's axes), then of `terms`, then of HEAD_TERMS. `good`: which points
    of each link count. `rms_px` (links,): of the good points of each, NaN without any. `noise`: the standard deviation of
    residuals in units of the stated one.
    """

    rotations: Array
    alone: Flags
    lens: Lens
    terms: tuple[str, ...]
    head: Array
    covariance: Array
    good: list[Flags]
    rms_px: Array
    noise: float

    def turns_covariance(self) -> Array:
        """The covariance of each frame's turn, (n, 3, 3), in square radians."""
        count = len(self.rotations)
        blocks = self.covariance[: 3 * count, : 3 * count].reshape(count, 3, count, 3)
        return np.asarray(blocks[np.arange(count), :, np.arange(count), :])

    def lens_covariance(self) -> Array:
        """The covariance of `terms`."""
        begin = 3 * len(self.rotations)
        return self.covariance[begin : begin + len(self.terms), begin : begin + len(self.terms)]

    def head_covariance(self) -> Array:
        """The covariance of the HEAD_TERMS."""
        return self.covariance[-len(HEAD_TERMS) :, -len(HEAD_TERMS) :]


def adjust(frames: Sequence[Frame], links: Sequence[Link], lens: Lens, axis: Array) -> Adjusted:
    """Adjust a set. `axis` is the pan axis in the world (`poses.pan_axis`).

    Raises ValueError without frames.
    """
    if not frames:
        raise ValueError("no frames to adjust")
    problem = Problem(
        frames, points_of(links), lens, axis, np.asarray(np.linalg.inv(head_covariances(frames)), dtype=np.float64)
    )
    everything = np.ones(len(problem.points.first), dtype=bool)
    state = State(commanded(frames), lens, np.zeros(len(HEAD_TERMS)))
    state, _, _ = _fit(problem, state, ("focal_px",), None, 1.0)
    state, length, _ = _fit(problem, state, TERMS, None, 1.0)
    noise = _scale(length, everything)
    good = length < GATE * noise
    state, terms, noise = _terms_carried(problem, state, good, noise)
    state, length, normal = _fit(problem, state, terms, good, noise)
    return _report(problem, state, terms, good, length, normal, noise)


def _terms_carried(problem: Problem, state: State, good: Flags, noise: float) -> tuple[State, tuple[str, ...], float]:
    """The lens terms that the data carry, by the criterion of G. Schwarz (Annals of Statistics 6:461, 1978).

    Terms are left out one by one, from the whole model downward: only a model that fits can say what a term is worth.
    Returns the fit and its noise as well.
    """
    points = int(np.count_nonzero(good))
    cost_of_term = math.log(max(2.0 * points, 2.0))
    best, length, _ = _fit(problem, state, TERMS, good, noise)
    good = good & np.isfinite(length)
    if points:
        freedom = max(1, 2 * points - 3 * len(problem.frames) - len(TERMS))
        noise = math.sqrt(max(float(np.sum(length[good] ** 2)) / freedom, 1e-12))
    terms: tuple[str, ...] = TERMS
    lowest = _cost(problem, best, TERMS, good, noise)
    for dropped, first in DROPS:
        if first in terms:
            continue
        fewer = tuple(term for term in terms if term not in dropped)
        start = State(best.rotations, _only(problem.lens, best.lens, fewer), best.head)
        tried, _, _ = _fit(problem, start, fewer, good, noise)
        cost = _cost(problem, tried, fewer, good, noise)
        if cost - len(dropped) * cost_of_term < lowest:
            best, lowest, terms = tried, cost, fewer
    return best, terms, noise


def _only(assumed: Lens, fitted: Lens, terms: tuple[str, ...]) -> Lens:
    return assumed.moved(terms, np.array([getattr(fitted, term) - getattr(assumed, term) for term in terms]))


def _fit(
    problem: Problem, state: State, terms: tuple[str, ...], good: Flags | None, noise: float
) -> tuple[State, Array, Array]:
    """Gauss-Newton. With `good` the points are weighted by 1 or 0, else by a robust loss whose scale follows the data.

    Returns the state, the lengths of the whitened residuals, and the normal matrix at the state before the last step.
    """
    robust_noise = np.inf
    for _ in range(ROUNDS):
        missed = misses(problem.points, state.lens, state.rotations)
        length = _length(missed)
        if good is None:
            robust_noise = max(_scale(length, missed.seen), 0.05)
            weights = missed.seen / (1 + (length / (CAUCHY * robust_noise)) ** 2) / robust_noise**2
        else:
            weights = (good & missed.seen) / noise**2
        normal, gradient = _normal(problem, state, terms, missed, weights)
        step = -cho_solve(cho_factor(normal), gradient)
        state = _moved(state, terms, step)
        still_px = STILL_ROBUST_PX if good is None else STILL_PX
        if np.abs(step[: 3 * len(problem.frames)]).max() * state.lens.focal_px < still_px:
            break
    return state, _length(misses(problem.points, state.lens, state.rotations)), normal


def _length(missed: Misses) -> Array:
    return np.where(missed.seen, np.hypot(missed.residuals[:, 0], missed.residuals[:, 1]), np.inf)


def _scale(length: Array, among: Flags) -> float:
    """The noise from the median, which wild points hardly move."""
    known = length[among & np.isfinite(length)]
    return float(np.median(known)) / RAYLEIGH_MEDIAN if len(known) else 1.0


def _moved(state: State, terms: tuple[str, ...], step: Array) -> State:
    count, lens_end = 3 * len(state.rotations), 3 * len(state.rotations) + len(terms)
    rotations = state.rotations @ turned(step[:count].reshape(-1, 3))
    return State(rotations, state.lens.moved(terms, step[count:lens_end]), state.head + step[lens_end:])


def _off_head(problem: Problem, state: State) -> tuple[Array, Array, Array]:
    """Each frame's turn from where the head's terms put it, its derivatives by the terms, and its weights (n, 3, 3)."""
    expected, by_terms = predicted(problem.frames, problem.axis, state.head)
    off = turn_of(expected.transpose(0, 2, 1) @ state.rotations)
    distance = np.sqrt(np.einsum("ni,nij,nj->n", off, problem.weights, off))
    # Huber's loss: a frame that was moved must not drag the others along.
    share = FRAME_GATE / np.maximum(distance, FRAME_GATE)
    return off, by_terms, problem.weights * share[:, None, None]


def _normal(
    problem: Problem, state: State, terms: tuple[str, ...], missed: Misses, weights: Array
) -> tuple[Array, Array]:
    """The normal matrix and the gradient."""
    count, size = 3 * len(problem.frames), 3 * len(problem.frames) + len(terms) + len(HEAD_TERMS)
    normal, gradient = np.zeros((size, size)), np.zeros(size)
    columns = [TERMS.index(term) for term in terms]
    rows = (
        np.concatenate(
            [missed.by_first, missed.by_second, missed.by_terms[:, :, columns], missed.residuals[:, :, None]], axis=2
        )
        * np.sqrt(weights)[:, None, None]
    )
    points = problem.points
    for begin, end in zip(points.bounds[:-1], points.bounds[1:], strict=True):
        if begin == end:
            continue
        block = rows[begin:end].reshape(-1, rows.shape[2])
        first, second = 3 * points.first[begin], 3 * points.second[begin]
        places = np.r_[first : first + 3, second : second + 3, count : count + len(terms)]
        gram = block.T @ block
        normal[np.ix_(places, places)] += gram[:-1, :-1]
        gradient[places] += gram[:-1, -1]
    _add_head(problem, state, normal, gradient)
    assumed, spread = problem.lens_prior(terms)
    lens_places = np.arange(count, count + len(terms))
    normal[lens_places, lens_places] += 1 / spread**2
    gradient[lens_places] += ([getattr(state.lens, term) for term in terms] - assumed) / spread**2
    return normal, gradient


def _add_head(problem: Problem, state: State, normal: Array, gradient: Array) -> None:
    off, by_terms, weights = _off_head(problem, state)
    head = len(normal) - len(HEAD_TERMS)
    pull = (weights @ off[:, :, None])[:, :, 0]
    cross = weights @ by_terms
    for number in range(len(problem.frames)):
        own = slice(3 * number, 3 * number + 3)
        normal[own, own] += weights[number]
        normal[own, head:] -= cross[number]
        normal[head:, own] -= cross[number].T
        gradient[own] += pull[number]
    normal[head:, head:] += np.einsum("nia,nib->ab", by_terms, cross) + np.diag(1 / HEAD_PRIOR**2)
    gradient[head:] += state.head / HEAD_PRIOR**2 - np.einsum("nia,ni->a", by_terms, pull)


def _cost(problem: Problem, state: State, terms: tuple[str, ...], good: Flags, noise: float) -> float:
    """The sum of squares that the adjustment makes least."""
    length = _length(misses(problem.points, state.lens, state.rotations))[good] / noise
    off, _, weights = _off_head(problem, state)
    assumed, spread = problem.lens_prior(terms)
    lens = (np.array([getattr(state.lens, term) for term in terms]) - assumed) / spread
    head = np.einsum("ni,nij,nj->", off, weights, off) + np.sum((state.head / HEAD_PRIOR) ** 2)
    return float(np.sum(length**2) + head + np.sum(lens**2))


def _report(
    problem: Problem, state: State, terms: tuple[str, ...], good: Flags, length: Array, normal: Array, noise: float
) -> Adjusted:
    points, count = problem.points, len(problem.frames)
    touched = np.bincount(np.concatenate([points.first[good], points.second[good]]), minlength=count)
    alone = touched == 0
    rotations = np.where(alone[:, None, None], commanded(problem.frames), state.rotations)
    covariance = cho_solve(cho_factor(normal), np.eye(len(normal)))
    own = head_covariances(problem.frames)
    for number in np.flatnonzero(alone):
        place = slice(3 * number, 3 * number + 3)
        covariance[place, :], covariance[:, place] = 0.0, 0.0
        covariance[place, place] = own[number]
    parts = [slice(begin, end) for begin, end in zip(points.bounds[:-1], points.bounds[1:], strict=True)]
    flags = [good[part] for part in parts]
    rms = np.array(
        [_rms(length[part][flag] * points.sigma_px[part][flag]) for part, flag in zip(parts, flags, strict=True)]
    )
    return Adjusted(rotations, alone, state.lens, terms, state.head, covariance, flags, rms, noise)


def _rms(length: Array) -> float:
    """Root mean square of one coordinate, in pixels."""
    return float(np.sqrt(np.mean(length**2) / 2)) if len(length) else float("nan")
