"""The facts about each file and each exposure before pairing, as values without pictures or databases."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.matching.sequence import order_of

Array = NDArray[np.float64]
SHUTTER_RATIO = 1.3  # shutter times are written rounded (1/60 for 1/64), by less than this


@dataclass(frozen=True, slots=True)
class FileStamp:
    """A file: its time by the camera's clock, its shutter time (0: unknown), and the number in its name."""

    at_s: float
    shutter_s: float = 0.0
    number: int | None = None


@dataclass(frozen=True, slots=True)
class ExposureStamp:
    """An exposure: when the shutter was told to open, by the session's clock, and its shutter time.

    `made` is whether it counts as made, `confirmed` whether the camera itself confirmed it.
    """

    at_s: float
    shutter_s: float
    made: bool = True
    confirmed: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Files in the order of shooting and exposures in the order of time, as arrays.

    - `files`, (files,): index among the given files; `numbered`: whether the numbers in their names gave the order.
    - `at_s`, (files,): the beginning of the clock tick shown, `tick_s` long.
    - `gaps`, (files,): how many numbers are missing before a file, -1 if unknown.
    - `room` and `tied`, (files,): see `sequence.Order`.
    - `planned_s` and `shutter_s`, (exposures,): opening time and shutter time.
    - `alike`, (files, distinct shutter times) indexed by `which` (exposures,): 1 if the shutter time is the exposure's,
      -1 if it is another, 0 if the file does not say or it could be either; for tied files, the best. `own`: before that.
    - `usual`, (files,): whether a file's shutter time is unknown or one of the session's.
    - `made_before` and `sure_before`, (exposures + 1,): how many earlier exposures count as made, and are confirmed.
    - `kinds`: files with the exposures that they may be by shutter time.
    """

    files: NDArray[np.int64]
    numbered: bool
    at_s: Array
    tick_s: float
    gaps: NDArray[np.int64]
    room: NDArray[np.bool_]
    tied: NDArray[np.int64]
    planned_s: Array
    shutter_s: Array
    alike: NDArray[np.int8]
    own: NDArray[np.int8]
    which: NDArray[np.int64]
    usual: NDArray[np.bool_]
    made_before: NDArray[np.int64]
    sure_before: NDArray[np.int64]
    kinds: tuple[tuple[NDArray[np.int64], NDArray[np.int64]], ...]

    def without_shutters(self) -> "Evidence":
        """The same without shutter times, for a camera that followed none of the planned ones."""
        unknown = np.zeros_like(self.alike)
        kinds = _kinds(unknown, self.which)
        return replace(self, alike=unknown, own=unknown, usual=np.ones_like(self.usual), kinds=kinds)


def evidence_of(files: Sequence[FileStamp], exposures: Sequence[ExposureStamp], since_s: Array | None = None) -> Evidence:
    """Collect the facts of files and exposures, at least one of each; exposures must be in the order of time.

    `since_s`, (files,), are corrected times that order the files if their names do not.
    """
    at = np.array([file.at_s for file in files])
    order = order_of(at, [file.number for file in files], since_s)
    shutter = np.array([exposure.shutter_s for exposure in exposures])
    distinct, which = np.unique(shutter, return_inverse=True)
    own = _alike(np.array([file.shutter_s for file in files])[order.files], distinct)
    alike = _best_of_tied(own, order.tied)
    made = np.array([exposure.made for exposure in exposures])
    sure = np.array([exposure.made and exposure.confirmed for exposure in exposures])
    return Evidence(
        files=order.files,
        numbered=order.numbered,
        at_s=at[order.files],
        tick_s=tick_of(at),
        gaps=order.gaps,
        room=order.room,
        tied=order.tied,
        planned_s=np.array([exposure.at_s for exposure in exposures]),
        shutter_s=shutter,
        alike=alike,
        own=own,
        which=which,
        usual=np.asarray((own >= 0).any(axis=1)),
        made_before=np.concatenate([[0], np.cumsum(made)]),
        sure_before=np.concatenate([[0], np.cumsum(sure)]),
        kinds=_kinds(alike, which),
    )


def _kinds(alike: NDArray[np.int8], which: NDArray[np.int64]) -> tuple[tuple[NDArray[np.int64], NDArray[np.int64]], ...]:
    found, kind = np.unique(alike >= 0, axis=0, return_inverse=True)
    return tuple((np.flatnonzero(kind == n), np.flatnonzero(allowed[which])) for n, allowed in enumerate(found))


def same_shutter(one_s: float, other_s: float) -> bool:
    """Whether two shutter times are the same within the rounding of written ones."""
    return max(one_s / other_s, other_s / one_s) < SHUTTER_RATIO


def tick_of(at_s: Array) -> float:
    """The resolution of a camera's clock: 1 s, or a tenth, hundredth or thousandth of it.

    A camera that always writes the same fraction does not know it.
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
    off = np.maximum(ratio, 1 / ratio)
    nearest = off <= off.min(axis=1, keepdims=True) * 1.02
    same = np.where(nearest, 1, 0)  # steps of a third of a stop are as close as a rounded value
    return np.where(known, np.where(off < SHUTTER_RATIO, same, -1), 0).astype(np.int8)


def _best_of_tied(alike: NDArray[np.int8], tied: NDArray[np.int64]) -> NDArray[np.int8]:
    best = alike.copy()
    for group in np.unique(tied[tied >= 0]):
        best[tied == group] = alike[tied == group].max(axis=0)
    return best
