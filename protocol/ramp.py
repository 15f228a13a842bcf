"""The motion that a Move asks for, exactly: whole milliseconds of ramp and cruise, and the shaper laid over them.

A ramp from rest to rest takes d/V + V/A if d A >= V^2, else 2 sqrt(d/A) (L. Biagiotti and C. Melchiorri, *Trajectory
Planning for Automatic Machines and Robots*, Springer 2008, section 3.2). Its parts are rounded up to whole milliseconds
and speed and acceleration lowered to fit, so that the way is exact and neither is ever above what was asked for.
"""

import math
from dataclasses import dataclass

from protocol.shaper import Shaper


@dataclass(frozen=True, slots=True)
class Ramp:
    """`ramp_ms` up, `cruise_ms` at one speed, `ramp_ms` down; over `steps` (0 or more)."""

    steps: int
    ramp_ms: int
    cruise_ms: int

    @property
    def duration_ms(self) -> int:
        """From rest to rest."""
        return 2 * self.ramp_ms + self.cruise_ms

    @property
    def flat_ms(self) -> int:
        """From the beginning to the ramp down."""
        return self.ramp_ms + self.cruise_ms

    @property
    def speed_steps_s(self) -> float:
        """The speed of the cruise."""
        return 1000 * self.steps / self.flat_ms if self.steps else 0.0

    @property
    def accel_steps_s2(self) -> float:
        """The acceleration of both ramps."""
        return 1000 * self.speed_steps_s / self.ramp_ms if self.steps else 0.0


def ramp_of(steps: int, speed_steps_s: int, accel_steps_s2: int) -> Ramp:
    """The ramp over `steps` (their sign does not matter) at no more than this speed and acceleration."""
    steps = abs(steps)
    if steps == 0:
        return Ramp(0, 0, 0)
    if steps * accel_steps_s2 < speed_steps_s**2:
        return Ramp(steps, math.isqrt(-(-1_000_000 * steps // accel_steps_s2) - 1) + 1, 0)
    ramp_ms = -(-1000 * speed_steps_s // accel_steps_s2)
    return Ramp(steps, ramp_ms, max(0, -(-1000 * steps // speed_steps_s) - ramp_ms))


def changes(ramp: Ramp, shaper: Shaper) -> list[tuple[int, float]]:
    """The changes of acceleration: (ms since the beginning, steps/s^2), in order of time."""
    accel, up, down = ramp.accel_steps_s2, ramp.ramp_ms, ramp.flat_ms
    plain = ((0, accel), (up, -accel), (down, -accel), (down + up, accel))
    return sorted((delay + at_ms, share * change) for delay, share in shaper.weights for at_ms, change in plain if change)
