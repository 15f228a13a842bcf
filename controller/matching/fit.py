"""A camera's clock relative to the session's, the probability of a reset, and the density of a file near its exposure."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from controller.matching.evidence import Array, Evidence

# Probability of a clock reset before any one file: by whole hours (summer time), to another zone, or by any amount. One
# run in a hundred or fewer; a time from a network may be off by any amount. Our own choice, no source.
HOUR_S, ZONE_S = 3600.0, 900.0
HOUR_CHANGE, ZONE_CHANGE, ANY_CHANGE = 1e-5, 3e-6, 1e-6
TURN_CHANGE = 1e-4  # probability that a bracket falls out of step before any one file
SAME_S = 1.0  # tolerance around a whole hour, besides the tick
# A camera's clock is right to minutes but for its zone, at most this far away, or by chance in a year. Our own choice, no
# source.
CLOSE_S, CLOSE, SET_ANYHOW_S, FARTHEST_ZONE_S = 120.0, 0.9, 3e7, 15 * HOUR_S


@dataclass(frozen=True, slots=True)
class ClockFit:
    """The camera's clock: it shows `offset_s` + (1 + `drift`) t at session time t after the first exposure.

    Its scatter is `spread_s`. It is read `late` shutter times after the opening (0 or 1). The camera's bracket is `turn`
    exposures ahead of the session's.
    """

    offset_s: float
    drift: float
    spread_s: float
    late: int = 0
    turn: int = 0

    def expected_s(self, evidence: Evidence) -> Array:
        """The time of each exposure by the camera's clock, seconds, (exposures,)."""
        since = evidence.planned_s - evidence.planned_s[0] + self.late * evidence.shutter_s
        return np.asarray(self.offset_s + since * (1 + self.drift))

    def gate_s(self, tick_s: float) -> float:
        """The greatest distance, seconds, between a file and its exposure."""
        return 1.0 + tick_s + 6 * self.spread_s


@dataclass(frozen=True, slots=True, eq=False)
class Clocks:
    """Clocks that a camera may have followed, with log probabilities.

    `weights`, (clocks,): each at the first file. `jumps`, (clocks, clocks): a change from one to another before a file.
    """

    fits: tuple[ClockFit, ...]
    weights: Array
    jumps: Array


def clocks_of(fits: Sequence[ClockFit], weights: Array, tick_s: float) -> Clocks:
    """These clocks with the probabilities of changes between them."""
    offset = np.array([fit.offset_s for fit in fits])
    turn = np.array([fit.turn for fit in fits])
    apart = np.abs(offset[:, None] - offset[None, :])
    near = SAME_S + tick_s
    price = np.full(apart.shape, ANY_CHANGE)
    price[np.abs(apart - np.round(apart / ZONE_S) * ZONE_S) <= near] = ZONE_CHANGE
    price[np.abs(apart - np.round(apart / HOUR_S) * HOUR_S) <= near] = HOUR_CHANGE
    price[apart <= near] = ANY_CHANGE
    price = np.where(turn[:, None] == turn[None, :], price, np.where(apart <= near, TURN_CHANGE, price * TURN_CHANGE))
    np.fill_diagonal(price, 1.0)
    return Clocks(tuple(fits), weights, np.log(price))


def priors_of(fits: Sequence[ClockFit], first_s: float) -> Array:
    """Log prior probability of each clock, by a correct clock that shows `first_s` (UTC) at the first exposure."""
    ahead = np.array([fit.offset_s for fit in fits]) - first_s
    off = np.abs(ahead - np.round(ahead / ZONE_S) * ZONE_S)
    near = CLOSE * np.exp(-off / CLOSE_S) / (2 * CLOSE_S)
    right = np.where(np.abs(ahead) < FARTHEST_ZONE_S, near, 0.0)
    return np.asarray(np.log(right + (1 - CLOSE) / SET_ANYHOW_S))


def near_density(apart_s: Array, spread_s: float, tick_s: float) -> Array:
    """The density, per second, of a clock tick that begins this long after its exposure."""
    return np.asarray((ndtr((apart_s + tick_s) / spread_s) - ndtr(apart_s / spread_s)) / tick_s)
