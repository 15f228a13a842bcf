"""A slip within a ring: from one picture on, the head is off its commanded positions by a constant angle.

A slip between pictures k and k + 1 adds its angle to that turn and subtracts it from the one that closes the ring. Each
place is tried in turn, with Student's t for one more column (N. Draper and H. Smith, *Applied Regression Analysis*, 3rd
ed., 1998, sections 6.2 and 15) and Bonferroni's bound for the number of places. A slip too small to separate from the
head's own errors still changes the steps per degree. So the result is averaged over all places, weighted by Schwarz's
criterion (G. Schwarz, Annals of Statistics 6:461, 1978; A. Raftery, Sociological Methodology 25:111, 1995).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import t

from controller.optics.outline import Array

UNLIKELY = 0.01  # chance that a slip is reported of a head that did not slip. Our own choice.
CHANCE = 0.7  # prior chance that a head slips once in a ring. Our own choice, on the cautious side.


@dataclass(frozen=True, slots=True)
class Slip:
    """The likeliest slip: after which picture (from 0), by how much, and its probability by chance alone.

    `added` is what all slips, weighted, have added to the degrees for a step, `u_added` its standard uncertainty.
    """

    after: int
    jump_deg: float
    chance: float
    added: float
    u_added: float

    @property
    def seen(self) -> bool:
        """Whether the slip is beyond chance."""
        return self.chance < UNLIKELY


def likeliest_slip(design: Array, seen: Array, covariance: Array, spread: Array) -> Slip:
    """Look for a slip in the turns `seen` (n,) = design (n, p) @ coefficients, the first of them degrees for a step.

    `covariance` (n, n) is that of the turns, including the head's errors; `spread` (n,) is the part of the pictures
    alone.
    """
    count, used = design.shape
    root = np.linalg.cholesky(np.linalg.inv(covariance)).T
    whole, right = root @ design, root @ seen
    steps = root @ (np.eye(count)[:, :-1] - np.eye(count)[:, -1:])  # a column for each place
    base = np.linalg.pinv(whole)
    residual, free = right - whole @ (base @ right), steps - whole @ (base @ steps)
    square = np.maximum(np.sum(free**2, axis=0), 1e-12)
    jumps = free.T @ residual / square
    explained = jumps**2 * square
    freedom = count - used - 1
    least = float(np.trace(root @ np.diag(spread**2) @ root.T)) / count
    rest = np.maximum(float(residual @ residual) - explained, 0.0) / freedom
    score = np.sqrt(explained / np.maximum(np.maximum(rest, least), 1e-12))
    # Use Student's t even if the points alone would explain the rest: a few stops of a rough head may agree by chance.
    chance = 2 * t.sf(score, freedom) * (count - 1)
    grows = (freedom + 1) / 2 * np.log1p(score**2 / freedom)
    odds = CHANCE / (1 - CHANCE) * np.exp(np.minimum(grows, 50.0)) / math.sqrt(count) / (count - 1)
    weight = odds / (1 + odds.sum())
    pull = (base @ steps)[0]  # change of the degrees for a step by a slip of one degree
    added = float(weight @ (pull * jumps))
    unsure = weight @ (pull**2 * (np.maximum(rest, least) / square + jumps**2)) - added**2
    likeliest = int(np.argmin(chance))
    return Slip(
        likeliest, float(jumps[likeliest]), float(min(1, chance[likeliest])), added, math.sqrt(max(float(unsure), 0))
    )
