"""Where the camera really points: motor positions through the gears, plus ringing after changes of speed.

Each axis rings like a mass on a damped spring that is driven by the motor's acceleration. Its response to a step of
acceleration `a` is -a / w^2 (1 - exp(-z w t) (cos(wd t) + z w / wd sin(wd t))), with w the natural and wd = w sqrt(1 -
z^2) the damped angular frequency, z the damping ratio (W. Thomson and M. Dahleh, *Theory of Vibration with Applications*,
5th ed., chapter 4). A ramp is a few such steps, so ringing has a closed form too. A sudden change of speed v rings as -v
/ wd exp(-z w t) sin(wd t).
"""

import math
from dataclasses import dataclass
from random import Random

from protocol.units import NS
from sim.axis import AxisSpec, SimulatedAxis
from sim.lean import leaned, leaned_roll
from sim.motors import Motion
from sim.wind import Wind


@dataclass(frozen=True, slots=True)
class HeadSpec:
    """The true mechanics. `pixel_deg` is the angle of one pixel at the picture's centre.

    The base leans by `lean_deg` toward the yaw `lean_toward_deg`; gusts come every `gusts_every_s` on average (0: none).
    """

    pan: AxisSpec
    tilt: AxisSpec
    ring_hz: float
    ring_damping: float
    pixel_deg: float
    lean_deg: float = 0.0
    lean_toward_deg: float = 0.0
    gusts_every_s: float = 0.0
    gust_peak_deg: float = 0.0


class SimulatedHead:
    """Two axes with the camera on them. Zero of both axes is the true zero of the switches."""

    def __init__(self, spec: HeadSpec, pan_steps: int, tilt_steps: int, seed: int = 0) -> None:
        self.spec = spec
        random = Random(seed)
        self.pan = SimulatedAxis(spec.pan, pan_steps, random)
        self.tilt = SimulatedAxis(spec.tilt, tilt_steps, random)
        self.wind = Wind(seed, spec.gusts_every_s, spec.gust_peak_deg)
        self._by_hand: tuple[float, float, tuple[Motion, Motion]] | None = None
        self._omega = 2 * math.pi * spec.ring_hz
        self._damped = self._omega * math.sqrt(1 - spec.ring_damping**2)

    def axis(self, name: str) -> SimulatedAxis:
        """The axis of that name, pan or tilt."""
        return self.pan if name == "pan" else self.tilt

    def hold_by_hand(self, yaw_deg: float, pitch_deg: float) -> None:
        """Hold the camera by hand, quite still, until the head moves again."""
        self._by_hand = (yaw_deg, pitch_deg, (self.pan.motion, self.tilt.motion))

    @property
    def is_by_hand(self) -> bool:
        """Whether the camera is held by hand."""
        return self._by_hand is not None and self._by_hand[2] == (self.pan.motion, self.tilt.motion)

    @property
    def lean(self) -> tuple[float, float]:
        """How far the base under the camera leans and toward which yaw, in degrees; a hand holds the camera level."""
        return (0.0, 0.0) if self.is_by_hand else (self.spec.lean_deg, self.spec.lean_toward_deg)

    def angles_deg(self, now_ns: int) -> tuple[float, float]:
        """Angles of pan and tilt on the base, with ringing and wind; the motors rest on whole steps."""
        if self._by_hand is not None and self.is_by_hand:
            return self._by_hand[:2]
        pan_deg = self.pan.angle_deg(now_ns) + self._ringing_deg(self.pan, now_ns)
        tilt_deg = self.tilt.angle_deg(now_ns) + self._ringing_deg(self.tilt, now_ns)
        if self.wind.blows:
            by_wind = self.wind.offset_deg(now_ns)
            pan_deg, tilt_deg = pan_deg + by_wind[0], tilt_deg + by_wind[1]
        return pan_deg, tilt_deg

    def pose_deg(self, now_ns: int) -> tuple[float, float]:
        """True yaw and pitch of the camera in degrees."""
        return leaned(*self.angles_deg(now_ns), *self.lean)

    def roll_deg(self, now_ns: int) -> float:
        """True roll of the camera in degrees: positive if its right side hangs low."""
        return leaned_roll(*self.angles_deg(now_ns), *self.lean)

    def _ringing_deg(self, axis: SimulatedAxis, now_ns: int) -> float:
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
        """Upper bound on the motion of the picture after `from_ns`, pixels; infinite while the head turns or in wind."""
        if self.wind.blows or max(self.pan.motion.end_ns, self.tilt.motion.end_ns) > from_ns:
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
        """Largest motion of the picture between two times, in pixels, from closely spaced angles.

        A turn of the camera moves no point of the picture by more than the angle of the turn. So the angles of the two
        axes are combined directly, whatever the pitch and the lean.
        """
        period_ns = NS / self.spec.ring_hz
        count = min(400, max(2, math.ceil(16 * (to_ns - from_ns) / period_ns) + 1))
        angles = [self.angles_deg(from_ns + (to_ns - from_ns) * i // (count - 1)) for i in range(count)]
        pans, tilts = zip(*angles, strict=True)
        return math.hypot(max(pans) - min(pans), max(tilts) - min(tilts)) / self.spec.pixel_deg
