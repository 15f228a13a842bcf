"""The fewest frames that complete rows allow, and among those the largest margin.

Choosing rows is a shortest-path problem from the region's lower bound to its upper one. The highest latitude for k frames
follows from the best last row of n frames, starting at the highest latitude for k - n frames. A row that begins lower
never reaches higher than one that begins higher, so keeping only the highest latitude for each k loses nothing. The
largest margin for that many frames is the largest angle by which all cores can be shrunk with the same count. It is found
by bisection.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.errors import InputError
from controller.optics.field import Field
from controller.optics.outline import core_outline
from controller.planning.bands import Front, band, fronts
from controller.planning.directions import Array
from controller.planning.region import Bounds

SMALLEST_MARGIN_RAD = float(np.radians(0.0005))
MARGIN_ERROR = 0.01  # relative to the largest margin
MOST_FRAMES = 40_000
LARGE_MOSAIC = 2000
PITCH_DECIMALS = 4  # finer than any head turns; a row at the horizon is at 0, not at a millionth of a degree


@dataclass(frozen=True, slots=True)
class Row:
    """A row: `count` frames, equally spaced in yaw over the region, at one pitch (degrees)."""

    count: int
    pitch_deg: float


@dataclass(frozen=True, slots=True)
class Task:
    """A search for rows: for `field` over `bounds`, with pitches from `lowest_deg` to `highest_deg`."""

    field: Field
    bounds: Bounds
    lowest_deg: float = -90.0
    highest_deg: float = 90.0

    def fronts(self, margin_rad: float, *, coarse: bool = False) -> list[Front]:
        """The fronts of this task; with `coarse` they are found sooner and reach slightly less."""
        pitches = (float(np.radians(self.lowest_deg)), float(np.radians(self.highest_deg)))
        return fronts(self.field, margin_rad, float(np.radians(self.bounds.yaw_width_deg)), pitches, coarse=coarse)

    def flipped(self) -> "Task":
        """The same task seen from the other pole."""
        bounds = Bounds(
            -self.bounds.pitch_to_deg,
            -self.bounds.pitch_from_deg,
            self.bounds.yaw_from_deg,
            self.bounds.yaw_width_deg,
        )
        return Task(self.field.flipped(), bounds, -self.highest_deg, -self.lowest_deg)


def fewest_rows(task: Task, least_margin_rad: float = SMALLEST_MARGIN_RAD) -> list[Row]:
    """Rows, lowest first, that cover the region with the fewest frames and at least this margin.

    Raises InputError if the core is so small that more than MOST_FRAMES would be needed.
    """
    core_sr = 4 * np.sin(task.field.core_half_width_rad) * np.sin(task.field.core_half_height_rad)
    too_many = task.bounds.solid_angle_sr() / core_sr > MOST_FRAMES  # no core is larger than this
    least = None if too_many else path(task, least_margin_rad)
    if least is None:
        raise InputError(f"This region needs more than {MOST_FRAMES} frames with this lens and overlap.")
    count = sum(row.count for row in least)
    best, low, high = least, least_margin_rad, np.inf
    # In a large mosaic the last bit of margin is far below one step of any head, and each search is expensive.
    fine = SMALLEST_MARGIN_RAD * (0.2 if count <= LARGE_MOSAIC else 4.0)
    while high - low > MARGIN_ERROR * low + fine:
        middle = min(4 * low, (low + high) / 2)
        rows = path(task, middle, count)
        if rows is None:
            high = middle
        else:
            low, best = middle, rows
    return best


def reachable_deg(field: Field, lowest_deg: float, highest_deg: float) -> tuple[float, float]:
    """The latitudes that rows at pitches within the head's limits can cover at a reasonable cost, degrees.

    Reasonable means with frames no closer in yaw than at the horizon. The last sliver beyond a limit would need an
    endless number of frames.
    """
    pitches = np.radians([lowest_deg, highest_deg])
    low, high = band(
        core_outline(field), np.full(2, 2 * field.core_half_width_rad), pitches, np.arange(2), SMALLEST_MARGIN_RAD
    )
    return float(np.degrees(low[0])), float(np.degrees(high[1]))


def path(task: Task, margin_rad: float, most: int = MOST_FRAMES, *, coarse: bool = False) -> list[Row] | None:
    """The rows of the cheapest path with cores shrunk by `margin_rad`, or None if it needs over `most` frames.

    The path is searched from each bound to the horizon, with one of them flipped. Two such paths are joined if together
    they leave no gap.
    """
    other = task.flipped()
    table = task.fronts(margin_rad, coarse=coarse)
    other_table = table if other == task else other.fronts(margin_rad, coarse=coarse)
    if not table or not other_table:
        return None
    below = _walk_to_horizon(table, task.bounds, most)
    above = below if other_table is table else _walk_to_horizon(other_table, other.bounds, most)
    needed = np.searchsorted(above[0], -below[0])
    total = np.where(needed < len(above[0]), needed + np.arange(len(below[0])), most + 1)
    split = int(total.argmin())
    if total[split] > most:
        return None
    upper = _way_back(other_table, *above, int(needed[split]))
    return _way_back(table, *below, split) + [Row(row.count, 0.0 - row.pitch_deg) for row in reversed(upper)]


def _walk_to_horizon(table: list[Front], bounds: Bounds, most: int) -> tuple[Array, NDArray[np.intp]]:
    """For k = 0, 1, ... frames: the highest latitude reached from the bound, and the front of the last row."""
    far = np.full(most + 2 * table[-1].count + 2, -np.inf)
    far[0] = np.radians(bounds.pitch_from_deg)
    last = np.zeros(len(far), dtype=np.intp)
    k = pending = 0
    while far[k] < 0 and k < most and k <= pending:
        # South of the horizon rows only grow longer. So the counts from k up to k plus the next shortest row's length are
        # final and are extended together.
        shortest = next((f.count for f in table if f.reach(far[k]) > far[k]), 1)
        far[k : k + shortest] = np.maximum.accumulate(far[k : k + shortest])
        begin = far[k : k + shortest]
        for index, front in enumerate(table):
            reached = front.reach(begin)
            goal = slice(k + front.count, k + front.count + len(begin))
            better = (reached > far[goal]) & (reached > begin)  # otherwise a row that gains nothing would never end
            if better.any():
                pending = max(pending, goal.stop)
            far[goal][better] = reached[better]
            last[goal][better] = index
        k += shortest
    end = min(k, pending) + table[-1].count + 1
    return np.maximum.accumulate(far[:end]), last[:end]


def _way_back(table: list[Front], farthest: Array, last: NDArray[np.intp], count: int) -> list[Row]:
    """The rows that reach farthest with `count` frames, from the bound up."""
    rows: list[Row] = []
    while count := int(np.searchsorted(farthest, farthest[count])):  # the fewest frames that reach as far
        front = table[last[count]]
        count -= front.count
        pitch_deg = float(np.degrees(front.pitch_from(farthest[count])))
        rows.append(Row(front.count, round(pitch_deg, PITCH_DECIMALS) + 0.0))  # avoids minus zero
    return rows[::-1]
