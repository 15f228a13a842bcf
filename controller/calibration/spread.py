"""The size of a scatter, and the largest of several: intervals for figures that standards define as maxima."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, fdtrc, fdtri, stdtrit

from controller.calibration.estimate import Estimate
from controller.calibration.finding import quantile
from controller.calibration.resolution import rounding_sd

LARGER_P = 0.05


@dataclass(frozen=True, slots=True)
class Interval:
    """A value and the interval that contains the true one in 95 of 100 cases."""

    value: float
    low: float
    high: float

    def with_value(self, value: float) -> "Interval":
        """Another figure for the same quantity; the interval is extended to contain it."""
        return Interval(value, min(self.low, value), max(self.high, value))

    def plus(self, other: "Interval") -> "Interval":
        """The sum of two independent quantities: the errors to either side add in squares."""
        return Interval(
            self.value + other.value,
            max(0.0, self.value + other.value - math.hypot(self.value - self.low, other.value - other.low)),
            self.value + other.value + math.hypot(self.high - self.value, other.high - other.value),
        )

    def times(self, factor: float) -> "Interval":
        """The value and its interval times `factor`."""
        return Interval(self.value * factor, self.low * factor, self.high * factor)

    @property
    def interval(self) -> tuple[float, float]:
        """The ends of the interval."""
        return self.low, self.high


def scatter(variance: float, freedom: float, step: float, error: float, correlation: float, hidden: float) -> Interval:
    """A standard deviation from its variance with degrees of freedom (chi squared).

    `step` is that of the instrument's grid and `error` its own standard uncertainty. All of the scatter may come from the
    instrument (readings of a place halfway between two marks fall on either), and it may hide as much. If successive
    readings correlate by `correlation` (`order.seen_correlation`), they tell less about their scatter (M. S. Bartlett,
    J. R. Stat. Soc. B 8, 1946), and its true variance may be `hidden` times as large (`order.hidden`, 1 or more).
    """
    freedom = max(freedom * (1 - correlation**2) / (1 + correlation**2), 1.0)
    least, most = math.hypot(rounding_sd(step), error), math.hypot(step / 2, error)
    low = math.sqrt(max(0.0, variance - most**2) * freedom / float(chdtri(freedom, 0.025)))
    high = math.sqrt(max(variance * hidden, least**2) * freedom / float(chdtri(freedom, 0.975)))
    return Interval(math.sqrt(variance), low, high)


def is_larger(variance: float, freedom: float, pooled: float, pooled_freedom: float, among: int) -> bool:
    """Whether one of `among` variances is larger than the pooled one beyond chance (F test, Bonferroni's bound)."""
    if variance <= pooled:
        return False
    return bool(fdtrc(freedom, pooled_freedom, variance / max(pooled, 1e-300)) * among < LARGER_P)


def largest(sizes: Sequence[Estimate], spreads: Sequence[float] | None = None) -> Interval:
    """The largest size of several quantities; the interval contains the largest of the true sizes.

    Its upper end is the highest of any quantity's: the true largest one is measured as too small no more often than any
    single one. Its lower end is simultaneous (Bonferroni), since the largest of many readings is too large: the highest
    of their lower bounds. `spreads` are standard uncertainties (in the worst direction) of sizes that are lengths of
    plane vectors; their lower bound follows the distribution of such a length (Hotelling).
    """
    share = 0.025 / len(sizes)
    high = max(abs(each.value) + quantile(0.975, each.freedom) * each.u for each in sizes)
    lows = []
    for number, each in enumerate(sizes):
        if spreads is None:
            lows.append(abs(each.value) - quantile(1 - share, each.freedom) * each.u)
        else:
            squared = 2 * float(fdtri(2, min(each.freedom, 1e9), 1 - share))
            lows.append(abs(each.value) - math.sqrt(squared) * spreads[number])
    return Interval(max(abs(each.value) for each in sizes), max(0.0, *lows), high)


def span(values: Sequence[Estimate]) -> Interval:
    """The range of several independent quantities, from the smallest to the largest; interval as in `largest`."""
    share = 0.025 / (len(values) * (len(values) - 1))
    found, u = (np.array([getattr(each, name) for each in values]) for name in ("value", "u"))
    freedom = np.minimum([each.freedom for each in values], 1e9)
    apart, both = found[:, None] - found, np.hypot(u[:, None], u)
    limited = np.minimum(freedom[:, None], freedom)
    high = float((apart + stdtrit(limited, 0.975) * both).max())
    low = float((apart - stdtrit(limited, 1 - share) * both).max())
    return Interval(float(np.ptp(found)), max(0.0, low), high)
