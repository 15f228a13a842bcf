"""One axis: position as a closed form of time, in ramps of constant acceleration.

Rest to rest: T = d/V + V/A when d A >= V^2, else T = 2 sqrt(d/A) (L. Biagiotti and C. Melchiorri, *Trajectory
Planning for Automatic Machines and Robots*, Springer 2008, section 3.2). A stop takes the way v^2 / 2A.
Times are integer nanoseconds outside and seconds since the motion began inside; positions are steps.
"""

import math
from dataclasses import dataclass

NS = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of constant acceleration: from `start_s`, at `steps` and `speed`, for `duration_s`."""

    start_s: float
    steps: float
    speed: float
    accel: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class Motion:
    """A motion that begins at `begin_ns` and rests at `target` from `end_ns` on; `legs` may be empty."""

    begin_ns: int
    end_ns: int
    target: int
    legs: tuple[Leg, ...] = ()

    def steps_at(self, now_ns: int) -> float:
        """Position in (fractions of) steps."""
        if now_ns >= self.end_ns or not self.legs:
            return float(self.target)
        leg, t = self._leg(now_ns)
        return leg.steps + leg.speed * t + leg.accel * t * t / 2

    def speed_at(self, now_ns: int) -> float:
        """Speed in steps per second, with its sign."""
        if now_ns >= self.end_ns or not self.legs:
            return 0.0
        leg, t = self._leg(now_ns)
        return leg.speed + leg.accel * t

    def _leg(self, now_ns: int) -> tuple[Leg, float]:
        elapsed = (now_ns - self.begin_ns) / NS
        leg = next((leg for leg in reversed(self.legs) if leg.start_s <= elapsed), self.legs[0])
        return leg, max(0.0, elapsed - leg.start_s)

    def when_at(self, steps: float) -> int | None:
        """The first moment (ns) at which the motion passes `steps`, None if it never does."""
        for leg in self.legs:
            for t in sorted(_roots(leg.accel / 2, leg.speed, leg.steps - steps)):
                if -1e-12 <= t <= leg.duration_s + 1e-12:
                    return self.begin_ns + math.ceil((leg.start_s + t) * NS)
        return None

    def accelerations(self) -> list[tuple[int, float]]:
        """The steps of the acceleration: (moment in ns, change in steps/s^2), the return to zero included."""
        changes, before = [], 0.0
        for leg in self.legs:
            changes.append((self.begin_ns + round(leg.start_s * NS), leg.accel - before))
            before = leg.accel
        if self.legs:
            changes.append((self.end_ns, -before))
        return changes


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


def move(begin_ns: int, start: int, target: int, speed: float, accel: float) -> Motion:
    """From rest at `start` to rest at `target`: ramp, cruise where there is room, ramp."""
    distance = abs(target - start)
    if distance == 0:
        return at_rest(target, begin_ns)
    sign = 1.0 if target > start else -1.0
    peak = min(speed, math.sqrt(distance * accel))
    ramp_s = peak / accel
    cruise_s = max(0.0, distance / peak - ramp_s)
    ramp_steps = peak * ramp_s / 2
    up = Leg(0.0, float(start), 0.0, sign * accel, ramp_s)
    cruise = Leg(ramp_s, start + sign * ramp_steps, sign * peak, 0.0, cruise_s)
    down = Leg(ramp_s + cruise_s, target - sign * ramp_steps, sign * peak, -sign * accel, ramp_s)
    legs = (up, cruise, down) if cruise_s > 0 else (up, down)
    return Motion(begin_ns, begin_ns + math.ceil((2 * ramp_s + cruise_s) * NS), target, legs)


def stop(motion: Motion, now_ns: int, accel: float) -> Motion:
    """The ramp to rest out of `motion` at `now_ns`, v^2 / 2A long but for the part of a step that makes it whole.

    It never leads beyond the motion's own target. A motor less than a step from rest stands on its step already.
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
    leg = Leg(0.0, steps, speed, -sign * braking, duration_s)
    return Motion(now_ns, now_ns + math.ceil(duration_s * NS), target, (leg,))
