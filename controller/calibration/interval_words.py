"""A value with its interval in words, to as many digits as the interval justifies."""

import math

from controller.calibration.finding import coverage_factor
from controller.calibration.spread import Interval


def plus_minus(value: float, u: float, freedom: float) -> str:
    """A value and the half-width of its 95 % interval, to two digits of the latter (GUM, JCGM 100:2008, 7.2.6).

    At most nine digits: a smaller half-width is stated as the last of them.
    """
    half = coverage_factor(freedom) * u
    last = math.floor(math.log10(max(abs(value), half, 1e-300))) - 8
    if not math.isfinite(half):
        return f"{value:.2g} ± {half}"
    power = last if half <= 10.0**last else max(last, math.floor(math.log10(half)) - 1)
    places = max(0, -power)
    return f"{value:.{places}f} ± {max(half, 10.0**power):.{places}f}"


def from_to(found: Interval) -> str:
    """A value and its interval, to two digits of the interval's width: "0.062° (0.051 to 0.068°)"."""
    places = _places(found.low, found.high)
    return f"{found.value:.{places}f}° ({low_to_high(found.low, found.high)}°)"


def low_to_high(low: float, high: float) -> str:
    """An interval, to two digits of its width: "0.051 to 0.068"."""
    places = _places(low, high)
    return f"{low:.{places}f} to {high:.{places}f}"


def _places(low: float, high: float) -> int:
    return max(0, 1 - math.floor(math.log10(max(high - low, 1e-9))))
