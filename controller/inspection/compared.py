"""Frames against their neighbours: what pairs say of light and detail, fitted to the frames.

All pairs are fitted at once, by least squares with a robust loss (P. Huber, Annals of
Mathematical Statistics 35:73, 1964), because people and cars spoil some pairs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from controller.inspection.cells import Cells
from controller.inspection.detail import Sharper
from controller.inspection.lens_model import Array, BrownLens, project, see

FEWEST_CELLS = 12  # that both must show
LEAST_UNSURE = 0.1  # of a logarithm of detail: no two pictures show it more alike
FLOOR = 1e-9
HUBER, ROUNDS = 1.5, 20
# Weights of 0 beside one pair: what a dozen frames share is their exposure's.
FRAME_PRIOR, KIND_PRIOR, COMMON_PRIOR = 0.2, 0.4, 0.05
MEDIAN_OF_NORMAL, LEAST_NOISE = 0.6745, 0.02  # of absolute values; logarithms fit no better than this


@dataclass(frozen=True, slots=True, eq=False)
class Common:
    """The cells that two frames share: their numbers in each (n,)."""

    first: NDArray[np.intp]
    second: NDArray[np.intp]


def common_cells(
    first: Cells, second: Cells, lens: BrownLens, rotations: tuple[Array, Array], circle_px: float | None
) -> Common | None:
    """The cells that two frames share by their rotations; None if too few."""
    places = first.centres_px()
    numbers = np.arange(len(places))
    if circle_px is not None:
        middle = (np.array(first.size_px) - 1) / 2
        numbers = numbers[np.linalg.norm(places - middle, axis=1) < circle_px]
    between = rotations[1].T @ rotations[0]
    there = project(lens, see(lens, places[numbers]).rays @ between.T).pixels
    if circle_px is not None:
        with np.errstate(invalid="ignore"):
            there[np.linalg.norm(there - middle, axis=1) >= circle_px] = np.nan
    cells = second.at(there)
    held = cells >= 0
    if np.count_nonzero(held) < FEWEST_CELLS:
        return None
    return Common(numbers[held], cells[held])


@dataclass(frozen=True, slots=True, eq=False)
class Brighter:
    """How many EV brighter the first of two frames is, and how much further out in it the common part is: the differences
    of the second, fourth and sixth power of the distance from the middle, (3,). Vignetting is a sum of these.
    """

    ev: float
    outward: Array


def brighter(first: Cells, second: Cells, common: Common) -> Brighter | None:
    """Compare two frames where both show neither black nor clipped. None if that is too little."""
    ratio = first.light.ravel()[common.first] / second.light.ravel()[common.second]
    known = np.isfinite(ratio)
    if np.count_nonzero(known) < FEWEST_CELLS:
        return None
    squares = [_outward(cells)[numbers[known]] for cells, numbers in ((first, common.first), (second, common.second))]
    outward = [float(np.mean(squares[0] ** power - squares[1] ** power)) for power in (1, 2, 3)]
    return Brighter(float(np.median(np.log2(ratio[known]))), np.array(outward))


def _outward(cells: Cells) -> Array:
    """The squared distance of each cell from the picture's middle; 1 at the corners."""
    middle = (np.array(cells.size_px) - 1) / 2
    return np.asarray(np.sum((cells.centres_px() - middle) ** 2, axis=1) / np.sum(middle**2))


