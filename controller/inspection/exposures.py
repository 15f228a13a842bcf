"""Which exposure of a bracket shows most: the one with the least that is clipped or lost in the dark."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from controller.optics.outline import Array

CODES = 256
DARKEST, BRIGHTEST = 25, 230  # between these codes a pixel is neither black nor burnt out
ENOUGH_PIXELS = 0.01  # least share of usable pixels of a picture
ALIKE = 0.02  # of a picture: exposures that lose no more than this apart lose equally little
PRECISION = 1_000_000  # of shares that are added up as whole numbers
WORSE = 0.05  # of a picture: a frame that loses this much more in the set's usual exposure is examined in its own
BLACK_CODE, WHITE_CODE = 12, 250  # beyond these, in eight bits, little is to be seen. Common practice, no source


def light_table() -> Array:
    """Light, 0 to 1, of each code: the curve of sRGB (IEC 61966-2-1:1999). Cameras' own only approximate it."""
    value = np.arange(CODES) / (CODES - 1)
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


LIGHT = light_table().astype(np.float32)


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
    return -round(sum(lost_shares(counts)) / ALIKE), float(-(shares * np.log2(shares)).sum())


def choose_exposures(frames: Sequence[Mapping[int, NDArray[np.int64]]]) -> list[int | None]:
    """Which exposure to examine of each frame, from its histograms by exposure; None without any.

    The one that shows most of the whole set, because alike exposures compare best; a frame that loses much in it has its
    own.
    """
    numbers = sorted({number for frame in frames for number in frame})
    if not numbers:
        return [None for _ in frames]
    of_all = [
        sum(frame[number] / max(frame[number].sum(), 1) for frame in frames if number in frame) for number in numbers
    ]
    usual = numbers[shows_most([np.asarray(np.rint(each * PRECISION), dtype=np.int64) for each in of_all])]
    return [_own(frame, usual) for frame in frames]


def _own(frame: Mapping[int, NDArray[np.int64]], usual: int) -> int | None:
    if not frame:
        return None
    order = sorted(frame)
    best = order[shows_most([frame[number] for number in order])]
    if usual in frame and sum(lost_shares(frame[usual])) <= sum(lost_shares(frame[best])) + WORSE:
        return usual
    return best


def bracket_step_ev(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> float | None:
    """How many EV brighter the second grey picture of a pose is, by the median of pixels that are usable in both.

    It assumes sRGB codes (IEC 61966-2-1:1999), which a camera's own only approximate. None if too few pixels are usable.
    """
    good = (first > DARKEST) & (first < BRIGHTEST) & (second > DARKEST) & (second < BRIGHTEST)
    if np.count_nonzero(good) < ENOUGH_PIXELS * first.size:
        return None
    return float(np.median(np.log2(LIGHT[second[good]] / LIGHT[first[good]])))
