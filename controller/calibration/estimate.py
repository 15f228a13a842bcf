"""A quantity from a fit with all its uncertainty: scatter, resolution, and correlation between successive readings."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from controller.calibration import order
from controller.calibration.finding import Stated, coverage_factor
from controller.calibration.least_squares import Fit, Kept
from controller.calibration.resolution import grouped, rounding_sd, shared
from controller.optics.outline import Array

UNRESOLVED_P = 0.05
"""Chance below which a remainder this small means that the fit has absorbed the rounding."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, its standard uncertainty and the degrees of freedom of that (inf if not limited)."""

    value: float
    u: float
    freedom: float

    @property
    def half_width(self) -> float:
        """Half the width of the interval that contains the true value in 95 of 100 cases."""
        return coverage_factor(self.freedom) * self.u

    @property
    def interval(self) -> tuple[float, float]:
        """The interval that contains the true value in 95 of 100 cases."""
        return self.value - self.half_width, self.value + self.half_width


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How the readings of a fit were taken: their grid, which of them share a place, and when.

    `rows` are the places of the fit's readings among all `count` rows, in order of time. `guarded`: the order protects,
    so a correlation `correlation` of successive readings is included in the uncertainty, and so is `hidden` (see order).
    """

    step: float
    places: NDArray[np.intp]
    rows: NDArray[np.intp]
    count: int
    guarded: bool
    correlation: float
    hidden: float

    @classmethod
    def of(
        cls,
        found: Fit,
        kept: Kept,
        guarded: bool,
        step: float,
        places: NDArray[np.intp],
        correlation: float = order.CORRELATION,
    ) -> "Circumstances":
        """The circumstances of a fit to the `kept` readings of all, in order of time."""
        rows = np.flatnonzero(kept)
        hidden = order.hidden(found, rows, len(kept), correlation) if guarded else 1.0
        return cls(step, places, rows, len(kept), guarded, correlation, hidden)

    @property
    def stated(self) -> Stated:
        """The claim that intervals may make."""
        return Stated.ALL if self.guarded else Stated.SCATTER


def estimate(found: Fit, along: Array, taken: Circumstances) -> Estimate:
    """The weighted sum of coefficients with the weights `along` (p,).

    The variance has three parts. The fit's, in which no reading is more certain than its resolution. The rounding that
    readings of one place share; repetition does not reduce it (GUM, JCGM 100:2008, F.2.2.1 and 4.3.7). And a factor for
    correlated errors. Degrees of freedom after Welch and Satterthwaite (GUM, G.4.1): those of the scatter.
    """
    weights = along @ found.estimator
    independent = float(weights @ weights)
    variance = float(along @ found.covariance @ along)
    if taken.step > 0:
        more = grouped(weights, taken.places) - independent
        variance += shared(_scatter(found, taken.step), taken.step) * rounding_sd(taken.step) ** 2 * max(more, 0.0)
    freedom = math.inf
    if found.seen_variance is not None and found.seen_variance * independent > 0:
        # The part that a prior leaves open depends on the scatter too, so it limits the degrees of freedom as well.
        limited = float(along @ found.covariance @ along) * found.seen_variance / float(found.variances[0])
        freedom = found.freedom * (variance / limited) ** 2
    if taken.guarded:
        variance *= max(1.0, taken.hidden * order.widening(weights, found, taken.rows, taken.count, taken.correlation))
    return Estimate(float(along @ found.coefficients), math.sqrt(variance), freedom if freedom < 1e9 else math.inf)


def _scatter(found: Fit, step: float) -> float:
    """The readings' scatter without their rounding, a standard deviation."""
    seen = float(found.variances.mean()) if found.seen_variance is None else found.seen_variance
    return math.sqrt(max(0.0, seen - rounding_sd(step) ** 2))


def places_of(found: Fit, positions: Array, fitted: Array, step: float) -> NDArray[np.intp]:
    """Which readings may share their rounding in the worst case: those of one position, or all.

    All, if the fitted values stay within one step of the grid (places that coincide with the marks, a lean below the
    resolution). All as well if the remainder is so small that the rounding cannot be independent: the fit has absorbed
    it.
    """
    squares = float(found.residuals @ found.residuals)
    left = max(len(positions) - len(found.coefficients), 1)
    if step > 0 and (np.ptp(fitted) < step or squares < rounding_sd(step) ** 2 * float(chdtri(left, 1 - UNRESOLVED_P))):
        return np.zeros(len(positions), dtype=np.intp)
    return np.unique(positions, return_inverse=True)[1].reshape(-1)


def order_separates_drift(
    fit_of: Callable[[bool], Fit], contrasts: Array, count: int, most_widening: float = order.MOST_WIDENING
) -> bool:
    """Whether the order of all `count` readings protects the sums of coefficients `contrasts` (k, p without the drift).

    `fit_of` fits them with a last column for the drift (True) or without. The order protects if that column costs little
    and correlated errors affect the sums about as little as independent ones.
    """
    try:
        plain, full = fit_of(False), fit_of(True)
    except np.linalg.LinAlgError:
        return False
    if full.freedom < order.LEAST_FREEDOM:
        return False
    rows = np.arange(count)
    hidden = order.hidden(full, rows, count)
    for along in contrasts:
        before, now = along @ plain.estimator, np.append(along, 0.0) @ full.estimator
        cost = float(np.sum(now**2 * full.variances)) / max(float(np.sum(before**2 * full.variances)), 1e-300)
        if cost > order.MOST_FOR_DRIFT or hidden * order.widening(now, full, rows, count) > most_widening:
            return False
    return True
