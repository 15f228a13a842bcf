"""Adjust all frames of a set together: rotations, lens and head, with the covariance of everything.

The unknowns are a small turn of each frame, the lens's terms, and the head's terms (`poses.HEAD_TERMS`). The head's poses
are measurements with standard uncertainties, and give yaw, pitch and roll their zero. A head's scale errors grow along
the set; without terms of their own they would pull at the focal length.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from controller.inspection.fitting import LEAST_NOISE, SetFit, fit_good, fit_robustly
from controller.inspection.lens_model import TERMS, Array, BrownLens
from controller.inspection.links import Flags, Link, Points, lengths, points_of
from controller.inspection.poses import HEAD_TERMS, HeadFrame, commanded, head_covariances
from controller.inspection.problem import NOTHING_KNOWN, Priors, Problem, SetState
from controller.inspection.starting import start_of

# Lens terms in the order in which they are left out, each with the term that must have gone before.
DROPS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("k3",), ""),
    (("k2",), "k3"),
    (("centre_x_px", "centre_y_px"), ""),
    (("k1",), "k2"),
)
GATE = 4.0  # points further off than this many standard deviations are wild: one sound point in 3,000
SIFTINGS = 2  # times that wild points are told apart
FEW_POINTS = 20  # of a link, for a first look at the focal length
# A link with fewer good points, or a smaller share, does not count: a few wild points fit any pose by chance.
FEWEST_GOOD, LEAST_GOOD = 5, 0.25


@dataclass(frozen=True, slots=True, eq=False)
class Adjusted:
    """A set after the adjustment.

    `rotations` (n, 3, 3). `alone` (n,): frames without a single good point, which keep their commanded pose. `lens`
    and the `terms` of it that the data carry; the others are as assumed. `head`: the HEAD_TERMS. `covariance`: of the
    turns of the frames (3 each, radians, in the camera's axes), then of `terms`, then of HEAD_TERMS. `good`: which
    points of each link count, or agree once parallax is allowed for (`pupil`). `rms_px` (links,): of the good points
    of each, NaN without any. `noise`: the standard deviation of residuals in units of the stated one. `axis`: the pan
    axis in the world. `priors`: what was known before.
    """

    rotations: Array
    alone: Flags
    lens: BrownLens
    terms: tuple[str, ...]
    head: Array
    covariance: Array
    good: list[Flags]
    rms_px: Array
    noise: float
    axis: Array
    priors: Priors

    def turns_covariance(self) -> Array:
        """The covariance of each frame's turn, (n, 3, 3), in square radians."""
        count = len(self.rotations)
        blocks = self.covariance[: 3 * count, : 3 * count].reshape(count, 3, count, 3)
        return np.asarray(blocks[np.arange(count), :, np.arange(count), :])

    def lens_covariance(self) -> Array:
        """The covariance of `terms`."""
        begin = 3 * len(self.rotations)
        return self.covariance[begin : begin + len(self.terms), begin : begin + len(self.terms)]

    @property
    def pan_scale(self) -> float:
        """The share by which the pan turns further than commanded."""
        return float(self.head[HEAD_TERMS.index("pan_scale")])

    def head_covariance(self) -> Array:
        """The covariance of the HEAD_TERMS."""
        return self.covariance[-len(HEAD_TERMS) :, -len(HEAD_TERMS) :]


def adjust(
    frames: Sequence[HeadFrame],
    links: Sequence[Link],
    lens: BrownLens,
    axis: Array,
    priors: Priors = NOTHING_KNOWN,
    *,
    before: Adjusted | None = None,
) -> Adjusted:
    """Adjust a set. `axis` is the pan axis in the world (`poses.pan_axis`).

    An adjustment `before` of the same frames, for example with other uncertainties, is where this one starts. It saves
    two thirds of the time. Raises ValueError without frames.
    """
    if not frames:
        raise ValueError("no frames to adjust")
    weights = np.asarray(np.linalg.inv(head_covariances(frames)), dtype=np.float64)
    problem = Problem(frames, points_of(links), lens, axis, weights, priors)
    points = problem.points
    if before is None:
        start = fit_robustly(problem, points.thinned(FEW_POINTS), start_of(problem), ("focal_px",)).state
    else:
        start = SetState(before.rotations, before.lens, before.head)
    fit = fit_robustly(problem, points, start, TERMS)
    noise, length = fit.noise, fit.normal.lengths
    for _ in range(SIFTINGS):
        good = _sound(points, length, noise)
        fit = fit_good(problem, points.only(good), fit.state, TERMS, noise)
        noise = _noise(problem, fit)
        length = lengths(points, fit.state.lens, fit.state.rotations)
    good = _sound(points, length, noise)
    terms = _terms_carried(problem, fit, 2 * int(good.sum()))
    state = SetState(fit.state.rotations, _only(lens, fit.state.lens, terms), fit.state.head)
    fit = fit_good(problem, points.only(good), state, terms, noise)
    return _report(problem, fit, terms, good)


def _sound(points: Points, length: Array, noise: float) -> Flags:
    """The points within the gate, of links with enough of them."""
    near = length < GATE * noise
    count = np.bincount(points.link[near], minlength=len(points.bounds) - 1)
    counts = (count >= FEWEST_GOOD) & (count >= LEAST_GOOD * np.diff(points.bounds))
    return np.asarray(near & counts[points.link])


def _noise(problem: Problem, fit: SetFit) -> float:
    """The noise of good points, each of which has taken part in the fit."""
    known = fit.normal.lengths[np.isfinite(fit.normal.lengths)]
    if not len(known):
        return 1.0
    freedom = max(1, 2 * len(known) - 3 * len(problem.frames) - len(TERMS))
    return max(math.sqrt(float(np.sum(known**2)) / freedom), LEAST_NOISE)


def _terms_carried(problem: Problem, fit: SetFit, residuals: int) -> tuple[str, ...]:
    """The lens terms that the data carry, by the criterion of G. Schwarz (Annals of Statistics 6:461, 1978).

    Terms are left out one by one, from the whole model downward: only a model that fits can say what a term is worth.
    By the covariance C of all terms, going back to the assumed value costs d' C^-1 d in squares, with d the distance from
    it: exact for a linear model.
    """
    begin = 3 * len(problem.frames)
    unit = np.zeros((len(fit.normal.matrix), len(TERMS)))
    unit[begin : begin + len(TERMS)] = np.eye(len(TERMS))
    covariance = fit.normal.solved(unit)[begin : begin + len(TERMS)]
    off = np.array([getattr(fit.state.lens, term) - getattr(problem.lens, term) for term in TERMS])
    scale = np.sqrt(covariance.diagonal())

    def cost(dropped: list[str]) -> float:
        at = [TERMS.index(term) for term in dropped]
        away = off[at] / scale[at]
        between = covariance[np.ix_(at, at)] / scale[at, None] / scale[at]
        return float(away @ np.linalg.lstsq(between, away, rcond=None)[0])

    gone: list[str] = []
    lowest, cost_of_term = 0.0, math.log(max(residuals, 2))
    for terms, first in DROPS:
        if first and first not in gone:
            continue
        more = cost([*gone, *terms])
        if more - len(terms) * cost_of_term < lowest:
            gone, lowest = [*gone, *terms], more
    return tuple(term for term in TERMS if term not in gone)


def _only(assumed: BrownLens, fitted: BrownLens, terms: tuple[str, ...]) -> BrownLens:
    return assumed.moved(terms, np.array([getattr(fitted, term) - getattr(assumed, term) for term in terms]))


def _report(problem: Problem, fit: SetFit, terms: tuple[str, ...], good: Flags) -> Adjusted:
    points, state, count = problem.points, fit.state, len(problem.frames)
    touched = np.bincount(np.concatenate([points.first[good], points.second[good]]), minlength=count)
    alone = touched == 0
    rotations = np.where(alone[:, None, None], commanded(problem.frames), state.rotations)
    covariance = fit.normal.solved(np.eye(len(fit.normal.matrix)))
    covariance = (covariance + covariance.T) / 2
    own = head_covariances(problem.frames)
    for number in np.flatnonzero(alone):
        place = slice(3 * number, 3 * number + 3)
        covariance[place, :], covariance[:, place] = 0.0, 0.0
        covariance[place, place] = own[number]
    length = lengths(points, state.lens, state.rotations) * points.sigma_px
    parts = [slice(begin, end) for begin, end in zip(points.bounds[:-1], points.bounds[1:], strict=True)]
    rms = np.array([rms_of(length[part][good[part]]) for part in parts])
    return Adjusted(
        rotations=rotations,
        alone=alone,
        lens=state.lens,
        terms=terms,
        head=state.head,
        covariance=covariance,
        good=[good[part] for part in parts],
        rms_px=rms,
        noise=fit.noise,
        axis=problem.axis,
        priors=problem.priors,
    )


def rms_of(length: Array) -> float:
    """Root mean square of one coordinate, in pixels."""
    return float(np.sqrt(np.mean(length**2) / 2)) if len(length) else float("nan")
