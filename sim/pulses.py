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
    steps = np.arange(passed[0] + 1, passed[-1] + 1)
    of_leg = np.searchsorted(passed, steps) - 1
    table = np.array([_row(leg, way) for leg in motion.legs])[of_leg]
    start_s, at, _, _, _, longest_s = table.T
    to_go = np.maximum(0.0, steps - 0.5 - at)
    jerky = any(leg.jerk for leg in motion.legs)
    into_s = np.minimum(_by_halves(table, to_go) if jerky else _by_root(table, to_go), longest_s)
    times = motion.begin_ns + np.round((start_s + into_s) * NS).astype(np.int64)
    return np.minimum(np.maximum.accumulate(times), motion.end_ns)


def way_of(motion: Motion) -> int:
    """The direction of a motion, 1 or -1; it never turns back."""
    return 1 if motion.target >= motion.legs[0].steps else -1


def _row(leg: RampSegment, way: int) -> tuple[float, ...]:
    return leg.start_s, way * leg.steps, max(0.0, way * leg.speed), way * leg.accel, way * leg.jerk, leg.duration_s


def _by_root(table: Array, to_go: Array) -> Array:
    """Seconds into each leg, which has no jerk: 2 d / (v + sqrt(v^2 + 2 a d)), exact for small a as well."""
    _, _, speed, accel, _, _ = table.T
    later = np.sqrt(np.maximum(0.0, speed * speed + 2 * accel * to_go))
    into_s: Array = 2 * to_go / np.maximum(speed + later, math.ulp(0.0) * 4)
    return into_s


def _by_halves(table: Array, to_go: Array) -> Array:
    """Seconds into each leg, by bisection."""
    _, _, speed, accel, jerk, longest_s = table.T
    low: Array = np.zeros_like(to_go)
    high: Array = longest_s.copy()
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        short = middle * (speed + middle * (accel / 2 + middle * jerk / 6)) < to_go
        low[short], high[~short] = middle[short], middle[~short]
    return high
