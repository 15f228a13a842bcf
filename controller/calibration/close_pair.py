"""Two vibrations of nearly the same frequency: what readings show of the second one, and what they hide.

A second vibration near the fitted one shifts the fitted values. Only the part that the fit cannot absorb is left in the
residuals. The search is limited to the few directions in which such vibrations can leave anything (S. R. Searle, *Linear
Models*, 1971, section 3.6). The effect of a second vibration that stays unseen is bounded.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import f as fisher

from controller.calibration import damped
from controller.optics.outline import Array

RATIOS = (0.77, 0.85, 0.92, 0.96, 0.98, 1.02, 1.04, 1.08, 1.17, 1.3)  # of the second frequency to the main one
DAMPINGS = (0.01, 0.03, 0.1)  # of the second
LARGEST_SHARE = 1.0  # of the second to the main one
MOST_TESTED = 6  # directions
CLEAR_SHARE = 1 / 3  # of the main one: directions in which such a second one stays within the noise are not tested
SEEN = 0.01  # how seldom one vibration looks like two. Our own choice.
MOST_UNSEEN = 20.0  # squares, in variances of the noise, which SEEN misses in one case of ten


@dataclass(frozen=True, slots=True, eq=False)
class CloseModes:
    """The chance of the residuals if only one vibration rings, and the possible effect of a second, unseen one.

    `hidden` (m, 5, 5) is for m kinds of second vibration. For each, x' H x is the square of the largest error of a sum
    of the fitted values with the weights x.
    """

    chance: float
    hidden: Array

    @property
    def seen(self) -> bool:
        """Whether a second vibration shows beyond chance."""
        return self.chance < SEEN


def close_pair(since: Array, residual: Array, weight: Array, found: Array, inflation: float) -> CloseModes:
    """Look for a second vibration close to the fit `found` (5,) in `residual` (n,), which is fitted less read.

    `weight` (n,) is one over the standard deviation of each reading. `inflation` is the factor by which correlation
    between successive readings increases variances (at least 1).
    """
    slopes = damped.model(found, since)[1] * weight[:, np.newaxis]
    inverse, amplitude = np.linalg.pinv(slopes), math.hypot(found[2], found[3])
    near = [each * weight[:, np.newaxis] for each in _near(since, found)]
    moves = [inverse @ each for each in near]
    left = [each - slopes @ move for each, move in zip(near, moves, strict=True)]
    unseen, largest = MOST_UNSEEN * inflation, (LARGEST_SHARE * amplitude) ** 2
    hidden = [
        move @ np.linalg.solve(shown.T @ shown / unseen + np.eye(2) / largest, move.T)
        for move, shown in zip(moves, left, strict=True)
    ]
    over = residual * weight
    over = over - slopes @ (inverse @ over)
    return CloseModes(_chance(over, np.concatenate(left, axis=1), amplitude, len(found), inflation), np.array(hidden))


def _near(since: Array, found: Array) -> list[Array]:
    """Cosine and sine (n, 2) of each kind of vibration near the main one."""
    kinds = [(found[0] + math.log(ratio), math.log(damping)) for ratio in RATIOS for damping in DAMPINGS]
    return [damped.model(np.array([*kind, 0.0, 0.0, 0.0]), since)[1][:, 2:4] for kind in kinds]


def _chance(over: Array, shown: Array, amplitude: float, used: int, inflation: float) -> float:
    """Fisher's test of the remainder after `used` values, in the directions in which second vibrations show most."""
    squares, mixed = np.linalg.eigh(shown.T @ shown)
    sizes = np.sqrt(np.maximum(squares[::-1], 0.0))
    freedom = len(over) - used
    typical = sizes * CLEAR_SHARE * amplitude / math.sqrt(shown.shape[1] / 2)
    tested = max(1, min(MOST_TESTED, freedom // 3, int(np.sum(typical > 1))))
    directions = shown @ (mixed[:, ::-1][:, :tested] / np.maximum(sizes[:tested], 1e-300))
    inside = float(np.sum((directions.T @ over) ** 2))
    outside = max(float(over @ over) - inside, 1e-300)
    ratio = inside / tested / (outside / (freedom - tested)) / inflation
    return float(fisher.sf(ratio, tested, freedom - tested))
