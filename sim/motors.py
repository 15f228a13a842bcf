"""One axis: position as a closed form of time, in ramps of constant acceleration or of limited jerk.

Rest to rest: T = d/V + V/A if d A >= V^2, else T = 2 sqrt(d/A) (L. Biagiotti and C. Melchiorri, *Trajectory Planning for
Automatic Machines and Robots*, Springer 2008, section 3.2); with limited jerk, the double S of section 3.4. The stopping
distance is v^2 / 2A. Times are integer nanoseconds outside and seconds since the motion began inside; positions are
steps.
"""

import math
from dataclasses import dataclass

from protocol.units import NS

STAIRS = 16  # into which each ramp of the acceleration is divided for ringing


@dataclass(frozen=True, slots=True)
class RampSegment:
    """A segment of constant acceleration or jerk: from `start_s`, at `steps`, `speed` and `accel`, for `duration_s`."""

    start_s: float
    steps: float
    speed: float
    accel: float
    duration_s: float
    jerk: float = 0.0

    def steps_at(self, t: float) -> float:
        """Position `t` seconds into the segment."""
        return self.steps + t * (self.speed + t * (self.accel / 2 + t * self.jerk / 6))

    def speed_at(self, t: float) -> float:
        """Speed `t` seconds into the segment."""
        return self.speed + t * (self.accel + t * self.jerk / 2)

    def accel_at(self, t: float) -> float:
        """Acceleration `t` seconds into the segment."""
        return self.accel + t * self.jerk


@dataclass(frozen=True, slots=True)
class Motion:
    """A motion that begins at `begin_ns` and is at rest at `target` from `end_ns` on; `legs` may be empty."""

    begin_ns: int
    end_ns: int
    target: int
    legs: tuple[RampSegment, ...] = ()

    def steps_at(self, now_ns: int) -> float:
        """Position in (fractions of) steps."""
        if now_ns >= self.end_ns or not self.legs:
            return float(self.target)
        leg, t = self._leg(now_ns)
        return leg.steps_at(t)

    def speed_at(self, now_ns: int) -> float:
        """Speed in steps per second, with its sign."""
        if now_ns >= self.end_ns or not self.legs:
            return 0.0
        leg, t = self._leg(now_ns)
        return leg.speed_at(t)

    def _leg(self, now_ns: int) -> tuple[RampSegment, float]:
        elapsed = (now_ns - self.begin_ns) / NS
        leg = next((leg for leg in reversed(self.legs) if leg.start_s <= elapsed), self.legs[0])
        return leg, max(0.0, elapsed - leg.start_s)

    def when_at(self, steps: float) -> int | None:
        """The first time (ns) at which the motion passes `steps`, None if it never does."""
        for leg in self.legs:
            for t in _passes(leg, steps):
                if -1e-12 <= t <= leg.duration_s + 1e-12:
                    return self.begin_ns + math.ceil((leg.start_s + t) * NS)
        return None

    def accelerations(self) -> list[tuple[int, float]]:
        """The steps of the acceleration: (time in ns, change in steps/s^2), including the return to zero.

        A ramp of the acceleration becomes a staircase of small steps, each in the middle of its part.
        """
        changes, before = [], 0.0
        for leg in self.legs:
            stairs = STAIRS if leg.jerk else 1
            for stair in range(stairs):
                t = leg.duration_s * (stair + 0.5) / stairs if leg.jerk else 0.0
                accel = leg.accel_at(leg.duration_s * (stair + 1) / stairs) if leg.jerk else leg.accel
                changes.append((self.begin_ns + round((leg.start_s + t) * NS), accel - before))
                before = accel
        if self.legs:
            changes.append((self.end_ns, -before))
        return changes


def _passes(leg: RampSegment, steps: float) -> list[float]:
    """When, in seconds into it, a leg passes `steps`, in order. With jerk a leg moves one way only."""
    if not leg.jerk:
        return sorted(_roots(leg.accel / 2, leg.speed, leg.steps - steps))
    low, high = 0.0, leg.duration_s
    if (leg.steps_at(low) - steps) * (leg.steps_at(high) - steps) > 0:
        return []
    rising = leg.steps_at(high) > leg.steps_at(low)
    while high - low > 1e-10:
        middle = (low + high) / 2
        low, high = (middle, high) if (leg.steps_at(middle) < steps) == rising else (low, middle)
    return [high]