def levels(
    count: int,
    pairs: Sequence[tuple[int, int]],
    differences: Sequence[float],
    *,
    kinds: Sequence[int] | None = None,
    unsure: Sequence[float] | None = None,
    common: Sequence[Array] | None = None,
) -> Array:
    """The values (count,) of frames whose differences, first minus second, fit pairs best; their median is 0.

    `kinds` (count,) is the exposure of each frame: what all frames of one exposure have in common is the exposure's, and
    left out. So is what `common` terms of each pair explain, such as vignetting. `unsure` are the pairs' standard
    uncertainties. Frames without a pair get NaN.
    """
    if not pairs:
        return np.full(count, np.nan)
    sign = np.zeros((len(pairs), count))
    for row, (one, other) in enumerate(pairs):
        sign[row, one], sign[row, other] = 1.0, -1.0
    known = sorted(set(kinds or ()))
    by_kind = sign @ np.array([[kind == each for each in known] for kind in kinds or [0] * count], dtype=float)
    shared = np.array(common, dtype=float) if common is not None else np.zeros((len(pairs), 0))
    held = np.concatenate([_held(count, pairs), np.ones(len(known) + shared.shape[1], dtype=bool)])
    prior = np.concatenate(
        [np.full(count, FRAME_PRIOR), np.full(len(known), KIND_PRIOR), np.full(shared.shape[1], COMMON_PRIOR)]
    )
    share = _shares(unsure, len(pairs))
    rows = np.concatenate([sign, by_kind, shared], axis=1)
    values = _fitted(rows * share[:, None], np.asarray(differences, dtype=float) * share, held, prior)[:count]
    return np.asarray(values - np.nanmedian(values))


def directions(count: int, pairs: Sequence[tuple[int, int]], found: Sequence[Sharper]) -> Array:
    """For each frame how its detail depends on the direction, (count, 2): by cosine and sine of twice the direction in
    its own picture, as logarithms. Frames without a pair get NaN.

    A lens stretches things toward the picture's edge, which changes their detail in one direction. By how much, all pairs
    together tell, and it is left out.
    """
    if not pairs:
        return np.full((count, 2), np.nan)
    rows, seen = np.zeros((2 * len(pairs), 2 * count + 1)), np.zeros(2 * len(pairs))
    for number, ((one, other), each) in enumerate(zip(pairs, found, strict=True)):
        cosine, sine = np.cos(2 * each.turn_rad), np.sin(2 * each.turn_rad)
        place = slice(2 * number, 2 * number + 2)
        rows[place, 2 * one : 2 * one + 2] = np.eye(2)
        rows[place, 2 * other : 2 * other + 2] = -np.array([[cosine, sine], [-sine, cosine]])
        rows[place, -1] = each.stretch
        seen[place] = each.along
    held = np.append(np.repeat(_held(count, pairs), 2), True)
    share = np.repeat(_shares([one.unsure_along for one in found], len(found)), 2)
    prior = np.append(np.full(2 * count, FRAME_PRIOR), COMMON_PRIOR)
    return _fitted(rows * share[:, None], seen * share, held, prior)[:-1].reshape(count, 2)


def _shares(unsure: Sequence[float] | None, count: int) -> Array:
    """How much pairs count that are as unsure as this, up to 1."""
    return np.ones(count) if unsure is None else LEAST_UNSURE / np.hypot(LEAST_UNSURE, np.asarray(unsure, dtype=float))


def _held(count: int, pairs: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    held = np.zeros(count, dtype=bool)
    held[[frame for pair in pairs for frame in pair]] = True
    return held


def _fitted(rows: Array, seen: Array, held: NDArray[np.bool_], prior: Array) -> Array:
    values = np.full(len(held), np.nan)
    if not len(seen):
        return values
    weak = np.diag(prior[held] ** 2)
    filled = csr_array(rows[:, held])  # each pair is about two frames among hundreds
    weights: Array = np.ones(len(seen))
    found: Array = np.zeros(len(weak))
    for _ in range(ROUNDS):
        weighted = csr_array(filled.multiply(weights[:, None]))
        found = np.asarray(np.linalg.solve((filled.T @ weighted).toarray() + weak, weighted.T @ seen), dtype=np.float64)
        off = np.abs(seen - filled @ found)
        noise = max(float(np.median(off)) / MEDIAN_OF_NORMAL, LEAST_NOISE)
        weights = np.minimum(1.0, HUBER * noise / np.maximum(off, FLOOR))
    values[held] = found
    return values
