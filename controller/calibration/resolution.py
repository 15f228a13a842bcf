"""The grid of an instrument's readings, and the variation hidden between its marks."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from controller.optics.outline import Array

CHANCE = 0.05  # that readings on the finer grid all fall on the coarser one by chance. Our own choice.
OFF_GRID = 0.1  # share of the readings that may be estimates between two marks
MOST_READINGS = 10_000  # of a long column; they are enough to tell its grid
MOST_SPREADS = 30.0  # a grid coarser than this many standard deviations of the residuals would have left larger ones
PARTS = (1, 2, 2.5, 5)  # of a power of ten: how scales and displays are divided
MINUTES = tuple(marks / 60 for marks in (1, 2, 5, 10, 15, 30)) + tuple(marks / 3600 for marks in (1, 2, 5, 10, 20, 30))
MOST_DECIMALS = 30
DECADES = 8  # of grids, from the written one
HARMONICS = 8


def decimals_of(text: str) -> int:
    """The number of decimals in a written number ("0.10": 2)."""
    mantissa, _, exponent = text.strip().lower().partition("e")
    power = int(exponent) if exponent.lstrip("+-").isdigit() else 0
    return min(max(0, len(mantissa.partition(".")[2]) - power), MOST_DECIMALS)


def grid(values: Array, spread: float, decimals: Sequence[int] | None = None) -> float:
    """The step between two neighbouring readings of the instrument, in the unit of `values` (n,), n > 0.

    It is at least a unit of the last decimal in use: of the written `decimals`, or of those that the values need. It is
    coarser (a decimal unit, half, a quarter or a fifth of one, minutes or seconds of arc) if nearly all values are on a
    coarser grid and chance does not explain it. `spread` is the standard deviation of a fit's residuals. It prevents
    places that happen to be whole tens from counting as readings to ten degrees.
    """
    values = values[:MOST_READINGS]
    used = [_decimals_needed(value) for value in values.tolist()] if decimals is None else list(decimals[:MOST_READINGS])
    written = 10.0 ** -sorted(used)[math.ceil((1 - OFF_GRID) * len(used)) - 1]
    differ = np.unique(values)
    coarser = (step for step in _coarser(written) if step <= MOST_SPREADS * spread)
    return max((step for step in coarser if _lies_on(differ, step, written)), default=written)


def _decimals_needed(value: float) -> int:
    """The decimals of this float to twelve digits; any beyond come from arithmetic, not from reading."""
    return decimals_of(f"{value:.12g}")


def _coarser(written: float) -> list[float]:
    """Grids worth trying: those of usual scales."""
    first = round(math.log10(written))
    steps = [part * 10.0**power for power in range(first, first + DECADES) for part in PARTS]
    return [step for step in (*steps, *MINUTES) if step > 1.5 * written]


def _lies_on(values: Array, step: float, written: float) -> bool:
    """Whether nearly all values are whole multiples of `step`, to the digits written, and not by chance."""
    whole = abs(step / written - round(step / written)) < 1e-6  # otherwise its marks were rounded when written down
    off = np.abs(values - np.round(values / step) * step)
    on = int((off <= (0.01 if whole else 0.501) * written).sum())
    missed = len(values) - on
    if missed > OFF_GRID * len(values):
        return False
    # Choosing which values are off the grid makes chance more likely.
    by_chance = min(1.0, written / step * (1 if whole else 2))
    return float(by_chance**on) * math.comb(len(values), missed) < CHANCE


def shared(scatter: float, step: float) -> float:
    """How far two readings of one place share their rounding: 1 without scatter, 0 with a scatter of half a `step`. It is
    the correlation of the errors, averaged over where the place is between two marks.

    By the characteristic function of the scatter (B. Widrow and I. Kollar, *Quantization Noise*, 2008, chapter 4).
    """
    if step <= 0:
        return 0.0
    order = np.arange(1, HARMONICS + 1)
    if scatter <= 0:
        return 1.0
    weights = np.exp(-((2 * math.pi * order * scatter / step) ** 2)) / order**2
    return float(6 / math.pi**2 * weights.sum())


def rounding_sd(step: float) -> float:
    """Standard uncertainty of one reading from its resolution: rectangular (GUM, JCGM 100:2008, F.2.2.1)."""
    return step / math.sqrt(12)


def grouped(weights: Array, groups: NDArray[np.intp]) -> float:
    """The variance of a sum of readings with these weights, in squares of one reading's uncertainty.

    Readings of a group may share their error in the worst case; those of different groups are independent.
    """
    sums = np.zeros(int(groups.max()) + 1)
    np.add.at(sums, groups, np.abs(weights))
    return float(sums @ sums)
