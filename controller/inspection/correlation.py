"""How two pictures on one plane are shifted against each other as a whole, and where they do not agree.

Each picture is first made level: its local mean is taken off and its local contrast evened out, so that exposure,
vignetting and haze do not matter. The measure is normalised cross-correlation over what both pictures show (J. P. Lewis,
Fast normalized cross-correlation, Vision Interface 1995; with masks: D. Padfield, IEEE Trans. Image Processing 21:2670,
2012).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2

from controller.calibration.registration import opencv
from controller.inspection.overlap import Patch
from controller.optics.outline import Array

Floats = NDArray[np.float32]
Waves = NDArray[np.complexfloating]

LOCAL_PX = 8.0  # standard deviation of the window of the local mean and contrast
NOISE_CODES = 2.0  # contrast below this is mostly noise and rounding of the file (eight bits)
COARSE_PX = 16.0  # larger searches are done in smaller pictures
APART_PX = 4  # two peaks nearer than this are one
CLEAR = 3.0  # times the noise: texture that should show in both
ALIKE_PX = 9  # side of the windows that are compared, at half the size
UNLIKE = 0.4  # windows that correlate less than this show different things
LEAST_COMMON = 0.2  # of the smaller picture must be common at a shift that is considered


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """A patch made level: `values` (rows, columns), 0 where nothing is held; `contrast`, local, in codes; `held`."""

    values: Floats
    contrast: Floats
    held: NDArray[np.bool_]

    @property
    def textured(self) -> NDArray[np.bool_]:
        """Where there is more to see than noise."""
        return np.asarray(self.held & (self.contrast > NOISE_CODES))


@dataclass(frozen=True, slots=True)
class Shift:
    """The best shift of the second picture against the first, in pixels right and down, and its correlation.

    `rival` is the correlation of the next best shift that is a peak of its own (0 if there is none).
    """

    right_px: float
    down_px: float
    peak: float
    rival: float


def level(patch: Patch) -> Level:
    """Make a patch level. Raises InputError without OpenCV."""
    cv2 = opencv()
    held = patch.held.astype(np.float32)
    grey = cv2.GaussianBlur(patch.grey, (0, 0), 0.7).astype(np.float32) * held

    def local(values: Floats) -> Floats:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), LOCAL_PX, borderType=cv2.BORDER_CONSTANT), dtype=np.float32)

    weight = np.maximum(local(held), 1e-3)
    mean = local(grey) / weight
    away = (grey - mean) * held
    contrast = np.sqrt(local(away * away) / weight)
    inner = cv2.erode(patch.held.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) > 0
    return Level(np.where(inner, away / (contrast + np.float32(NOISE_CODES)), np.float32(0)), contrast, inner)


def shift_between(first: Level, second: Level, reach_px: float) -> Shift:
    """The shift within `reach_px` of none at which the two pictures agree best. Raises InputError without OpenCV."""
    factor = max(1, math.floor(reach_px / COARSE_PX))
    reach = max(2, math.ceil(reach_px / factor))
    scores = _scores(_reduced(first, factor), _reduced(second, factor), reach)
    cv2 = opencv()
    wide = 2 * APART_PX + 1
    peaks = (scores == cv2.dilate(scores, np.ones((wide, wide), np.uint8))) & (scores > 0)
    row, column = (int(part) for part in np.unravel_index(int(np.argmax(scores)), scores.shape))
    peaks[max(0, row - APART_PX) : row + APART_PX + 1, max(0, column - APART_PX) : column + APART_PX + 1] = False
    rival = float(scores[peaks].max()) if peaks.any() else 0.0
    right, down = column - reach, row - reach
    return Shift(float(right * factor), float(down * factor), float(scores[row, column]), rival)


def _reduced(whole: Level, factor: int) -> tuple[Floats, Floats]:
    values, held = whole.values, whole.held.astype(np.float32)
    if factor > 1:
        cv2 = opencv()
        size = tuple(max(1, side // factor) for side in values.shape[::-1])
        cut = tuple(slice(0, side * factor) for side in size[::-1])
        values, held = (cv2.resize(each[cut], size, interpolation=cv2.INTER_AREA) for each in (values, held))
    return values, held


def _scores(first: tuple[Floats, Floats], second: tuple[Floats, Floats], reach: int) -> Floats:
    """Correlations (2 reach + 1, 2 reach + 1) by shift, down and right; 0 where too little is common."""
    shape = [next_fast_len(side + reach, real=True) for side in first[0].shape]
    ones = [rfft2(each, shape) for each in (first[0], first[1], first[0] ** 2)]
    others = [rfft2(each, shape) for each in (second[0], second[1], second[0] ** 2)]
    steps = np.arange(-reach, reach + 1)

    def by_shift(one: Waves, other: Waves) -> Array:
        whole = irfft2(np.conj(one) * other, shape)
        return np.asarray(whole[np.ix_(steps % shape[0], steps % shape[1])], dtype=np.float64)

    together, common = by_shift(ones[0], others[0]), by_shift(ones[1], others[1])
    energy = np.maximum(by_shift(ones[2], others[1]), 0) * np.maximum(by_shift(ones[1], others[2]), 0)
    enough = common >= LEAST_COMMON * min(float(first[1].sum()), float(second[1].sum()))
    good = enough & (energy > (1e-6 * first[0].size) ** 2)
    scores = np.where(good, together / np.sqrt(np.maximum(energy, 1e-12)), 0.0)
    scores[np.hypot(*np.meshgrid(steps, steps)) > reach + 0.5] = 0.0
    return scores.astype(np.float32)


def differing(first: Level, second: Level) -> float:
    """The share of the common picture that differs although one of the two has clear texture there.

    `second` must be aligned with `first`. Shifts of two pixels, as of near things, do not count. It is judged at half the
    size, where noise is less. Raises InputError without OpenCV.
    """
    cv2 = opencv()
    common = first.held & second.held
    if not common.any():
        return 0.0
    bold = common & (np.maximum(first.contrast, second.contrast) > CLEAR * NOISE_CODES)
    half = tuple(max(1, side // 2) for side in common.shape[::-1])
    one, other, mask = (
        cv2.resize(np.where(common, each, 0).astype(np.float32), half, interpolation=cv2.INTER_AREA)
        for each in (first.values, second.values, bold)
    )

    def local(values: Floats) -> Floats:
        return np.asarray(cv2.boxFilter(values, -1, (ALIKE_PX, ALIKE_PX)), dtype=np.float32)

    energy, others = local(one * one), local(other * other)
    best = np.full(one.shape, -1, dtype=np.float32)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            moved = np.roll(other, (-down, -right), axis=(0, 1))
            room = energy * np.roll(others, (-down, -right), axis=(0, 1))
            np.maximum(best, local(one * moved) / np.sqrt(room + np.float32(1e-4)), out=best)
    differs = ((mask > 0.5) & (best < UNLIKE)).astype(np.uint8)
    differs = cv2.morphologyEx(differs, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return min(1.0, float(differs.sum()) * 4 / float(common.sum()))
