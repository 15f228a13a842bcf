"""The fewest frames that complete rows allow, and among those the largest margin.

Choosing rows is a shortest-path problem from the nadir to the zenith: with k frames one gets as far north as the
best last row of n frames gets from where k - n frames had got. A row that begins lower never gets less far, so
keeping only the farthest latitude for each k loses nothing. The largest margin with that many frames is the
largest angle by which all cores can be shrunk while the count stays the same, found by bisection.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.errors import InputError
from controller.optics.field import Field
from controller.planning.bands import Front, fronts
from controller.planning.directions import Array

SMALLEST_MARGIN_RAD = float(np.radians(0.0005))
MARGIN_STEPS = 14
MOST_FRAMES = 40_000
PITCH_DECIMALS = 4  # finer than any head turns, and a row at the horizon is at 0, not at a millionth of a degree


@dataclass(frozen=True, slots=True)
class Row:
    """A complete row: `count` frames, equally spaced in yaw, at one pitch (degrees)."""

    count: int
    pitch_deg: float


def fewest_rows(field: Field) -> list[Row]:
    """Rows from the nadir to the zenith that cover the sphere with the fewest frames.

    Raises InputError when the core is so small that more than MOST_FRAMES would be needed.
    """
    least = _path(field, SMALLEST_MARGIN_RAD)
    if least is None:
        raise InputError(f"a full sphere with this lens and overlap needs more than {MOST_FRAMES} frames.")
    count = sum(row.count for row in least)
    best, low, high = least, SMALLEST_MARGIN_RAD, min(field.core_half_width_rad, field.core_half_height_rad)
    high /= 4
    for _ in range(MARGIN_STEPS):
        middle = (low + high) / 2
        rows = _path(field, middle, count)
        if rows is None:
            high = middle
        else:
            low, best = middle, rows
    return best


def _path(field: Field, margin_rad: float, most: int = MOST_FRAMES) -> list[Row] | None:
    """The rows of the cheapest path with cores shrunk by `margin_rad`, None if it needs over `most` frames.

    The sphere is the same seen from either pole, so the way is found from the nadir to the horizon only, and
    two such ways, one of them turned over, are joined where together they leave nothing open.
    """
    table = fronts(field, margin_rad)
    if not table:
        return None
    farthest, last = _walk_to_horizon(table, most)
    needed = np.searchsorted(farthest, -farthest)
    total = np.where(needed < len(farthest), needed + np.arange(len(farthest)), most + 1)
    south = int(total.argmin())
    if total[south] > most:
        return None
    below = _way_back(table, farthest, last, south)
    above = _way_back(table, farthest, last, int(needed[south]))
    return below + [Row(row.count, 0.0 - row.pitch_deg) for row in reversed(above)]


def _walk_to_horizon(table: list[Front], most: int) -> tuple[Array, NDArray[np.intp]]:
    """For k = 0, 1, ... frames: the highest latitude reached from the nadir, and which front came last."""
    far = np.full(most + table[-1].count + 2, -np.inf)
    far[0] = -np.pi / 2
    last = np.zeros(len(far), dtype=np.intp)
    k = 0
    while far[k] < 0 and k < most:
        # South of the horizon rows only grow longer, so nothing within the next shortest row's length of k can
        # still be improved from k or later: that many counts are final and are extended together.
        shortest = next((f.count for f in table if f.reach(far[k]) > far[k]), 1)
        far[k : k + shortest] = np.maximum.accumulate(far[k : k + shortest])
        begin = far[k : k + shortest]
        for index, front in enumerate(table):
            reached = front.reach(begin)
            goal = slice(k + front.count, k + front.count + len(begin))
            better = reached > far[goal]
            far[goal][better] = reached[better]
            last[goal][better] = index
        k += shortest
    end = k + table[-1].count + 1
    return np.maximum.accumulate(far[:end]), last[:end]


def _way_back(table: list[Front], farthest: Array, last: NDArray[np.intp], count: int) -> list[Row]:
    """The rows that reach farthest with `count` frames, from the nadir up."""
    rows: list[Row] = []
    while count := int(np.searchsorted(farthest, farthest[count])):  # the fewest frames that get as far
        front = table[last[count]]
        count -= front.count
        pitch_deg = float(np.degrees(front.pitch_from(farthest[count])))
        rows.append(Row(front.count, round(pitch_deg, PITCH_DECIMALS) + 0.0))  # no minus zero
    return rows[::-1]
