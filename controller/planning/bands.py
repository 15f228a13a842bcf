"""What complete rows can cover: the band of latitudes that n equally spaced frames at one pitch close.

Shrink the cores by a margin. A row of n frames covers latitude phi when every yaw within half a step (pi / n) of
a frame lies in that frame's shrunk core. On a meridian each edge of a core allows an interval of latitudes,
A sin(phi) + B cos(phi) >= sin(margin), so the band is an intersection of intervals taken at the frame's own
meridian and at the seam between two frames, where the edges of a core lie farthest in (and half-way, for the one
or two frames that close a pole by themselves).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from controller.optics.field import Field
from controller.planning.directions import Array

SEAM_FRACTIONS = (0.0, 0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Front:
    """The best bands of rows of `count` frames, radians: the higher `low`, the higher `high`.

    Between two neighbouring entries everything is linear; nothing is claimed below the first `low`.
    """

    count: int
    low: Array
    high: Array
    pitch: Array

    def reach(self, latitude: Array) -> Array:
        """The highest latitude closed by a row that begins at or below `latitude`; -inf where none does."""
        reached: Array = np.interp(latitude, self.low, self.high, left=-np.inf)
        return reached

    def pitch_from(self, latitude: float) -> float:
        """The pitch of the row that reaches highest from `latitude`."""
        return float(np.interp(latitude, self.low, self.pitch))


def band(field: Field, count: Array, pitch: Array, margin_rad: float) -> tuple[Array, Array]:
    """Lowest and highest latitude (radians) closed by rows of `count` frames at `pitch`, broadcast together.

    Where a row closes nothing, the lowest exceeds the highest.
    """
    wide, high = field.core_half_width_rad, field.core_half_height_rad
    low_edge = np.full(np.broadcast(count, pitch).shape, -np.pi / 2)
    high_edge = np.full_like(low_edge, np.pi / 2)
    for fraction in SEAM_FRACTIONS:
        away = fraction * np.pi / count
        for a, b in (
            (-np.cos(high + pitch), np.cos(away) * np.sin(high + pitch)),
            (np.cos(high - pitch), np.cos(away) * np.sin(high - pitch)),
            (
                np.sin(wide) * np.sin(pitch),
                np.sin(wide) * np.cos(pitch) * np.cos(away) - np.cos(wide) * np.sin(away),
            ),
        ):
            with np.errstate(invalid="ignore"):
                half = np.arccos(np.sin(margin_rad) / np.hypot(a, b))  # nan: nothing on this meridian
            centre = np.arctan2(a, b)
            low_edge = np.maximum(low_edge, centre - half)
            high_edge = np.minimum(high_edge, centre + half)
    empty = np.isnan(low_edge) | np.isnan(high_edge)
    return np.where(empty, np.inf, low_edge), np.where(empty, -np.inf, high_edge)


def fronts(field: Field, margin_rad: float) -> list[Front]:
    """The fronts of all useful row lengths, shortest row first."""
    wide, high = field.core_half_width_rad - margin_rad, field.core_half_height_rad - margin_rad
    if min(wide, high) <= 0:
        return []
    equator = np.pi / wide  # a row at the horizon needs this many; longer rows only gain a little height
    counts = np.arange(1, int(np.ceil(1.2 * equator)) + 2)
    pitches = np.linspace(-np.pi / 2, np.pi / 2, 1 + 2 * int(np.ceil(max(360, 45 * np.pi / high))))
    low, reach = band(field, counts[:, None].astype(float), pitches[None, :], margin_rad)
    found = (_front(int(n), low[i], reach[i], pitches) for i, n in enumerate(counts))
    return [front for front in found if front is not None]


def _front(count: int, low: Array, high: Array, pitch: Array) -> Front | None:
    """The rows that no other row of the same length beats: sorted by `low`, with `high` growing."""
    kept = np.flatnonzero(low < high)
    kept = kept[np.lexsort((-high[kept], low[kept]))]
    best_before = np.concatenate([[-np.inf], np.maximum.accumulate(high[kept])[:-1]])
    kept = kept[high[kept] > best_before]
    if len(kept) == 0:
        return None
    # Straight lines are drawn between neighbouring pitches only; elsewhere the front steps.
    low_steps, high_steps, pitch_steps = [low[kept[0]]], [high[kept[0]]], [pitch[kept[0]]]
    for before, after in pairwise(kept):
        if abs(int(after) - int(before)) > 1:
            low_steps.append(np.nextafter(low[after], -np.inf))
            high_steps.append(high[before])
            pitch_steps.append(pitch[before])
        low_steps.append(low[after])
        high_steps.append(high[after])
        pitch_steps.append(pitch[after])
    return Front(count, np.array(low_steps), np.array(high_steps), np.array(pitch_steps))
