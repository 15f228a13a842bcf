"""The backlash of an axis: positions approached from both sides, with the figures of ISO 230-2:2014, clause 3.

If the axis has no backlash, the same figures are its accuracy and repeatability.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.calibration import order
from controller.calibration.estimate import Circumstances, Estimate, estimate, order_separates_drift
from controller.calibration.finding import Stated, quantile
from controller.calibration.least_squares import Fit, Kept, Rows, fit, without_outliers
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.resolution import rounding_sd
from controller.calibration.spread import Interval, is_larger, largest, scatter, span
from controller.errors import InputError
from controller.optics.outline import Array

LEAST_POSITIONS, LEAST_APPROACHES = 3, 2
STANDARD_APPROACHES = 5  # from each side, by the standard
SIGNIFICANT_P = 0.05
MOST_PLAY_DEG = 5.0
MOST_OUTLIERS = 0.1  # share of the readings; at least one is allowed
SHUFFLE = "visit the positions in shuffled order, from either side, and the first again at the end"


@dataclass(frozen=True, slots=True)
class TargetDeviations:
    """One target and its deviations (measured less target, degrees), approached from below and from above."""

    target_deg: float
    up: Array
    down: Array

    @property
    def reversal_deg(self) -> float:
        """B_i: mean from below less mean from above."""
        return float(self.up.mean() - self.down.mean())

    @property
    def mean_deg(self) -> float:
        """The mean of the two means."""
        return float(self.up.mean() + self.down.mean()) / 2


@dataclass(frozen=True, slots=True)
class Figures:
    """ISO 230-2: B, mean reversal (signed), R, R of either direction, E, M and A, in degrees."""

    reversal_deg: float
    mean_reversal_deg: float
    repeatability_deg: float
    repeatability_up_deg: float
    repeatability_down_deg: float
    systematic_deg: float
    mean_deviation_range_deg: float
    accuracy_deg: float


@dataclass(frozen=True, slots=True)
class BacklashResult:
    """The figures, and intervals that contain their true values in 95 of 100 cases, degrees.

    `mean_reversal` is that of all positions, signed. `play_deg` is B if the backlash is significant, else 0.
    `residuals_deg` are those of all readings from their means; `kept` marks the readings that were used.
    """

    positions: tuple[TargetDeviations, ...]
    figures: Figures
    mean_reversal: Estimate
    reversal: Interval
    repeatability: Interval
    repeatability_of_one_side: Interval
    systematic: Interval
    mean_deviation_range: Interval
    accuracy: Interval
    play_deg: float
    resolution_deg: float
    stated: Stated
    residuals_deg: Array
    kept: Kept

    @property
    def reversal_deg(self) -> float:
        """B, degrees."""
        return self.figures.reversal_deg


def from_approaches(readings: Readings, reading_error_deg: float | None = None) -> BacklashResult:
    """The figures from `target_deg`, `direction` (up or down) and `measured_deg`, rows in order of time.

    `reading_error_deg` is the instrument's own standard uncertainty. Raises InputError for any other direction, and
    ReadingsRefused with the reason and what to do.
    """
    positions_of(readings)  # there are enough
    _must_follow(readings)
    means = _means(readings, reading_error_deg or 0.0)
    drifts = order_separates_drift(lambda full: means.fit(means.every, drifts=full), means.contrasts, len(means.off))
    most = max(1, int(MOST_OUTLIERS * len(means.off)))
    kept, found = without_outliers(
        lambda rows: means.fit(rows, drifts=drifts), len(means.off), max(len(means.off) - most - 1, 1)
    )
    if int((~kept).sum()) > most:
        raise ReadingsRefused(
            f"{readings.name}: more than {most} of {len(kept)} readings are outliers; look for slack or slip, and "
            "read again."
        )
    if not drifts and order.are_correlated(found, step=means.step_deg):
        raise ReadingsRefused(
            f"{readings.name}: the errors of successive readings are correlated, so the instrument or the head drifts; "
            f"{SHUFFLE}."
        )
    positions = positions_of(readings.only(kept.tolist()))
    made = figures(positions)
    if made.reversal_deg > MOST_PLAY_DEG:
        raise ReadingsRefused(
            f"{readings.name}: a play of {made.reversal_deg:.3g}° is too large for a gear in working order; look for a "
            "loose clamp or belt, or for readings with the directions mixed up."
        )
    return _with_intervals(means, found, kept, drifts, positions, made)


def positions_of(readings: Readings) -> tuple[TargetDeviations, ...]:
    """The readings sorted by target. Raises InputError; raises ReadingsRefused if there are too few."""
    target = readings.numbers["target_deg"]
    for line, word in zip(readings.lines, readings.words["direction"], strict=True):
        if word not in {"up", "down"}:
            raise InputError(f"{readings.name} line {line}: direction = {word} must be up or down.")
    up, off = np.array([word == "up" for word in readings.words["direction"]]), _deviations(readings)
    positions = []
    for each in np.unique(target):
        here = TargetDeviations(float(each), off[(target == each) & up], off[(target == each) & ~up])
        for name, approaches in (("below (up)", here.up), ("above (down)", here.down)):
            if len(approaches) < LEAST_APPROACHES:
                raise ReadingsRefused(
                    f"{readings.name}: target {each:g}° was approached {len(approaches)} times from {name}; give at "
                    f"least {LEAST_APPROACHES}, better {STANDARD_APPROACHES}, from each side."
                )
        positions.append(here)
    if len(positions) < LEAST_POSITIONS:
        raise ReadingsRefused(
            f"{readings.name}: {len(positions)} positions are too few; visit at least {LEAST_POSITIONS}, better 5, "
            "spread unevenly over the whole range."
        )
    return tuple(positions)


def _deviations(readings: Readings) -> Array:
    """Measured less target; a dial restarts at 360."""
    off = readings.numbers["measured_deg"] - readings.numbers["target_deg"]
    return np.where(np.abs(off) > 180, (off + 180) % 360 - 180, off)


def _must_follow(readings: Readings) -> None:
    target, measured = readings.numbers["target_deg"], readings.numbers["measured_deg"]
    off = measured - target
    if np.all(np.abs((off + 180) % 360 - 180) < 0.05 * max(float(np.ptp(target)), 20)):
        return
    slope = float(np.polyfit(target - target.mean(), measured, 1)[0])
    for unit, expected in (("radians", math.pi / 180), ("arc minutes", 60), ("arc seconds", 3600), ("turns", 1 / 360)):
        if abs(slope / expected - 1) < 0.2:
            raise ReadingsRefused(f"{readings.name}: measured_deg looks like {unit}; give degrees.")
    r2 = 0.0 if np.ptp(measured) == 0 else float(np.corrcoef(target, measured)[0, 1] ** 2)
    if r2 < 0.9 or abs(slope - 1) > 0.2:
        raise ReadingsRefused(
            f"{readings.name}: the measured angles do not follow the targets; check that no lines or columns are mixed "
            "up, and calibrate the steps per degree first."
        )


def figures(positions: tuple[TargetDeviations, ...]) -> Figures:
    """The figures of ISO 230-2:2014, clause 3, with s from n - 1.

    E is computed from the means of both directions; it is not the larger of the two one-directional figures.
    """
    up, down = (np.array([side.mean() for side in sides]) for sides in _sides(positions))
    s_up, s_down = (np.array([side.std(ddof=1) for side in sides]) for sides in _sides(positions))
    reversals = up - down
    spread = np.maximum.reduce([2 * s_up + 2 * s_down + np.abs(reversals), 4 * s_up, 4 * s_down])
    highest = np.maximum(up + 2 * s_up, down + 2 * s_down)
    lowest = np.minimum(up - 2 * s_up, down - 2 * s_down)
    return Figures(
        reversal_deg=float(np.abs(reversals).max()),
        mean_reversal_deg=float(reversals.mean()),
        repeatability_deg=float(spread.max()),
        repeatability_up_deg=float(4 * s_up.max()),
        repeatability_down_deg=float(4 * s_down.max()),
        systematic_deg=float(max(up.max(), down.max()) - min(up.min(), down.min())),
        mean_deviation_range_deg=float(np.ptp((up + down) / 2)),
        accuracy_deg=float(highest.max() - lowest.min()),
    )


def _sides(positions: tuple[TargetDeviations, ...]) -> tuple[list[Array], list[Array]]:
    return [position.up for position in positions], [position.down for position in positions]


@dataclass(frozen=True, slots=True)
class _Means:
    """Model of all readings at once: a mean for each position and side (up: even columns, down: odd ones), a drift."""

    off: Array
    which: NDArray[np.intp]
    step_deg: float
    reading_error_deg: float

    @property
    def every(self) -> Rows:
        """The indices of all readings."""
        return np.arange(len(self.off))

    @property
    def contrasts(self) -> Array:
        """The reversal of each position and their mean, as weighted sums of the means."""
        count = (int(self.which.max()) + 1) // 2
        each = np.kron(np.eye(count), np.array([1.0, -1.0]))
        return np.vstack([each, each.mean(axis=0)])

    def design(self, *, drifts: bool) -> Array:
        """The design's columns for these readings."""
        means = np.eye(int(self.which.max()) + 1)[self.which]
        return np.hstack([means, order.clock(len(self.off))[:, None]]) if drifts else means

    def fit(self, rows: Rows, *, drifts: bool) -> Fit:
        """Fit the model to the readings with these indices. Raises numpy.linalg.LinAlgError."""
        return fit(
            self.design(drifts=drifts)[rows],
            self.off[rows],
            least_sd=math.hypot(rounding_sd(self.step_deg), self.reading_error_deg),
        )


