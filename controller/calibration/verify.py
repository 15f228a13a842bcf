"""A short run that proves the whole: poses visited in random order from both sides, and how well they were met.

Accuracy AP and repeatability RP of each pose as ISO 9283:1998, clause 7.2, defines them (clause from memory), for the two
angles of a direction: AP is how far the middle of all visits lies from the target, RP = mean distance from that middle
plus three standard deviations of the distances.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from controller.calibration.readings import NotBelievable, Readings
from controller.optics.outline import Array

LEAST_VISITS, STANDARD_VISITS = 3, 30  # of each pose; thirty by the standard


@dataclass(frozen=True, slots=True)
class PoseFigures:
    """One pose: its target, visits, accuracy AP and repeatability RP, in degrees on the sky."""

    yaw_deg: float
    pitch_deg: float
    visits: int
    accuracy_deg: float
    repeatability_deg: float


@dataclass(frozen=True, slots=True)
class VerifyResult:
    """The figures of all poses and the worst of them.

    `pooled_repeatability_deg` is the RP of all poses taken together, each visit's distance corrected for the middle being
    their own (by n / (n - 1)); its standard uncertainty is found by leaving out one visit after the other.
    `return_deg` is how far the first pose was missed when it was visited last.
    """

    poses: tuple[PoseFigures, ...]
    accuracy_deg: float
    repeatability_deg: float
    worst_deg: float
    pooled_repeatability_deg: float
    u_pooled_repeatability_deg: float
    freedom: float
    return_deg: float
    misses_deg: Array
    """(n, 2) to the right and upward, in the order of the readings."""


def from_visits(readings: Readings) -> VerifyResult:
    """The figures from `target_yaw_deg`, `target_pitch_deg`, `yaw_deg`, `pitch_deg`, in the order of the visits.

    Raises NotBelievable.
    """
    columns = readings.numbers
    yaw, pitch = columns["target_yaw_deg"], columns["target_pitch_deg"]
    off_yaw = (columns["yaw_deg"] - yaw + 180) % 360 - 180
    misses = np.column_stack([off_yaw * np.cos(np.radians(pitch)), columns["pitch_deg"] - pitch])
    far = np.flatnonzero(np.hypot(*misses.T) > 5)
    if len(far):
        raise NotBelievable(
            f"{readings.name} line {readings.lines[far[0]]}: the pose was missed by {np.hypot(*misses[far[0]]):.3g}°; "
            "were readings mixed up, or are they not in degrees?"
        )
    targets, which = np.unique(np.column_stack([yaw, pitch]), axis=0, return_inverse=True)
    groups = [misses[which == number] for number in range(len(targets))]
    for target, group in zip(targets, groups, strict=True):
        if len(group) < LEAST_VISITS:
            raise NotBelievable(
                f"{readings.name}: yaw {target[0]:g}°, pitch {target[1]:g}° was visited {len(group)} times; visit each "
                f"pose at least {LEAST_VISITS} times, {STANDARD_VISITS} by the standard."
            )
    poses = tuple(
        PoseFigures(float(target[0]), float(target[1]), len(group), *pose_figures(group))
        for target, group in zip(targets, groups, strict=True)
    )
    pooled, u_pooled = _pooled(groups)
    first = np.flatnonzero(which == which[0])
    return VerifyResult(
        poses=poses,
        accuracy_deg=max(pose.accuracy_deg for pose in poses),
        repeatability_deg=max(pose.repeatability_deg for pose in poses),
        worst_deg=max(pose.accuracy_deg + pose.repeatability_deg for pose in poses),
        pooled_repeatability_deg=pooled,
        u_pooled_repeatability_deg=u_pooled,
        # Half of those of the middles: the jackknife's own scatter, found by simulation (see the test of the intervals).
        freedom=(len(misses) - len(groups)) / 2,
        return_deg=float(np.hypot(*(misses[first[-1]] - misses[first[0]]))),
        misses_deg=misses,
    )


def pose_figures(misses: Array) -> tuple[float, float]:
    """AP and RP of one pose from (n, k) misses, n >= 2, in their unit (ISO 9283:1998, clause 7.2)."""
    middle = misses.mean(axis=0)
    distances = np.linalg.norm(misses - middle, axis=1)
    return float(np.linalg.norm(middle)), float(distances.mean() + 3 * distances.std(ddof=1))


def _pooled(groups: Sequence[Array]) -> tuple[float, float]:
    """RP over all poses, and its standard uncertainty by the jackknife (Efron, *The Jackknife*, 1982, section 3)."""
    sums = np.array([_sums(group) for group in groups])
    every = sums.sum(axis=0)
    without = np.array(
        [
            _repeatability(*(every - sums[number] + _sums(np.delete(group, visit, axis=0))))
            for number, group in enumerate(groups)
            for visit in range(len(group))
        ]
    )
    count = len(without)
    u = math.sqrt((count - 1) / count * float(((without - without.mean()) ** 2).sum()))
    return _repeatability(*every), u


def _sums(misses: Array) -> tuple[float, float, float]:
    """Count, sum and sum of squares of the distances from the middle, corrected for the middle being their own."""
    count = len(misses)
    distances = np.linalg.norm(misses - misses.mean(axis=0), axis=1) * math.sqrt(count / (count - 1))
    return float(count), float(distances.sum()), float(distances @ distances)


def _repeatability(count: float, total: float, squares: float) -> float:
    """Mean plus three standard deviations of distances with these sums."""
    mean = total / count
    return mean + 3 * math.sqrt(max(squares - count * mean**2, 0.0) / (count - 1))


def visiting_order(poses: Sequence[tuple[float, float]], visits: int, seed: int) -> list[tuple[float, float, int]]:
    """Yaw, pitch and the side to come from (+1 from below, -1 from above): shuffled, the first again last."""
    round_trips = [(yaw, pitch, 1 if number % 2 == 0 else -1) for number in range(visits) for yaw, pitch in poses]
    Random(seed).shuffle(round_trips)
    return [*round_trips, round_trips[0]]
