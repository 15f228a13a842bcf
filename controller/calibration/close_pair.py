"""Two vibrations that ring so close to each other that they look much like one: what readings show of it, and hide.

Seen from the fit of one vibration, a second one near it moves the fitted values, and leaves in the residuals only what
the fit cannot take in. That is looked for in the few directions in which such vibrations can leave something (S. R.
Searle, *Linear Models*, 1971, section 3.6). What one may hide that would not be seen is bounded.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import f as fisher

from controller.calibration import damped
from controller.optics.outline import Array

RATIOS = (0.77, 0.85, 0.92, 0.96, 0.98, 1.02, 1.04, 1.08, 1.17, 1.3)  # of the second frequency to the main one
DAMPINGS = (0.01, 0.03, 0.1)  # of the second
LARGEST_SHARE = 1.0  # of the second in the main one
MOST_TESTED = 6  # directions
CLEAR_SHARE = 1 / 3  # of the main one: directions in which such a second one stays within the noise are not tested
SEEN = 0.01  # how seldom one vibration looks like two. Our own choice.
MOST_UNSEEN = 20.0  # squares, in variances of the noise, that SEEN passes over in one case of ten


@dataclass(frozen=True, slots=True, eq=False)
class CloseModes:
    """How improbable the residuals are if only one vibration rings, and what a second one may hide.

    `hidden` (m, 5, 5): for each of m kinds of second ones, x' H x is the square of the most by which a sum of the fitted
    values with the weights x may be off.
    """

    chance: float
    hidden: Array

    @property
    def seen(self) -> bool:
        """Whether it shows beyond chance."""
        return self.chance < SEEN


def close_pair(since: Array, residual: Array, weight: Array, found: Array, hanging: float) -> CloseModes:
    """Look for a second vibration close to the fit `found` (5,) in `residual` (n,), which is fitted less read.

    `weight` (n,) is one over the standard deviation of each reading, `hanging` by how much variances grow because errors
    hang together from one reading to the next (at least 1).
    """
    slopes = damped.model(found, since)[1] * weight[:, np.newaxis]
    inverse, amplitude = np.linalg.pinv(slopes), math.hypot(found[2], found[3])
    near = [each * weight[:, np.newaxis] for each in _near(since, found)]
    moves = [inverse @ each for each in near]
    left = [each - slopes @ move for each, move in zip(near, moves, strict=True)]
    unseen, largest = MOST_UNSEEN * hanging, (LARGEST_SHARE * amplitude) ** 2
    hidden = [
        move @ np.linalg.solve(shown.T @ shown / unseen + np.eye(2) / largest, move.T)
        for move, shown in zip(moves, left, strict=True)
    ]
    over = residual * weight
    over = over - slopes @ (inverse @ over)
    return CloseModes(_chance(over, np.concatenate(left, axis=1), amplitude, len(found), hanging), np.array(hidden))


def _near(since: Array, found: Array) -> list[Array]:
    """Cosine and sine (n, 2) of each kind of vibration near the main one."""
    kinds = [(found[0] + math.log(ratio), math.log(damping)) for ratio in RATIOS for damping in DAMPINGS]
    return [damped.model(np.array([*kind, 0.0, 0.0, 0.0]), since)[1][:, 2:4] for kind in kinds]


def _chance(over: Array, shown: Array, amplitude: float, used: int, hanging: float) -> float:
    """Fisher's test of what is left over after `used` values, in the directions in which second ones show most."""
    squares, mixed = np.linalg.eigh(shown.T @ shown)
    sizes = np.sqrt(np.maximum(squares[::-1], 0.0))
    freedom = len(over) - used
    typical = sizes * CLEAR_SHARE * amplitude / math.sqrt(shown.shape[1] / 2)
    tested = max(1, min(MOST_TESTED, freedom // 3, int(np.sum(typical > 1))))
    directions = shown @ (mixed[:, ::-1][:, :tested] / np.maximum(sizes[:tested], 1e-300))
    inside = float(np.sum((directions.T @ over) ** 2))
    outside = max(float(over @ over) - inside, 1e-300)
    ratio = inside / tested / (outside / (freedom - tested)) / hanging
    return float(fisher.sf(ratio, tested, freedom - tested))