def _means(readings: Readings, reading_error_deg: float) -> _Means:
    off, up = _deviations(readings), np.array([word == "up" for word in readings.words["direction"]])
    place = np.unique(readings.numbers["target_deg"], return_inverse=True)[1].reshape(-1)
    step = readings.resolution("measured_deg", float(np.std(off)))
    return _Means(off, 2 * place + ~up, step, reading_error_deg)


def _with_intervals(
    means: _Means, found: Fit, kept: Kept, drifts: bool, positions: tuple[TargetDeviations, ...], made: Figures
) -> BacklashResult:
    """The mean for each position and side, with its uncertainty.

    The scatter of all positions together gives the uncertainty of each mean. A position that scatters more gets its own.
    """
    rows, which, turns = np.flatnonzero(kept), means.which[kept], means.contrasts
    taken = Circumstances.of(found, kept, drifts, means.step_deg, which)
    reversals, (variance, free) = _reversals(found, turns[:-1], taken)
    # If the mean is between the same two marks at every position, all may be rounded the same way.
    alike = bool((np.ptp(found.coefficients[: turns.shape[1]].reshape(-1, 2), axis=0) < means.step_deg).all())
    mean = _estimate(found, turns[-1], replace(taken, places=which % 2) if alike else taken)
    each = [_estimate(found, row, taken) for row in np.eye(turns.shape[1])]
    middles = [_estimate(found, np.abs(row) / 2, taken) for row in turns[:-1]]
    correlation = order.seen_correlation(found, most_by_chance=order.MOST_BY_CHANCE)
    more = max(1.0, order.hidden(found, rows, len(kept), correlation))
    width = scatter(variance, free, means.step_deg, means.reading_error_deg, correlation, more).times(4)
    reversal, systematic = largest(reversals), span(each)
    return BacklashResult(
        positions=positions,
        figures=made,
        mean_reversal=mean,
        reversal=reversal.with_value(made.reversal_deg),
        repeatability=reversal.plus(width).with_value(made.repeatability_deg),
        repeatability_of_one_side=width,
        systematic=systematic.with_value(made.systematic_deg),
        mean_deviation_range=span(middles).with_value(made.mean_deviation_range_deg),
        accuracy=systematic.plus(width).with_value(made.accuracy_deg),
        play_deg=made.reversal_deg if _significant([*reversals, mean]) else 0.0,
        resolution_deg=means.step_deg,
        stated=taken.stated,
        residuals_deg=means.off - means.design(drifts=drifts) @ found.coefficients,
        kept=kept,
    )


