"""Where the camera really points: motor positions through the gears, plus ringing after changes of speed.

Each axis rings like a mass on a damped spring that is driven by the motor's acceleration. Its answer to a step
of acceleration `a` is -a / w^2 (1 - exp(-z w t) (cos(wd t) + z w / wd sin(wd t))), with w the natural and
wd = w sqrt(1 - z^2) the damped angular frequency, z the damping ratio (W. Thomson and M. Dahleh, *Theory of
Vibration with Applications*, 5th ed., chapter 4). A ramp is a few such steps, so ringing has a closed form too. A
sudden change of speed v rings as -v / wd exp(-z w t) sin(wd t).
"""

import math
from collections import deque
from dataclasses import dataclass

from sim.motors import NS, Motion, at_rest

REMEMBERED_MOTIONS = 4  # that may still ring; each as a whole, since only a whole motion's steps add up to nothing


@dataclass(frozen=True, slots=True)
class HeadSpec:
    """The true mechanics. `pixel_deg` is the angle of one pixel at the picture's centre."""

    pan_steps_per_degree: float
    tilt_steps_per_degree: float
    ring_hz: float
    ring_damping: float
    pixel_deg: float


class Axis:
    """One axis: its motion, and the steps of acceleration of the latest motions, which may still ring."""

    def __init__(self, steps: int, steps_per_degree: float) -> None:
        self.steps_per_degree = steps_per_degree
        self.motion: Motion = at_rest(steps)
        self._shaken: deque[list[tuple[int, float]]] = deque(maxlen=REMEMBERED_MOTIONS)
        self._jolts: deque[tuple[int, float]] = deque(maxlen=REMEMBERED_MOTIONS)

    def begin(self, motion: Motion) -> None:
        """Take up `motion`; what the motion before it had still planned is forgotten."""
        now_ns = motion.begin_ns
        latest = self._shaken[-1] if self._shaken else []
        undone = 0.0
        while latest and latest[-1][0] >= now_ns:
            undone += latest.pop()[1]
        if undone:  # it was accelerating when it was cut short
            latest.append((now_ns, undone))
        changes = [(at_ns, change / self.steps_per_degree) for at_ns, change in motion.accelerations()]
        if changes:
            self._shaken.append(changes)
        self.motion = motion

    def shakes(self, now_ns: int) -> list[tuple[float, float]]:
        """Steps of acceleration up to now: (seconds ago, change in degrees/s^2)."""
        return [
            ((now_ns - at_ns) / NS, change) for changes in self._shaken for at_ns, change in changes if at_ns <= now_ns
        ]

    def jolt(self, now_ns: int) -> None:
        """The pulses end at once: the speed is gone in no time."""
        self._jolts.append((now_ns, -self.motion.speed_at(now_ns) / self.steps_per_degree))
        self.begin(at_rest(round(self.motion.steps_at(now_ns)), now_ns))

    def jolts(self, now_ns: int) -> list[tuple[float, float]]:
        """Sudden changes of speed up to now: (seconds ago, change in degrees/s)."""
        return [((now_ns - at_ns) / NS, change) for at_ns, change in self._jolts if at_ns <= now_ns]


class Head:
    """Two axes and the camera on them. Zero of both axes is the true zero of the switches."""

    def __init__(self, spec: HeadSpec, pan_steps: int, tilt_steps: int) -> None:
        self.spec = spec
        self.pan = Axis(pan_steps, spec.pan_steps_per_degree)
        self.tilt = Axis(tilt_steps, spec.tilt_steps_per_degree)
        self._by_hand: tuple[float, float, tuple[Motion, Motion]] | None = None
        self._omega = 2 * math.pi * spec.ring_hz
        self._damped = self._omega * math.sqrt(1 - spec.ring_damping**2)

    def hold_by_hand(self, yaw_deg: float, pitch_deg: float) -> None:
        """Somebody takes the camera and holds it there, quite still, until the head moves again."""
        self._by_hand = (yaw_deg, pitch_deg, (self.pan.motion, self.tilt.motion))

    def pose_deg(self, now_ns: int) -> tuple[float, float]:
        """True yaw and pitch in degrees, ringing included; the motors stand on whole steps."""
        if self._by_hand is not None and self._by_hand[2] == (self.pan.motion, self.tilt.motion):
            return self._by_hand[:2]
        return self._angle_deg(self.pan, now_ns), self._angle_deg(self.tilt, now_ns)

    def _angle_deg(self, axis: Axis, now_ns: int) -> float:
        return round(axis.motion.steps_at(now_ns)) / axis.steps_per_degree + self._ringing_deg(axis, now_ns)

    def _ringing_deg(self, axis: Axis, now_ns: int) -> float:
        ratio, total = self.spec.ring_damping, 0.0
        for t, change in axis.shakes(now_ns):
            fade = math.exp(-ratio * self._omega * t)
            swing = math.cos(self._damped * t) + ratio * self._omega / self._damped * math.sin(self._damped * t)
            total -= change / self._omega**2 * (1 - fade * swing)
        for t, change in axis.jolts(now_ns):
            fade = math.exp(-ratio * self._omega * t)
            total -= change / self._damped * fade * math.sin(self._damped * t)
        return total

    def motion_bound_px(self, from_ns: int) -> float:
        """No motion of the picture after `from_ns` can exceed this many pixels; infinite while a motor turns."""
        if max(self.pan.motion.end_ns, self.tilt.motion.end_ns) > from_ns:
            return math.inf
        decay = self.spec.ring_damping * self._omega
        widest = self._omega / self._damped  # of the swing's amplitude, sqrt(1 + (z w / wd)^2)
        amplitudes = [
            sum(abs(change) * math.exp(-decay * t) for t, change in axis.shakes(from_ns)) * widest / self._omega**2
            + sum(abs(change) * math.exp(-decay * t) for t, change in axis.jolts(from_ns)) / self._damped
            for axis in (self.pan, self.tilt)
        ]
        return 2 * math.hypot(*amplitudes) / self.spec.pixel_deg

    def motion_px(self, from_ns: int, to_ns: int) -> float:
        """Largest motion of the picture between two moments, in pixels, from closely spaced poses.

        A turn of the camera moves no point of the picture by more than the angle of the turn, so the two axes'
        angles are taken together as they are, whatever the pitch.
        """
        period_ns = NS / self.spec.ring_hz
        count = min(400, max(2, math.ceil(16 * (to_ns - from_ns) / period_ns) + 1))
        poses = [self.pose_deg(from_ns + (to_ns - from_ns) * i // (count - 1)) for i in range(count)]
        yaws, pitches = zip(*poses, strict=True)
        return math.hypot(max(yaws) - min(yaws), max(pitches) - min(pitches)) / self.spec.pixel_deg
