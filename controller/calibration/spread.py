"""How large a scatter is, and the largest of several: intervals for figures that standards take as maxima."""

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
class Within:
    """A value and the interval that holds the true one in 95 of 100 cases."""

    value: float
    low: float
    high: float

    def with_value(self, value: float) -> "Within":
        """Another figure for the same quantity; the interval grows to hold it."""
        return Within(value, min(self.low, value), max(self.high, value))

    def plus(self, other: "Within") -> "Within":
        """The sum of two independent ones: what either side may be off adds in squares."""
        return Within(
            self.value + other.value,
            max(0.0, self.value + other.value - math.hypot(self.value - self.low, other.value - other.low)),
            self.value + other.value + math.hypot(self.high - self.value, other.high - other.value),
        )

    def times(self, factor: float) -> "Within":
        """A multiple of it."""
        return Within(self.value * factor, self.low * factor, self.high * factor)

    @property
    def interval(self) -> tuple[float, float]:
        """From where to where."""
        return self.low, self.high


def scatter(variance: float, freedom: float, step: float, error: float, hanging: float, hidden: float) -> Within:
    """A standard deviation from its variance with degrees of freedom (chi squared).

    `step` is that of the instrument's grid and `error` its own standard uncertainty. All of the scatter may be the
    instrument's doing (readings of a place halfway between two marks fall on either), and so much may hide behind it.
    Readings that hang together by `hanging` (`order.seen_hanging`) say less of their scatter (M. S. Bartlett, J. R. Stat.
    Soc. B 8, 1946), and it may be `hidden` (`order.hidden`, 1 or more) times larger in variance.
    """
    freedom = max(freedom * (1 - hanging**2) / (1 + hanging**2), 1.0)
    least, most = math.hypot(rounding_sd(step), error), math.hypot(step / 2, error)
    low = math.sqrt(max(0.0, variance - most**2) * freedom / float(chdtri(freedom, 0.025)))
    high = math.sqrt(max(variance * hidden, least**2) * freedom / float(chdtri(freedom, 0.975)))
    return Within(math.sqrt(variance), low, high)


def is_larger(variance: float, freedom: float, pooled: float, pooled_freedom: float, among: int) -> bool:
    """Whether one of `among` variances is larger than the pooled one beyond chance (F test, Bonferroni's bound)."""
    if variance <= pooled:
        return False
    return bool(fdtrc(freedom, pooled_freedom, variance / max(pooled, 1e-300)) * among < LARGER_P)


def largest(sizes: Sequence[Estimate], spreads: Sequence[float] | None = None) -> Within:
    """The largest size of several quantities; the interval holds the largest of the true sizes.

    It ends where that quantity may end that reaches farthest: the true largest one is measured as too small in no more
    cases than any single one. It begins where no quantity at all need be smaller: simultaneously (Bonferroni), since the
    largest of many readings is too large. `spreads` are standard uncertainties (of the worst direction) of sizes that are
    lengths of plane vectors; their beginning follows the distribution of such a length (Hotelling).
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
    return Within(max(abs(each.value) for each in sizes), max(0.0, *lows), high)


def span(values: Sequence[Estimate]) -> Within:
    """The range of several independent quantities, from the smallest to the largest, as `largest` has it."""
    share = 0.025 / (len(values) * (len(values) - 1))
    found, u = (np.array([getattr(each, name) for each in values]) for name in ("value", "u"))
    freedom = np.minimum([each.freedom for each in values], 1e9)
    apart, both = found[:, None] - found, np.hypot(u[:, None], u)
    limited = np.minimum(freedom[:, None], freedom)
    high = float((apart + stdtrit(limited, 0.975) * both).max())
    low = float((apart - stdtrit(limited, 1 - share) * both).max())
    return Within(float(np.ptp(found)), max(0.0, low), high)