def _estimate(found: Fit, along: Array, taken: Circumstances) -> Estimate:
    return estimate(found, np.append(along, np.zeros(len(found.coefficients) - len(along))), taken)


def _reversals(found: Fit, turns: Array, taken: Circumstances) -> tuple[list[Estimate], tuple[float, float]]:
    """The reversal of each position; and the variance of a reading with its degrees of freedom, the largest one if a
    position scatters more than the others.
    """
    assert found.seen_variance is not None
    reversals, worst = [], (found.seen_variance, found.freedom)
    for number, row in enumerate(turns):
        reversal = _estimate(found, row, taken)
        here = taken.places // 2 == number
        free = max(int(here.sum()) - 2, 1)
        own = float((found.residuals[here] ** 2).sum()) / free
        if is_larger(own, free, found.seen_variance, found.freedom, len(turns)):
            u = reversal.u * math.sqrt(own / float(found.variances[0]))
            reversal, worst = Estimate(reversal.value, max(reversal.u, u), float(free)), max(worst, (own, float(free)))
        reversals.append(reversal)
    return reversals, worst


def _significant(tests: list[Estimate]) -> bool:
    """Whether any position, or all of them together, shows a reversal beyond chance (Bonferroni)."""
    least = max(1e-12, float(np.finfo(float).eps) * 360)
    share = SIGNIFICANT_P / 2 / len(tests)
    return any(abs(each.value) > max(least, quantile(1 - share, each.freedom) * each.u) for each in tests)
