"""What a Move turns an axis by: the ramp of protocol.ramp with the axis's shaper, as legs of constant acceleration."""

import math
from itertools import pairwise

from protocol.ramp import changes, ramp_of
from protocol.shaper import Shaper
from protocol.units import MS
from sim.motors import Motion, RampSegment, at_rest


def shaped(begin_ns: int, start: int, target: int, speed_steps_s: int, accel_steps_s2: int, shaper: Shaper) -> Motion:
    """From rest at `start` to rest at `target`."""
    ramp = ramp_of(target - start, speed_steps_s, accel_steps_s2)
    if ramp.steps == 0:
        return at_rest(target, begin_ns)
    sign = math.copysign(1.0, target - start)
    end_ms = ramp.duration_ms + shaper.duration_ms
    legs: list[RampSegment] = []
    steps, speed, accel = float(start), 0.0, 0.0
    for (at_ms, change), (next_ms, _) in pairwise([*changes(ramp, shaper), (end_ms, 0.0)]):
        accel += sign * change
        if next_ms > at_ms:
            leg = RampSegment(at_ms / 1000, steps, speed, accel, (next_ms - at_ms) / 1000)
            legs.append(leg)
            steps, speed = leg.steps_at(leg.duration_s), leg.speed_at(leg.duration_s)
    return Motion(begin_ns, begin_ns + end_ms * MS, target, tuple(legs))
