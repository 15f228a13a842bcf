"""What is known of each file and each exposure before they are paired, as values without pictures or databases."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
NUMBERS = 10_000  # file numbers begin again after 9999: DCF, CIPA DC-009. From memory
MOST_OUT_OF_ORDER = 0.02  # of the files; where more numbers fall back, they do not count shots
SHUTTER_RATIO = 1.3  # shutter times are written rounded (1/60 for 1/64), by less than this


@dataclass(frozen=True, slots=True)
class FileStamp:
    """A file: when it was taken by the camera's clock, for how long (0: it does not say), and the number in its name."""

    at_s: float
    shutter_s: float = 0.0
    number: int | None = None


@dataclass(frozen=True, slots=True)
class ExposureStamp:
    """An exposure: when the shutter was told to open by the session's clock, and for how long.

    `made` is whether it counts as made, `confirmed` whether the camera itself said so.
    """

    at_s: float
    shutter_s: float
    made: bool = True
    confirmed: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Files and exposures as arrays, both in their order.

    `at_s`, (files,): the beginning of the tick in which the clock stood, `tick_s` long. `gaps`, (files,): how many
    numbers are left out before a file, -1 where that is not known. `planned_s` and `shutter_s`, (exposures,): when each
    opened and for how long. `alike`, (files, distinct shutter times) picked by `which` (exposures,): 1 the shutter time
    is the exposure's, -1 it is another, 0 the file does not say. `usual`, (files,): whether a file's shutter time is any
    of the session's, or unknown. `made_before` and `sure_before`, (exposures + 1,): how many of the exposures before each
    count as made, and are confirmed.
    """

    at_s: Array
    tick_s: float
    gaps: NDArray[np.int64]
    planned_s: Array
    shutter_s: Array
    alike: NDArray[np.int8]
    which: NDArray[np.int64]
    usual: NDArray[np.bool_]
    made_before: NDArray[np.int64]
    sure_before: NDArray[np.int64]

    def without_shutters(self) -> "Evidence":
        """The same, but for shutter times: a camera whose bracket fell out of turn has them all elsewhere."""
        return replace(self, alike=np.zeros_like(self.alike), usual=np.ones_like(self.usual))


def evidence_of(files: Sequence[FileStamp], exposures: Sequence[ExposureStamp]) -> Evidence:
    """Gather what files and exposures say; files in the order of their times, exposures likewise; at least one of
    each.
    """
    at = np.array([file.at_s for file in files])
    shutter = np.array([exposure.shutter_s for exposure in exposures])
    distinct, which = np.unique(shutter, return_inverse=True)
    alike = _alike(np.array([file.shutter_s for file in files]), distinct)
    made = np.array([exposure.made for exposure in exposures])
    sure = np.array([exposure.made and exposure.confirmed for exposure in exposures])
    return Evidence(
        at_s=at,
        tick_s=tick_of(at),
        gaps=_gaps([file.number for file in files]),
        planned_s=np.array([exposure.at_s for exposure in exposures]),
        shutter_s=shutter,
        alike=alike,
        which=which,
        usual=np.asarray((alike >= 0).any(axis=1)),
        made_before=np.concatenate([[0], np.cumsum(made)]),
        sure_before=np.concatenate([[0], np.cumsum(sure)]),
    )


def same_shutter(one_s: float, other_s: float) -> bool:
    """Whether two shutter times are one, as far as they are written."""
    return max(one_s / other_s, other_s / one_s) < SHUTTER_RATIO


def tick_of(at_s: Array) -> float:
    """How finely a camera's clock is written: 1 s, or a tenth, hundredth or thousandth of it.

    A camera that writes the same fraction every time does not know it.
    """
    fractions = np.round(at_s % 1.0, 3) % 1.0
    if len(np.unique(fractions)) <= 1:
        return 1.0
    for tick in (0.1, 0.01):
        if np.allclose(np.round(fractions / tick) * tick, fractions, atol=1e-4):
            return tick
    return 0.001


def _alike(shutter_s: Array, distinct_s: Array) -> NDArray[np.int8]:
    known = (shutter_s[:, None] > 0) & (distinct_s[None, :] > 0)
    ratio = np.where(known, shutter_s[:, None], 1.0) / np.where(known, distinct_s[None, :], 1.0)
    same = np.maximum(ratio, 1 / ratio) < SHUTTER_RATIO
    return np.where(known, np.where(same, 1, -1), 0).astype(np.int8)


def _gaps(numbers: Sequence[int | None]) -> NDArray[np.int64]:
    """Numbers left out before each file. Where numbers do not count upward with time they say nothing at all."""
    gaps = np.full(len(numbers), -1, dtype=np.int64)
    if any(number is None for number in numbers) or len(numbers) < 2:
        return gaps
    steps = np.diff(np.array(numbers, dtype=np.int64))
    steps = np.where(steps <= -NUMBERS // 2, steps + NUMBERS - 1, steps)  # 9999 is followed by 1
    if np.mean(steps <= 0) > MOST_OUT_OF_ORDER:
        return gaps
    gaps[1:] = np.where(steps > 0, steps - 1, -1)
    return gaps
