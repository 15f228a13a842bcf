"""When the pulses of a motion come: each step is made when the ramp is half-way to it (protocol/board/core/tick.h).

So the last one is made half a step before the ramp ends.
"""

import math

import numpy as np
from numpy.typing import NDArray

from protocol.units import NS
from sim.motors import Motion, RampSegment

Times = NDArray[np.int64]
Array = NDArray[np.float64]
HALVINGS = 48  # of a leg with jerk, in search of a pulse: to less than a nanosecond


def pulse_times(motion: Motion) -> Times:
    """Times (n,) of all pulses, in ns; they take the motor one by one from the step where it begins to `target`."""
    if not motion.legs:
        return np.zeros(0, np.int64)
    way = way_of(motion)
    # How far the ramp is at each boundary of its legs, counted in the direction in which it goes.
    bounds = np.array([way * leg.steps for leg in motion.legs] + [way * float(motion.target)])
    passed = np.floor(bounds + 0.5).astype(np.int64)
    parts = []
    for leg, first, last in zip(motion.legs, passed, passed[1:], strict=False):
        to_go = np.maximum(0.0, np.arange(first + 1, last + 1) - 0.5 - way * leg.steps)
        into_s = np.minimum(_by_halves(leg, way, to_go) if leg.jerk else _by_root(leg, way, to_go), leg.duration_s)
        parts.append(motion.begin_ns + np.round((leg.start_s + into_s) * NS).astype(np.int64))
    return np.minimum(np.maximum.accumulate(np.concatenate(parts)), motion.end_ns)


def way_of(motion: Motion) -> int:
    """The direction of a motion, 1 or -1; it never turns back."""
    return 1 if motion.target >= motion.legs[0].steps else -1


def _by_root(leg: RampSegment, way: int, to_go: Array) -> Array:
    """Seconds into a leg without jerk: 2 d / (v + sqrt(v^2 + 2 a d)), exact for small a as well."""
    speed = max(0.0, way * leg.speed)
    later = np.sqrt(np.maximum(0.0, speed * speed + 2 * way * leg.accel * to_go))
    into_s: Array = 2 * to_go / np.maximum(speed + later, math.ulp(0.0) * 4)
    return into_s


def _by_halves(leg: RampSegment, way: int, to_go: Array) -> Array:
    """Seconds into a leg, by bisection."""
    speed, accel, jerk = max(0.0, way * leg.speed), way * leg.accel, way * leg.jerk
    low: Array = np.zeros_like(to_go)
    high: Array = np.full_like(to_go, leg.duration_s)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        short = middle * (speed + middle * (accel / 2 + middle * jerk / 6)) < to_go
        low[short], high[~short] = middle[short], middle[~short]
    return high
