"""Which exposure of a bracket shows most: the one with the least that is clipped or lost in the dark."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

CODES = 256
BLACK_CODE, WHITE_CODE = 12, 250  # beyond these, in eight bits, little is to be seen. Common practice, no source


def histogram(grey: NDArray[np.uint8]) -> NDArray[np.int64]:
    """How many pixels have each code, shape (256,)."""
    return np.bincount(grey.ravel(), minlength=CODES).astype(np.int64)


def lost_shares(counts: NDArray[np.int64]) -> tuple[float, float]:
    """The shares of pixels too dark and too bright to show anything. An empty histogram has lost everything."""
    total = int(counts.sum())
    if total == 0:
        return 1.0, 1.0
    return float(counts[: BLACK_CODE + 1].sum() / total), float(counts[WHITE_CODE:].sum() / total)


def shows_most(histograms: Sequence[NDArray[np.int64]]) -> int:
    """Which of these exposures shows most, by its place in the sequence.

    Of several that lose equally little, the one with the most evenly used codes (the largest entropy: C. Shannon, Bell
    System Technical Journal 27:379, 1948), then the first. Raises ValueError if there are none.
    """
    if not histograms:
        raise ValueError("no exposures")
    return max(range(len(histograms)), key=lambda number: (*_worth(histograms[number]), -number))


def _worth(counts: NDArray[np.int64]) -> tuple[float, float]:
    shares = counts[counts > 0] / max(int(counts.sum()), 1)
    return -round(sum(lost_shares(counts)), 3), float(-(shares * np.log2(shares)).sum())
