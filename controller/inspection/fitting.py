"""Gauss-Newton with reweighting, in steps that never make the fit worse.

B. Triggs and others, "Bundle adjustment: a modern synthesis", 2000, sections 3.3 and 4.
"""

from dataclasses import dataclass

import numpy as np

from controller.inspection.lens_model import Array
from controller.inspection.links import Points
from controller.inspection.normal import Normal, normal_at
from controller.inspection.problem import Problem, SetState, cost_of_priors

ROUNDS, STILL_PX = 40, 1e-3  # most rounds of a fit, and the turn of any frame, in pixels, that ends it
STILL_ROBUST_PX = 0.02  # the same while wild points are looked for
HALVINGS = 5  # of a step that makes the fit worse, before giving up
RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))  # of the length of a residual with a standard deviation of 1 each way
CAUCHY = 2.385  # scale of the robust loss: 95 % as efficient as least squares (Z. Zhang, Image Vision Comp. 15:59, 1997)
LEAST_NOISE = 0.05  # of residuals, as a share of the stated one: nobody matches twenty times better than they say
FARTHEST = 1e6  # lengths of residuals count up to this in costs; those of points not seen are infinite


@dataclass(frozen=True, slots=True)
class Loss:
    """How lengths of residuals count: `noise` is their standard deviation in units of the stated one.

    Robust: by the logarithm of the distance for far ones. Not robust: as squares.
    """

    noise: float
    robust: bool

    def weights(self, length: Array) -> Array:
        """The weights (n,) of points with these lengths (n,)."""
        if not self.robust:
            return np.full(len(length), 1 / self.noise**2)
        return np.asarray(1 / (1 + (length / (CAUCHY * self.noise)) ** 2) / self.noise**2)

    def cost(self, length: Array) -> float:
        """The sum over all points."""
        near = np.minimum(length, FARTHEST) / self.noise
        if self.robust:
            return float(CAUCHY**2 * np.sum(np.log1p((near / CAUCHY) ** 2)))
        return float(np.sum(near**2))


@dataclass(frozen=True, slots=True, eq=False)
class SetFit:
    """A fit: its state, the normal equations there, the noise of the residuals."""

    state: SetState
    normal: Normal
    noise: float


def noise_of(length: Array) -> float:
    """The noise from the median, which wild points hardly move; at least LEAST_NOISE."""
    known = length[np.isfinite(length)]
    return max(float(np.median(known)) / RAYLEIGH_MEDIAN, LEAST_NOISE) if len(known) else 1.0


def fit_robustly(problem: Problem, points: Points, state: SetState, terms: tuple[str, ...]) -> SetFit:
    """Fit so that wild points hardly count. The scale of the loss follows the data."""
    now = normal_at(problem, points, state, terms, Loss(1e3, robust=True).weights)
    return _fit(problem, points, state, terms, Loss(noise_of(now.lengths), robust=True), STILL_ROBUST_PX)


def fit_good(problem: Problem, points: Points, state: SetState, terms: tuple[str, ...], noise: float) -> SetFit:
    """Fit points that are all sound, with this noise."""
    return _fit(problem, points, state, terms, Loss(max(noise, LEAST_NOISE), robust=False), STILL_PX)


def _fit(
    problem: Problem, points: Points, state: SetState, terms: tuple[str, ...], loss: Loss, still_px: float
) -> SetFit:
    now = normal_at(problem, points, state, terms, loss.weights)
    for _ in range(ROUNDS):
        step = -now.solved(now.gradient)
        there = _walked(problem, points, state, terms, loss, now, step)
        if there is None:
            break
        state, now = there
        if loss.robust:
            loss = Loss(noise_of(now.lengths), robust=True)
        if np.abs(step[: 3 * len(problem.frames)]).max() * state.lens.focal_px < still_px:
            break
    return SetFit(state, now, loss.noise)


def _walked(
    problem: Problem, points: Points, state: SetState, terms: tuple[str, ...], loss: Loss, now: Normal, step: Array
) -> tuple[SetState, Normal] | None:
    """The state after the step, or after part of it; None if no part makes the fit better."""
    before = loss.cost(now.lengths) + cost_of_priors(problem, state, terms)
    for halving in range(HALVINGS):
        there = state.moved(terms, step / 2**halving)
        if not there.lens.focal_px > 0:
            continue
        normal = normal_at(problem, points, there, terms, loss.weights)
        after = loss.cost(normal.lengths) + cost_of_priors(problem, there, terms)
        if after <= before * (1 + 1e-9):
            return there, normal
    return None
