"""The band of latitudes that n equally spaced frames at one pitch cover completely.

Shrink the cores by a margin. Each frame of a row is responsible for an equal share of the yaw, half of it to either side.
A row covers latitude phi if every yaw of that share is inside the frame's shrunk core. On a meridian each cap of a core
allows an interval of latitudes, A sin(phi) + B cos(phi) >= cos(radius - margin). The band is the intersection of these
intervals over all meridians of the share. For great circles the frame's own meridian and the seams between two frames
decide, because the edges are farthest in there. Curved edges, and the few frames that close a pole by themselves, are
checked on more meridians.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.optics.field import Field
from controller.optics.outline import Outline, core_outline
from controller.planning.cores import place
from controller.planning.directions import Array
from controller.planning.intervals import longest_run

Numbers = NDArray[np.intp]
TURN = 2 * np.pi
STEEP = 4.0  # above this growth of a band's lower bound with pitch, linear interpolation may claim too much
FEW_MERIDIANS = (0.0, 0.5, 1.0)  # as shares of the way from the frame to the seam
MANY_MERIDIANS = tuple(np.linspace(0.0, 1.0, 9))
WIDE_SHARE = np.pi / 2
PITCHES_PER_CORE = 16
FEWEST_PITCHES = 3600
FEWEST_PITCHES_CURVED = 240  # each evaluation costs more, and frames are few and wide


@dataclass(frozen=True, slots=True)
class Front:
    """The best bands of rows of `count` frames, radians, sorted by `low`; `high` grows with it.

    It interpolates linearly between neighbouring entries and claims nothing below the first `low`.
    """

    count: int
    low: Array
    high: Array
    pitch: Array

    def reach(self, latitude: Array) -> Array:
        """The highest latitude covered by a row that begins at or below `latitude`; -inf if there is none."""
        reached: Array = np.interp(latitude, self.low, self.high, left=-np.inf)
        return reached

    def pitch_from(self, latitude: float) -> float:
        """The pitch of the row that reaches highest and begins at or below `latitude`."""
        return float(np.interp(latitude, self.low, self.pitch))


def band(outline: Outline, share: Array, pitches: Array, number: Numbers, margin_rad: float) -> tuple[Array, Array]:
    """Lowest and highest latitude covered by rows at `pitches[number]` with a `share` of yaw for each frame.

    All in radians; `share` and `number` have shape (k,), one entry a row. If a row covers nothing, the lowest exceeds the
    highest.
    """
    wide = share > WIDE_SHARE
    if wide.any() and not wide.all():
        low, high = np.empty(len(share)), np.empty(len(share))
        for some in (wide, ~wide):
            low[some], high[some] = band(outline, share[some], pitches, number[some], margin_rad)
        return low, high
    symmetric = np.allclose(np.abs(outline.poles[0, :, 1]), np.abs(outline.poles[1, :, 1]))
    placed = place(outline, np.zeros(len(pitches)), np.degrees(pitches))
    lean = lean_rad(outline, pitches)
    x, y, z = np.moveaxis(placed.poles, -1, 0)
    limit = np.cos(np.clip(outline.radii - margin_rad, 0, np.pi))
    low, high = np.full(len(share), -np.pi / 2), np.full(len(share), np.pi / 2)
    pitch = pitches[number]
    edges = [edge for edge in range(len(outline.radii)) if edge != 1 or not symmetric]  # 1 is the left edge
    few = outline.radii.shape[1] == 1 and not wide.any()
    for fraction in FEW_MERIDIANS if few else MANY_MERIDIANS:
        for side in (1,) if symmetric or fraction == 0 else (1, -1):
            away = (lean[number] + side * fraction * share / 2)[:, None]
            cos_away, sin_away = np.cos(away), np.sin(away)
            for edge in edges:
                height = z[number, edge]
                across = x[number, edge] * cos_away + y[number, edge] * sin_away
                ratio = limit[edge] / np.maximum(np.sqrt(height * height + across * across), 1e-300)
                half = np.arccos(np.clip(ratio, -1, 1))
                half[ratio > 1], half[ratio < -1] = -np.inf, np.inf
                centre = np.arctan2(height, across) - pitch[:, None]
                centre -= TURN * np.round(centre / TURN)
                start, end = longest_run(centre - half, centre + half)
                np.maximum(low, start + pitch, out=low)
                np.minimum(high, end + pitch, out=high)
    return low, high


def lean_rad(outline: Outline, pitch: Array) -> Array:
    """How far the middle of a frame's share of yaw is to the right of its axis, for a core that is wider to one side."""
    right, left = (np.arctan2(outline.poles[edge, 0, 0], np.abs(outline.poles[edge, 0, 1])) for edge in (0, 1))
    lean: Array = (right - left) / 2 / np.maximum(np.cos(pitch), 0.2)
    return lean