def _roots(a: float, b: float, c: float) -> tuple[float, ...]:
    if a == 0:
        return () if b == 0 else (-c / b,)
    inside = b * b - 4 * a * c
    if inside < 0:
        return ()
    root = math.sqrt(inside)
    return ((-b - root) / (2 * a), (-b + root) / (2 * a))


def at_rest(steps: int, now_ns: int = 0) -> Motion:
    """A motion that stays at `steps`."""
    return Motion(now_ns, now_ns, steps)


def move(begin_ns: int, start: int, target: int, speed: float, accel: float, jerk: float | None = None) -> Motion:
    """From rest at `start` to rest at `target`: ramp, cruise if there is room, ramp; `jerk` in steps/s^3."""
    distance = abs(target - start)
    if distance == 0:
        return at_rest(target, begin_ns)
    sign = 1.0 if target > start else -1.0
    if jerk is not None:
        return _double_s(begin_ns, start, target, sign, (speed, accel, jerk))
    peak = min(speed, math.sqrt(distance * accel))
    ramp_s = peak / accel
    cruise_s = max(0.0, distance / peak - ramp_s)
    ramp_steps = peak * ramp_s / 2
    up = RampSegment(0.0, float(start), 0.0, sign * accel, ramp_s)
    cruise = RampSegment(ramp_s, start + sign * ramp_steps, sign * peak, 0.0, cruise_s)
    down = RampSegment(ramp_s + cruise_s, target - sign * ramp_steps, sign * peak, -sign * accel, ramp_s)
    legs = (up, cruise, down) if cruise_s > 0 else (up, down)
    return Motion(begin_ns, begin_ns + math.ceil((2 * ramp_s + cruise_s) * NS), target, legs)


def _double_s(begin_ns: int, start: int, target: int, sign: float, most: tuple[float, float, float]) -> Motion:
    """Acceleration rises and falls in ramps: seven legs, without those of zero length (section 3.4)."""
    speed, accel, jerk = most
    distance = abs(target - start)
    rise_s = min(accel / jerk, math.sqrt(speed / jerk))
    ramp_s = rise_s + speed / (jerk * rise_s)
    cruise_s = distance / speed - ramp_s
    if cruise_s < 0:  # too short to reach the speed
        cruise_s, rise_s = 0.0, accel / jerk
        ramp_s = rise_s / 2 + math.sqrt(rise_s**2 / 4 + distance / accel)
        if ramp_s < 2 * rise_s:  # too short to reach the acceleration as well
            rise_s = (distance / (2 * jerk)) ** (1 / 3)
            ramp_s = 2 * rise_s
    flat_s = ramp_s - 2 * rise_s
    jerks = (
        (jerk, rise_s),
        (0.0, flat_s),
        (-jerk, rise_s),
        (0.0, cruise_s),
        (-jerk, rise_s),
        (0.0, flat_s),
        (jerk, rise_s),
    )
    legs: list[RampSegment] = []
    at = RampSegment(0.0, float(start), 0.0, 0.0, 0.0)
    for change, duration_s in jerks:
        if duration_s <= 1e-12:
            continue
        t = at.duration_s
        accel_now = 0.0 if not legs else at.accel_at(t)
        at = RampSegment(at.start_s + t, at.steps_at(t), at.speed_at(t), accel_now, duration_s, sign * change)
        legs.append(at)
    return Motion(begin_ns, begin_ns + math.ceil((2 * ramp_s + cruise_s) * NS), target, tuple(legs))


def stop(motion: Motion, now_ns: int, accel: float) -> Motion:
    """The ramp to rest out of `motion` at `now_ns`: v^2 / 2A long, rounded to end on a whole step.

    It never leads beyond the motion's own target. A motor less than a step from rest is already on its step.
    """
    speed, steps = motion.speed_at(now_ns), motion.steps_at(now_ns)
    sign = math.copysign(1.0, speed)
    way = speed * speed / (2 * accel)
    target = round(steps + sign * way)
    if (target - motion.target) * sign > 0:
        target = motion.target
    if way < 1 or (target - steps) * sign <= way / 2:
        return at_rest(round(steps), now_ns)
    braking = speed * speed / (2 * abs(target - steps))
    duration_s = abs(speed) / braking
    leg = RampSegment(0.0, steps, speed, -sign * braking, duration_s)
    return Motion(now_ns, now_ns + math.ceil(duration_s * NS), target, (leg,))
