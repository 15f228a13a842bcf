"""Two neighbours by the cells that both show: which is sharper, in which direction, and which is brighter.

What all pairs say is then fitted to the frames at once, by least squares with a robust loss (P. Huber, Annals of
Mathematical Statistics 35:73, 1964), because people and cars spoil some pairs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.inspection.cells import Cells
from controller.inspection.lens_model import Array, Lens, project, see

FEWEST_CELLS = 12  # that both must show
FLOOR = 1e-9
HUBER, ROUNDS = 1.5, 20
TURN_STEP_PX = 2.0  # for the direction of a picture's right in the other one
WEAK_PRIOR = 1e-3  # of a frame's value, in units of the pairs' noise: only for frames that no pair holds


@dataclass(frozen=True, slots=True, eq=False)
class Common:
    """The cells that two frames share: their numbers in each (n,), and by how much the second picture is turned against
    the first, in radians.
    """

    first: NDArray[np.intp]
    second: NDArray[np.intp]
    turn_rad: float


def common_cells(
    first: Cells, second: Cells, lens: Lens, rotations: tuple[Array, Array], circle_px: float | None
) -> Common | None:
    """The cells that two frames share by their rotations; None if too few."""
    places = first.centres_px()
    numbers = np.arange(len(places))
    if circle_px is not None:
        middle = (np.array(first.size_px) - 1) / 2
        numbers = numbers[np.linalg.norm(places - middle, axis=1) < circle_px]
    between = rotations[1].T @ rotations[0]
    beside = places[numbers] + (TURN_STEP_PX, 0.0)
    there, aside = (project(lens, see(lens, each).rays @ between.T).pixels for each in (places[numbers], beside))
    if circle_px is not None:
        with np.errstate(invalid="ignore"):
            there[np.linalg.norm(there - middle, axis=1) >= circle_px] = np.nan
    cells = second.at(there)
    held = cells >= 0
    if np.count_nonzero(held) < FEWEST_CELLS:
        return None
    way = np.nansum((aside - there)[held], axis=0)
    return Common(numbers[held], cells[held], float(np.arctan2(way[1], way[0])))


@dataclass(frozen=True, slots=True)
class Sharper:
    """How much more detail the first of two frames shows, as logarithms: in all directions (`overall`), and by the cosine
    and sine of twice the direction, in the first picture's axes.
    """

    overall: float
    cosine: float
    sine: float


def sharper(first: Cells, second: Cells, common: Common) -> Sharper | None:
    """Compare two frames where at least one shows much detail. None if there is too little."""
    if first.detail is None or second.detail is None:
        return None
    one = first.detail.reshape(-1, 3)[common.first]
    other = _turned(second.detail.reshape(-1, 3)[common.second], -common.turn_rad)
    total = np.maximum(one[:, 0] + one[:, 1], other[:, 0] + other[:, 1])
    rich = total >= np.median(total)
    if np.count_nonzero(rich) < FEWEST_CELLS // 2:
        return None
    along = [
        float(np.median(np.log((_along(one[rich], angle) + FLOOR) / (_along(other[rich], angle) + FLOOR))))
        for angle in np.pi / 4 * np.arange(4)
    ]
    return Sharper(float(np.mean(along)), (along[0] - along[2]) / 2, (along[1] - along[3]) / 2)


def _along(detail: Array, angle_rad: float) -> Array:
    """The detail (n,) in one direction."""
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return np.asarray(detail[:, 0] * cosine**2 + detail[:, 1] * sine**2 + 2 * detail[:, 2] * cosine * sine)


def _turned(detail: Array, by_rad: float) -> Array:
    """Tensors (n, 3) in axes turned back, so that a direction at angle a is at a + by_rad."""
    cosine, sine = np.cos(by_rad), np.sin(by_rad)
    xx, yy, xy = detail.T
    return np.stack(
        [
            xx * cosine**2 + yy * sine**2 - 2 * xy * cosine * sine,
            xx * sine**2 + yy * cosine**2 + 2 * xy * cosine * sine,
            (xx - yy) * cosine * sine + xy * (cosine**2 - sine**2),
        ],
        axis=1,
    )


def brighter_ev(first: Cells, second: Cells, common: Common) -> float | None:
    """How many EV brighter the first of two frames is where both show neither black nor clipped. None if too little."""
    ratio = first.light.ravel()[common.first] / second.light.ravel()[common.second]
    ratio = ratio[np.isfinite(ratio)]
    return float(np.median(np.log2(ratio))) if len(ratio) >= FEWEST_CELLS else None


def levels(count: int, pairs: Sequence[tuple[int, int]], differences: Sequence[float]) -> Array:
    """The values (count,) of frames whose differences, first minus second, fit pairs best; their median is 0.

    Frames without a pair get NaN.
    """
    rows = np.zeros((len(pairs), count))
    for row, (one, other) in enumerate(pairs):
        rows[row, one], rows[row, other] = 1.0, -1.0
    return _fitted(rows, np.asarray(differences, dtype=float), _held(count, pairs))


def directions(
    count: int, pairs: Sequence[tuple[int, int]], found: Sequence[Sharper], turns_rad: Sequence[float]
) -> Array:
    """For each frame how its detail depends on the direction, (count, 2): by cosine and sine of twice the direction in
    its own picture, as logarithms. Frames without a pair get NaN.
    """
    rows, seen = np.zeros((2 * len(pairs), 2 * count)), np.zeros(2 * len(pairs))
    for number, ((one, other), each, turn) in enumerate(zip(pairs, found, turns_rad, strict=True)):
        cosine, sine = np.cos(2 * turn), np.sin(2 * turn)
        place = slice(2 * number, 2 * number + 2)
        rows[place, 2 * one : 2 * one + 2] = np.eye(2)
        rows[place, 2 * other : 2 * other + 2] = -np.array([[cosine, sine], [-sine, cosine]])
        seen[place] = each.cosine, each.sine
    held = np.repeat(_held(count, pairs), 2)
    return _fitted(rows, seen, held, centred=False).reshape(count, 2)


def _held(count: int, pairs: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    held = np.zeros(count, dtype=bool)
    held[[frame for pair in pairs for frame in pair]] = True
    return held


def _fitted(rows: Array, seen: Array, held: NDArray[np.bool_], *, centred: bool = True) -> Array:
    values = np.full(len(held), np.nan)
    if not held.any():
        return values
    rows = rows[:, held]
    # Without this, a frame's value would be free together with all that it is compared with.
    weak = WEAK_PRIOR * np.eye(rows.shape[1])
    weights = np.ones(len(seen))
    found = np.zeros(rows.shape[1])
    for _ in range(ROUNDS):
        found = np.linalg.lstsq(
            np.concatenate([rows * weights[:, None], weak]),
            np.concatenate([seen * weights, np.zeros(len(weak))]),
            rcond=None,
        )[0]
        off = np.abs(seen - rows @ found)
        noise = max(float(np.median(off)) / 0.6745, 1e-6)
        weights = np.sqrt(np.minimum(1.0, HUBER * noise / np.maximum(off, FLOOR)))
    values[held] = found - np.median(found) if centred else found
    return values
