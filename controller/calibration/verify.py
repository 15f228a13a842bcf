"""A short run that verifies the whole: poses visited in random order from both sides, and the errors of each visit.

Accuracy AP and repeatability RP of each pose as ISO 9283:1998, clause 7.2, defines them (clause from memory), for the two
angles of a direction. AP is the distance of the mean of all visits from the target. RP is the mean distance from that
mean plus three standard deviations of the distances.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

import numpy as np
from numpy.typing import NDArray
from scipy.special import ellipe, stdtr

from controller.calibration import order
from controller.calibration.estimate import Circumstances, Estimate, estimate, order_separates_drift
from controller.calibration.finding import Stated
from controller.calibration.least_squares import OUTLIER_P, Fit, fit
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.resolution import rounding_sd
from controller.calibration.spread import Interval, is_larger, largest, scatter
from controller.optics.outline import Array

LEAST_POSES, APART_DEG = 3, 10.0  # the fewest that are not on one line. Our own choice; the standard has five
LEAST_VISITS, STANDARD_VISITS = 3, 30  # of each pose; thirty by the standard
CORRELATION_P = 0.01  # chance by which independent visits correlate as much as those that are refused. Our own choice.
MOST_CORRELATION = 0.6  # correlation of successive visits that must be excluded: above it, scatter tells little
SHUFFLE = "visit the poses in shuffled order, the first again at the end, and each more often"


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
    """The figures of each pose and of the worst, with intervals that contain the true ones in 95 of 100 cases, degrees.

    `pooled` is the RP of all poses together. Each visit's distance is corrected because the mean is the visits' own (by
    n / (n - 1)). `returned` is the error of the first pose at its last visit, and its interval.
    """

    poses: tuple[PoseFigures, ...]
    accuracy: Interval
    repeatability: Interval
    worst: Interval
    pooled: Interval
    returned: Interval
    misses_deg: Array
    """Errors (n, 2) to the right and upward, in the order of the readings."""
    resolution_deg: float
    stated: Stated


def from_visits(readings: Readings, reading_error_deg: float | None = None) -> VerifyResult:
    """The figures from `target_yaw_deg`, `target_pitch_deg`, `yaw_deg`, `pitch_deg`, in the order of the visits.

    `reading_error_deg` is the instrument's own standard uncertainty in either angle. Raises ReadingsRefused.
    """
    columns = readings.numbers
    yaw, pitch = columns["target_yaw_deg"], columns["target_pitch_deg"]
    off_yaw = (columns["yaw_deg"] - yaw + 180) % 360 - 180
    misses = np.column_stack([off_yaw * np.cos(np.radians(pitch)), columns["pitch_deg"] - pitch])
    far = np.flatnonzero(np.hypot(*misses.T) > 5)
    if len(far):
        raise ReadingsRefused(
            f"{readings.name} line {readings.lines[far[0]]}: the pose was missed by {np.hypot(*misses[far[0]]):.3g}°; "
            "check that no readings are mixed up, and that they are in degrees."
        )
    targets, which = np.unique(np.column_stack([yaw, pitch]), axis=0, return_inverse=True)
    which = which.reshape(-1)
    groups = [misses[which == number] for number in range(len(targets))]
    for target, group in zip(targets, groups, strict=True):
        if len(group) < LEAST_VISITS:
            raise ReadingsRefused(
                f"{readings.name}: yaw {target[0]:g}°, pitch {target[1]:g}° was visited {len(group)} times; visit each "
                f"pose at least {LEAST_VISITS} times, {STANDARD_VISITS} by the standard."
            )
    must_be_distinct(targets.tolist(), readings.name)
    poses = tuple(
        PoseFigures(float(target[0]), float(target[1]), len(group), *pose_figures(group))
        for target, group in zip(targets, groups, strict=True)
    )
    left = [float(np.mean([group[:, axis].std() for group in groups])) for axis in (0, 1)]
    steps = (readings.resolution("yaw_deg", left[0]), readings.resolution("pitch_deg", left[1]))
    middles = _Middles(misses, which, steps, reading_error_deg or 0.0)
    return _with_intervals(readings, middles, poses)


def distinct(poses: Sequence[Sequence[float]]) -> int:
    """How many of these poses, yaw and pitch in degrees, are at least APART_DEG from each other on the sky."""
    kept: list[Array] = []
    for yaw_deg, pitch_deg in poses:
        yaw, pitch = math.radians(yaw_deg), math.radians(pitch_deg)
        at = np.array([math.cos(pitch) * math.cos(yaw), math.cos(pitch) * math.sin(yaw), math.sin(pitch)])
        if all(float(np.linalg.norm(at - other)) >= math.radians(APART_DEG) for other in kept):
            kept.append(at)
    return len(kept)


def must_be_distinct(poses: Sequence[Sequence[float]], name: str) -> None:
    """Raises ReadingsRefused if too few places were visited to tell of the others."""
    if (count := distinct(poses)) < LEAST_POSES:
        raise ReadingsRefused(
            f"{name}: {count} distinct {'pose was' if count == 1 else 'poses were'} visited, which tells nothing about "
            f"other places. Visit {LEAST_POSES} poses or more that are {APART_DEG:g}° apart, at several yaws and pitches."
        )


@dataclass(frozen=True, slots=True)
class _Middles:
    """Model of all visits at once: a mean for each pose and, if asked for, a drift."""

    misses: Array
    which: NDArray[np.intp]
    steps_deg: tuple[float, float]
    reading_error_deg: float

    def least_sd(self, axis: int) -> float:
        """Standard deviation that the instrument alone may cause in yaw (0) or pitch (1)."""
        return math.hypot(rounding_sd(self.steps_deg[axis]), self.reading_error_deg)

    def fit(self, axis: int, *, drifts: bool) -> Fit:
        """Fit one of the two angles. Raises numpy.linalg.LinAlgError."""
        design = np.eye(int(self.which.max()) + 1)[self.which]
        late = order.clock(len(self.which))[:, None]
        whole = np.hstack([design, late]) if drifts else design
        return fit(whole, self.misses[:, axis], least_sd=self.least_sd(axis))


def _with_intervals(readings: Readings, middles: _Middles, poses: tuple[PoseFigures, ...]) -> VerifyResult:
    misses, which, count = middles.misses, middles.which, len(middles.which)
    drifts = order_separates_drift(lambda full: middles.fit(0, drifts=full), np.eye(len(poses)), count, math.inf)
    fits = [middles.fit(axis, drifts=drifts) for axis in (0, 1)]
    parameters = len(fits[0].coefficients)
    if order.are_correlated(*fits, step=max(middles.steps_deg), chance=CORRELATION_P):
        raise ReadingsRefused(
            f"{readings.name}: the errors of successive visits are correlated, so the head or the instrument drifts; let "
            "both reach their working temperature, and visit the poses in shuffled order."
        )
    _must_have_no_outlier(readings, fits)
    correlation = order.seen_correlation(*fits)
    guarded = drifts and correlation < MOST_CORRELATION
    drifted = [each.coefficients[-1] if drifts else 0.0 for each in fits]
    lengths, spreads, every = [], [], np.ones(count, dtype=bool)
    taken = [
        Circumstances.of(each, every, guarded, step, which, correlation)
        for each, step in zip(fits, middles.steps_deg, strict=True)
    ]
    for number in range(len(poses)):
        along = np.eye(parameters)[number]
        right, upward = (estimate(each, along, circumstances) for each, circumstances in zip(fits, taken, strict=True))
        # The zero of a drift is unknown: it is anywhere in the set, a rectangular distribution.
        right, upward = (
            replace(each, u=math.hypot(each.u, float(drift) / math.sqrt(12)))
            for each, drift in zip((right, upward), drifted, strict=True)
        )
        length = math.hypot(right.value, upward.value)
        toward = (right.value / length, upward.value / length) if length > 0 else (1.0, 0.0)
        u = math.hypot(toward[0] * right.u, toward[1] * upward.u)
        lengths.append(Estimate(length, u, min(right.freedom, upward.freedom)))
        spreads.append(max(right.u, upward.u))
    repeat = _repeat(middles, fits, poses, guarded)
    accuracy = largest(lengths, spreads).with_value(max(pose.accuracy_deg for pose in poses))
    first = np.flatnonzero(which == which[0])
    return VerifyResult(
        poses=poses,
        accuracy=accuracy,
        repeatability=repeat.with_value(max(pose.repeatability_deg for pose in poses)),
        worst=accuracy.plus(repeat).with_value(max(pose.accuracy_deg + pose.repeatability_deg for pose in poses)),
        pooled=repeat.with_value(_pooled([misses[which == number] for number in range(len(poses))])),
        returned=_length(misses[first[-1]] - misses[first[0]], math.sqrt(2 * max(each.variances[0] for each in fits))),
        misses_deg=misses,
        resolution_deg=max(middles.steps_deg),
        stated=taken[0].stated,
    )


def _must_have_no_outlier(readings: Readings, fits: Sequence[Fit]) -> None:
    """Raises ReadingsRefused for a visit far off the others.

    It is the head's fault or a misreading, which only the operator can tell.
    """
    for each in fits:
        worst = int(np.argmax(np.abs(each.studentized)))
        chance = 2 * float(stdtr(max(each.freedom - 1, 1), -abs(each.studentized[worst])))
        if chance * len(each.studentized) * len(fits) < OUTLIER_P:
            raise ReadingsRefused(
                f"{readings.name} line {readings.lines[worst]}: this visit is {abs(each.residuals[worst]):.3g}° off the "
                "others of its pose; if it was misread, correct or remove the line; otherwise look for slack or slip."
            )


def _length(apart: Array, u: float) -> Interval:
    """The length of one difference, each part of which has the standard uncertainty `u`."""
    return largest([Estimate(float(np.hypot(*apart)), u, math.inf)], [u])


def _repeat(middles: _Middles, fits: list[Fit], poses: tuple[PoseFigures, ...], guarded: bool) -> Interval:
    """RP of normal errors with the covariance of the residuals, and its interval.

    If the interval is claimed to contain 95 % (`guarded`), it includes correlated errors unless the readings exclude
    them.

    Degrees of freedom of both angles together (Satterthwaite): twice as many if they scatter alike.
    """
    left, freedom = np.column_stack([each.residuals for each in fits]), fits[0].freedom
    covariance = left.T @ left / freedom
    pooled = float(np.trace(covariance))
    dimensions = pooled**2 / max(float(np.trace(covariance @ covariance)), 1e-300) if pooled > 0 else 1.0
    least = np.array([middles.least_sd(0), middles.least_sd(1)])
    variance, free = pooled, freedom * dimensions
    for number in range(len(poses)):
        group = left[middles.which == number]
        own, own_free = float((group**2).sum()) / (len(group) - 1), (len(group) - 1) * dimensions
        if is_larger(own, own_free, pooled, freedom * dimensions, len(poses)):
            variance, free = max((variance, free), (own, own_free))
    shape = covariance / pooled if pooled > 0 else np.eye(2) / 2
    # Errors as correlated as an order must tolerate hide most of their size, so a low measured correlation alone is not
    # enough.
    correlation = order.seen_correlation(*fits, most_by_chance=order.MOST_BY_CHANCE)
    if guarded and not order.rules_out(*fits, step=max(middles.steps_deg)):
        correlation = max(correlation, order.CORRELATION)
    hidden = max(1.0, order.hidden(fits[0], np.arange(len(left)), len(left), correlation))
    seen = scatter(
        variance, free, math.hypot(*middles.steps_deg), middles.reading_error_deg * math.sqrt(2), correlation, hidden
    )
    # The scatter that the instrument's resolution hides may be in any direction.
    high = max(normal_repeatability(shape) * seen.high, normal_repeatability(np.diag(least**2)))
    return Interval(normal_repeatability(shape) * seen.value, normal_repeatability(shape) * seen.low, high)


def normal_repeatability(covariance: Array) -> float:
    """RP of normal errors with this covariance (2, 2): the mean of the distances plus three standard deviations.

    The mean length of a normal vector is a complete elliptic integral; sqrt(pi / 2) s if both parts have the standard
    deviation s (Rayleigh).
    """
    small, large = np.maximum(np.linalg.eigvalsh(covariance), 0.0)
    mean = math.sqrt(2 * large / math.pi) * float(ellipe(1 - small / large)) if large > 0 else 0.0
    return mean + 3 * math.sqrt(max(small + large - mean**2, 0.0))


def pose_figures(misses: Array) -> tuple[float, float]:
    """AP and RP of one pose from (n, k) errors, n >= 2, in their unit (ISO 9283:1998, clause 7.2)."""
    middle = misses.mean(axis=0)
    distances = np.linalg.norm(misses - middle, axis=1)
    return float(np.linalg.norm(middle)), float(distances.mean() + 3 * distances.std(ddof=1))


def _pooled(groups: Sequence[Array]) -> float:
    """RP over all poses."""
    return _repeatability(*np.array([_sums(group) for group in groups]).sum(axis=0))


def _sums(misses: Array) -> tuple[float, float, float]:
    """Count, sum and sum of squares of the distances from the mean, corrected because the mean is the visits' own."""
    count = len(misses)
    distances = np.linalg.norm(misses - misses.mean(axis=0), axis=1) * math.sqrt(count / (count - 1))
    return float(count), float(distances.sum()), float(distances @ distances)


def _repeatability(count: float, total: float, squares: float) -> float:
    """Mean plus three standard deviations of distances with these sums."""
    mean = total / count
    return mean + 3 * math.sqrt(max(squares - count * mean**2, 0.0) / (count - 1))


def visiting_order(poses: Sequence[tuple[float, float]], visits: int, seed: int) -> list[tuple[float, float, int]]:
    """Yaw, pitch and the side to approach from (+1 from below, -1 from above): shuffled, the first again last."""
    round_trips = [(yaw, pitch, 1 if number % 2 == 0 else -1) for number in range(visits) for yaw, pitch in poses]
    Random(seed).shuffle(round_trips)
    return [*round_trips, round_trips[0]]
