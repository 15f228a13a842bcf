"""The play of an axis: positions approached from both sides, as ISO 230-2:2014, clause 3, defines the figures.

Where the axis has no play at all, the same figures are its accuracy and repeatability.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t

from controller.calibration.readings import NotBelievable, Readings
from controller.errors import InputError
from controller.optics.outline import Array

LEAST_POSITIONS, LEAST_APPROACHES = 3, 2
STANDARD_APPROACHES = 5  # from each side, by the standard
SIGNIFICANT_P = 0.05
MOST_PLAY_DEG = 5.0


@dataclass(frozen=True, slots=True)
class Position:
    """One target and the deviations (measured less target, degrees) when it was approached from below and from above."""

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

    @property
    def variance_of_reversal(self) -> float:
        """Square of the standard uncertainty of B_i."""
        return float(self.up.var(ddof=1)) / len(self.up) + float(self.down.var(ddof=1)) / len(self.down)


@dataclass(frozen=True, slots=True)
class BacklashResult:
    """ISO 230-2: B, mean reversal (signed), R, E, M and A, in degrees; standard uncertainties of the reversals.

    `u_reversal_deg` is that of B_i at the position with the largest; being the largest of several it tends to be a
    little too large. `play_deg` is B where the play is significant, else 0.
    """

    positions: tuple[Position, ...]
    reversal_deg: float
    u_reversal_deg: float
    mean_reversal_deg: float
    u_mean_reversal_deg: float
    freedom: float
    repeatability_deg: float
    repeatability_up_deg: float
    repeatability_down_deg: float
    systematic_deg: float
    mean_deviation_range_deg: float
    accuracy_deg: float
    play_deg: float


def from_approaches(readings: Readings) -> BacklashResult:
    """The figures from `target_deg`, `direction` (up or down) and `measured_deg`, rows in any order.

    Raises InputError for a direction that is neither; NotBelievable with the reason and what to do.
    """
    positions = positions_of(readings)
    _must_follow(readings)
    result = figures(positions)
    if result.reversal_deg > MOST_PLAY_DEG:
        raise NotBelievable(
            f"{readings.name}: a play of {result.reversal_deg:.3g}° is more than any sound gear has; look for a loose "
            "clamp or belt, or for readings with the directions mixed up."
        )
    return result


def positions_of(readings: Readings) -> tuple[Position, ...]:
    """The readings sorted by target. Raises InputError, NotBelievable where there are too few."""
    target, measured = readings.numbers["target_deg"], readings.numbers["measured_deg"]
    for line, word in zip(readings.lines, readings.words["direction"], strict=True):
        if word not in {"up", "down"}:
            raise InputError(f"{readings.name} line {line}: direction = {word} must be up or down.")
    up = np.array([word == "up" for word in readings.words["direction"]])
    off = measured - target
    off = np.where(np.abs(off) > 180, (off + 180) % 360 - 180, off)  # a dial begins again at 360
    positions = []
    for each in np.unique(target):
        here = Position(float(each), off[(target == each) & up], off[(target == each) & ~up])
        for name, approaches in (("below (up)", here.up), ("above (down)", here.down)):
            if len(approaches) < LEAST_APPROACHES:
                raise NotBelievable(
                    f"{readings.name}: target {each:g}° was approached {len(approaches)} times from {name}; give at "
                    f"least {LEAST_APPROACHES}, better {STANDARD_APPROACHES}, from each side."
                )
        positions.append(here)
    if len(positions) < LEAST_POSITIONS:
        raise NotBelievable(
            f"{readings.name}: {len(positions)} positions are too few; visit at least {LEAST_POSITIONS}, better 5, "
            "spread unevenly over the whole range."
        )
    return tuple(positions)


def _must_follow(readings: Readings) -> None:
    target, measured = readings.numbers["target_deg"], readings.numbers["measured_deg"]
    off = measured - target
    if np.all(np.abs((off + 180) % 360 - 180) < 0.05 * max(float(np.ptp(target)), 20)):
        return
    slope = float(np.polyfit(target - target.mean(), measured, 1)[0])
    for unit, expected in (("radians", math.pi / 180), ("arc minutes", 60), ("arc seconds", 3600), ("turns", 1 / 360)):
        if abs(slope / expected - 1) < 0.2:
            raise NotBelievable(f"{readings.name}: measured_deg looks like {unit}; give degrees.")
    r2 = 0.0 if np.ptp(measured) == 0 else float(np.corrcoef(target, measured)[0, 1] ** 2)
    if r2 < 0.9 or abs(slope - 1) > 0.2:
        raise NotBelievable(
            f"{readings.name}: the measured angles do not follow the targets; were lines or columns mixed up, or are the "
            "steps per degree wrong (calibrate those first)?"
        )


def figures(positions: tuple[Position, ...]) -> BacklashResult:
    """The figures of ISO 230-2:2014, clause 3, with s from n - 1; degrees of freedom after Welch and Satterthwaite.

    E takes the means of both directions, not the larger of the two one-directional figures.
    """
    up, down = (np.array([side.mean() for side in sides]) for sides in _sides(positions))
    s_up, s_down = (np.array([side.std(ddof=1) for side in sides]) for sides in _sides(positions))
    reversals = up - down
    spread = np.maximum.reduce([2 * s_up + 2 * s_down + np.abs(reversals), 4 * s_up, 4 * s_down])
    highest = np.maximum(up + 2 * s_up, down + 2 * s_down)
    lowest = np.minimum(up - 2 * s_up, down - 2 * s_down)
    largest = int(np.argmax(np.abs(reversals)))
    variances = np.array([position.variance_of_reversal for position in positions])
    reversal = float(np.abs(reversals[largest]))
    return BacklashResult(
        positions=positions,
        reversal_deg=reversal,
        u_reversal_deg=math.sqrt(variances[largest]),
        mean_reversal_deg=float(reversals.mean()),
        u_mean_reversal_deg=math.sqrt(variances.sum()) / len(positions),
        freedom=_freedom(positions),
        repeatability_deg=float(spread.max()),
        repeatability_up_deg=float(4 * s_up.max()),
        repeatability_down_deg=float(4 * s_down.max()),
        systematic_deg=float(max(up.max(), down.max()) - min(up.min(), down.min())),
        mean_deviation_range_deg=float(np.ptp((up + down) / 2)),
        accuracy_deg=float(highest.max() - lowest.min()),
        play_deg=reversal if _significant(positions) else 0.0,
    )


def _sides(positions: tuple[Position, ...]) -> tuple[list[Array], list[Array]]:
    return [position.up for position in positions], [position.down for position in positions]


def _freedom(positions: tuple[Position, ...]) -> float:
    """Of the mean reversal (GUM, JCGM 100:2008, G.4.1)."""
    parts = [(float(side.var(ddof=1)) / len(side), len(side) - 1) for sides in _sides(positions) for side in sides]
    total = sum(part for part, _ in parts)
    squares = sum(part**2 / freedom for part, freedom in parts)
    return total**2 / squares if squares > 0 else math.inf


def _significant(positions: tuple[Position, ...]) -> bool:
    """Whether any position, or all of them together, show a reversal beyond chance (Bonferroni)."""
    tests = [(float(p.reversal_deg), p.variance_of_reversal, len(p.up) + len(p.down) - 2.0) for p in positions]
    mean = sum(reversal for reversal, _, _ in tests) / len(tests)
    tests.append((mean, sum(variance for _, variance, _ in tests) / len(positions) ** 2, _freedom(positions)))
    least = max(1e-12, float(np.finfo(float).eps) * 360)
    for reversal, variance, freedom in tests:
        if abs(reversal) <= least:
            continue
        chance = 2 * float(t.sf(abs(reversal) / math.sqrt(max(variance, 1e-300)), min(freedom, 1e9)))
        if chance * len(tests) < SIGNIFICANT_P:
            return True
    return False
