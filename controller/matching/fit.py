"""A camera's clock against the session's, the prices of setting it anew, and how near a file is to where it should be."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from controller.matching.evidence import Array, Evidence

# Of setting a clock anew before any one file: by whole hours (summer time), to another zone, by anything. A run in a
# hundred or fewer; a time given by a network may be off by anything. Our own choice, no source.
HOUR_S, ZONE_S = 3600.0, 900.0
HOUR_CHANGE, ZONE_CHANGE, ANY_CHANGE = 1e-5, 3e-6, 1e-6
TURN_CHANGE = 1e-4  # that a bracket falls out of turn before any one file
SAME_S = 1.0  # from a whole hour, besides the tick


@dataclass(frozen=True, slots=True)
class ClockFit:
    """The camera's clock: it shows `offset_s` + (1 + `drift`) t at the session's time t after its first exposure, with a
    scatter of `spread_s`; it is read `late` shutter times after the opening (0 or 1). The camera's bracket is `turn`
    exposures ahead of the session's.
    """

    offset_s: float
    drift: float
    spread_s: float
    late: int = 0
    turn: int = 0

    def expected_s(self, evidence: Evidence) -> Array:
        """When each exposure should have been by the camera's clock, (exposures,)."""
        since = evidence.planned_s - evidence.planned_s[0] + self.late * evidence.shutter_s
        return np.asarray(self.offset_s + since * (1 + self.drift))

    def gate_s(self, tick_s: float) -> float:
        """How far a file may lie from its exposure."""
        return 1.0 + tick_s + 6 * self.spread_s


@dataclass(frozen=True, slots=True, eq=False)
class Clocks:
    """Clocks that a camera may have gone by. Logarithms: `weights`, (clocks,), of each at the first file; `jumps`,
    (clocks, clocks), of a change from one to another before a file.
    """

    fits: tuple[ClockFit, ...]
    weights: Array
    jumps: Array


def clocks_of(fits: Sequence[ClockFit], weights: Array, tick_s: float) -> Clocks:
    """These clocks with the prices of their changes."""
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


def near_density(apart_s: Array, spread_s: float, tick_s: float) -> Array:
    """The density, a second, of the beginning of a clock's tick this far after an exposure that it is to hold."""
    return np.asarray((ndtr((apart_s + tick_s) / spread_s) - ndtr(apart_s / spread_s)) / tick_s)