def fronts(
    field: Field, margin_rad: float, yaw_rad: float, pitches_rad: tuple[float, float], *, coarse: bool = False
) -> list[Front]:
    """The fronts of all useful row lengths, shortest row first; `coarse` looks at few pitches.

    `yaw_rad` is the yaw that a row must close, `pitches_rad` the pitches that the head can take.
    """
    wide, high = field.core_half_width_rad - margin_rad, field.core_half_height_rad - margin_rad
    if min(wide, high) <= 0:
        return []
    horizon = yaw_rad / 2 / wide  # a row at the horizon needs this many; longer rows gain only a little height
    counts = np.arange(1, int(np.ceil(1.2 * horizon)) + 2)
    outline = core_outline(field)
    fewest = FEWEST_PITCHES_CURVED if coarse or outline.radii.shape[1] > 1 else FEWEST_PITCHES
    steps = max(fewest, 2 * PITCHES_PER_CORE * np.pi / high)
    # A row is used only if it begins south of the horizon.
    lowest, highest = pitches_rad[0], max(min(pitches_rad[1], 2 * high), pitches_rad[0])
    pitches = np.linspace(lowest, highest, 1 + 2 * int(np.ceil(steps / 2 * (highest - lowest) / np.pi)))
    index, pitch = _worth_trying(yaw_rad / counts, pitches, wide, outline.reach_rad)
    low, reach = band(outline, yaw_rad / counts[index], pitches, pitch, margin_rad)
    ends = np.searchsorted(index, np.arange(len(counts) + 1))
    found = (
        _front(int(n), low[a:b], reach[a:b], pitches[pitch[a:b]])
        for n, (a, b) in zip(counts, pairwise(ends), strict=True)
    )
    return [front for front in found if front is not None]


def _worth_trying(share: Array, pitch: Array, wide: float, reach: float) -> tuple[Numbers, Numbers]:
    """Rows worth evaluating: numbers into `share` and `pitch`, sorted by share.

    A frame with corners at `reach` sees no yaw farther away than asin(sin(reach) / cos(pitch)), unless it sees the pole.
    A row with about three times the frames that its own pitch needs is never worth it.
    """
    with np.errstate(invalid="ignore"):
        most = np.where(np.abs(pitch) + reach < np.pi / 2, np.arcsin(np.sin(reach) / np.cos(pitch)), np.pi)
    least = 0.35 * np.minimum(wide / np.maximum(np.cos(pitch), 1e-9), np.pi / 4)
    half = share[:, None] / 2
    index, number = np.nonzero((half <= most) & ((half >= least) | (share[:, None] == share[0])))
    return index, number


def _front(count: int, low: Array, high: Array, pitch: Array) -> Front | None:
    """The rows that no other row of the same length beats, sorted by `low` with `high` growing."""
    kept = np.flatnonzero(low < high)
    kept = kept[np.lexsort((-high[kept], low[kept]))]
    best_before = np.concatenate([[-np.inf], np.maximum.accumulate(high[kept])[:-1]])
    kept = kept[high[kept] > best_before]
    if len(kept) == 0:
        return None
    # Interpolate only between neighbouring pitches, and not where the bound jumps (a row that only just covers the
    # horizon). There the front steps: level from the entry before, to just short of the next.
    steep = np.diff(low[kept]) > STEEP * np.abs(pitch[1] - pitch[0]) if len(pitch) > 1 else np.zeros(len(kept) - 1, bool)
    jump = np.flatnonzero((np.abs(np.diff(kept)) > 1) | steep) + 1
    low = np.insert(low[kept], jump, np.nextafter(low[kept[jump]], -np.inf))
    return Front(
        count,
        low,
        np.insert(high[kept], jump, high[kept[jump - 1]]),
        np.insert(pitch[kept], jump, pitch[kept[jump - 1]]),
    )
