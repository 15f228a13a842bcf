"""What a fit says of a quantity, with everything counted in: scatter, resolution, and errors that hang together."""

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
"""How seldom independent roundings leave as little over as this: below, the fit has taken them in."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, its standard uncertainty and the degrees of freedom of that (inf where they are not limited)."""

    value: float
    u: float
    freedom: float

    @property
    def half_width(self) -> float:
        """Of the interval that holds the true value in 95 of 100 cases."""
        return coverage_factor(self.freedom) * self.u

    @property
    def interval(self) -> tuple[float, float]:
        """That interval."""
        return self.value - self.half_width, self.value + self.half_width


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How the readings of a fit were taken: their grid, which share a place, and when.

    `rows` are the places of the fit's readings among all `count` rows in the order of time. `guarded`: that order
    protects, so errors that hang together by `hanging` from one to the next are counted in, as is `hidden` (see order).
    """

    step: float
    places: NDArray[np.intp]
    rows: NDArray[np.intp]
    count: int
    guarded: bool
    hanging: float
    hidden: float

    @classmethod
    def of(
        cls, found: Fit, kept: Kept, guarded: bool, step: float, places: NDArray[np.intp], hanging: float = order.HANGING
    ) -> "Circumstances":
        """Those of a fit to the readings that are `kept`, of all in the order of time."""
        rows = np.flatnonzero(kept)
        hidden = order.hidden(found, rows, len(kept), hanging) if guarded else 1.0
        return cls(step, places, rows, len(kept), guarded, hanging, hidden)

    @property
    def stated(self) -> Stated:
        """What intervals may be said to hold."""
        return Stated.ALL if self.guarded else Stated.SCATTER


def estimate(found: Fit, along: Array, taken: Circumstances) -> Estimate:
    """The sum of coefficients with the weights `along` (p,).

    Variances: that of the fit, in which no reading counts as surer than its resolution; the rounding that readings of
    one place share, which no repeating makes smaller (GUM, JCGM 100:2008, F.2.2.1 and 4.3.7); and a factor for errors
    that hang together. Degrees of freedom after Welch and Satterthwaite (GUM, G.4.1): those of the scatter.
    """
    weights = along @ found.estimator
    independent = float(weights @ weights)
    variance = float(along @ found.covariance @ along)
    if taken.step > 0:
        more = grouped(weights, taken.places) - independent
        variance += shared(_scatter(found, taken.step), taken.step) * rounding_sd(taken.step) ** 2 * max(more, 0.0)
    freedom = math.inf
    if found.seen_variance is not None and found.seen_variance * independent > 0:
        # What a prior leaves open depends on the scatter as well, so it limits the degrees of freedom too.
        limited = float(along @ found.covariance @ along) * found.seen_variance / float(found.variances[0])
        freedom = found.freedom * (variance / limited) ** 2
    if taken.guarded:
        variance *= max(1.0, taken.hidden * order.widening(weights, found, taken.rows, taken.count, taken.hanging))
    return Estimate(float(along @ found.coefficients), math.sqrt(variance), freedom if freedom < 1e9 else math.inf)


def _scatter(found: Fit, step: float) -> float:
    """The readings' scatter without their rounding, a standard deviation."""
    seen = float(found.variances.mean()) if found.seen_variance is None else found.seen_variance
    return math.sqrt(max(0.0, seen - rounding_sd(step) ** 2))


def places_of(found: Fit, positions: Array, fitted: Array, step: float) -> NDArray[np.intp]:
    """Which readings may share their rounding in the worst way: those of one position, or all.

    All, where the fitted values stay within one step of the grid, or where so little is left over that the roundings
    cannot be independent: then the fit has taken them in (places that lie on the marks, a lean below the resolution).
    """
    squares = float(found.residuals @ found.residuals)
    left = max(len(positions) - len(found.coefficients), 1)
    if step > 0 and (np.ptp(fitted) < step or squares < rounding_sd(step) ** 2 * float(chdtri(left, 1 - UNRESOLVED_P))):
        return np.zeros(len(positions), dtype=np.intp)
    return np.unique(positions, return_inverse=True)[1].reshape(-1)


def order_protects(
    fit_of: Callable[[bool], Fit], contrasts: Array, count: int, most_widening: float = order.MOST_WIDENING
) -> bool:
    """Whether the order of all `count` readings protects the sums of coefficients `contrasts` (k, p without the drift).

    `fit_of` fits them with a last column for the drift (True) or without. It protects where that column costs little,
    and where errors that hang together lean on the sums about as little as independent ones do.
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
