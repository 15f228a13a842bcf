"""Where the camera really points: the plate on the axes, and the camera that swings on it (`sim.ringing`)."""

import math
from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray

from protocol.units import NS
from sim.axis import AxisSpec, SimulatedAxis
from sim.lean import leaned, leaned_roll
from sim.motors import Motion
from sim.ringing import CameraSwing, SwingMode
from sim.wind import FASTEST_HZ, Wind

SECOND_RING_GAIN = 0.3  # our own choice, no source: a plate that gives way swings less than the head
SAMPLES = 64  # of the fastest swing, in search of the largest motion
MOST_MOMENTS = 4000  # if the head itself moves meanwhile
FADED_PX = 1e-3  # of motion that is left: no more is looked for


@dataclass(frozen=True, slots=True)
class HeadSpec:
    """The true mechanics. `pixel_deg` is the angle of one pixel at the picture's centre.

    The camera swings about both axes with `ring_hz` and `ring_damping`, unless an axis has figures of its own. A second
    mode, if there is one, has `second_ring_hz` and `second_ring_damping` (None: damped like the first). It takes part in
    `second_ring_gain` of the plate's motion, and the first mode in the rest.

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
    second_ring_hz: float | None = None
    second_ring_damping: float | None = None
    second_ring_gain: float = SECOND_RING_GAIN

    def modes(self, axis: AxisSpec) -> tuple[SwingMode, ...]:
        """How the camera swings about an axis."""
        damping = self.ring_damping if axis.ring_damping is None else axis.ring_damping
        table = axis.ring_over_pitch or ((0.0, axis.ring_hz or self.ring_hz),)
        if self.second_ring_hz is None:
            return (SwingMode(table, damping),)
        second = damping if self.second_ring_damping is None else self.second_ring_damping
        gain = self.second_ring_gain
        return SwingMode(table, damping, 1 - gain), SwingMode(((0.0, self.second_ring_hz),), second, gain)


class SimulatedHead:
    """Two axes with the camera on them. Zero of both axes is the true zero of the switches."""

    def __init__(self, spec: HeadSpec, pan_steps: int, tilt_steps: int, seed: int = 0) -> None:
        self.spec = spec
        random = Random(seed)
        self.pan = SimulatedAxis(spec.pan, pan_steps, random)
        self.tilt = SimulatedAxis(spec.tilt, tilt_steps, random)
        self.wind = Wind(seed, spec.gusts_every_s, spec.gust_peak_deg)
        self._by_hand: tuple[float, float, tuple[Motion, Motion]] | None = None
        self.ringing = CameraSwing(self.pan, self.tilt, (spec.modes(spec.pan), spec.modes(spec.tilt)))

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
        pan_deg = self.pan.angle_deg(now_ns) + self.ringing.lag_deg(0, now_ns)
        tilt_deg = self.tilt.angle_deg(now_ns) + self.ringing.lag_deg(1, now_ns)
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

    def motion_bound_px(self, from_ns: int) -> float:
        """Upper bound on the motion of the picture after `from_ns`, pixels; infinite while the head turns or in wind."""
        if self.wind.blows or max(self.pan.motion.end_ns, self.tilt.motion.end_ns) > from_ns:
            return math.inf
        amplitudes = [self._amplitude_deg(axis, from_ns) for axis in (0, 1)]
        return 2 * math.hypot(*amplitudes) / self.spec.pixel_deg

    def _amplitude_deg(self, axis: int, from_ns: int) -> float:
        """The most that the camera can be from its plate after `from_ns`; infinite if the plate steps later."""
        swings = self.ringing.amplitudes_deg(axis, from_ns)
        later = self.ringing.events_in(axis, from_ns, 1 << 62)
        if np.any(later.jumps_deg):
            return math.inf
        kicked = float(np.abs(later.kicks_deg_s).sum())
        return sum(gain * (abs(state) + kicked / pole.imag) for gain, state, pole in swings)

    def motion_px(self, from_ns: int, to_ns: int) -> float:
        """Upper bound on the motion of the picture between two times, in pixels, above it by less than a hundredth.

        A turn of the camera moves no point of the picture by more than the angle of the turn. So the angles of the two
        axes are combined directly, whatever the pitch and the lean. If the head itself moved meanwhile, or the wind
        shook it, this is what MOST_MOMENTS and more moments show, and no bound.
        """
        moved = [self._moved_deg(axis, from_ns, to_ns) for axis in (0, 1)]
        if self.wind.blows:
            count = min(MOST_MOMENTS, math.ceil(SAMPLES * (to_ns - from_ns) / NS * FASTEST_HZ) + 2)
            gusts = np.ptp([self.wind.offset_deg(moment) for moment in _moments(from_ns, to_ns, count)], axis=0)
            moved = [own + float(by_wind) for own, by_wind in zip(moved, gusts, strict=True)]
        return math.hypot(*moved) / self.spec.pixel_deg

    def _moved_deg(self, axis: int, from_ns: int, to_ns: int) -> float:
        """Between the two ends of what the camera did about an axis."""
        own = self.axis("tilt" if axis else "pan")
        events = self.ringing.events_in(axis, from_ns, to_ns)
        if len(events.at_ns) or max(self.pan.motion.end_ns, self.tilt.motion.end_ns) > from_ns:
            count = min(MOST_MOMENTS, math.ceil(SAMPLES * (to_ns - from_ns) / NS * self.ringing.fastest_hz) + 2)
            steps = events.at_ns[:: math.ceil(len(events.at_ns) / MOST_MOMENTS)] if len(events.at_ns) else events.at_ns
            moments = {*_moments(from_ns, to_ns, count), *steps.tolist()}
            angles = [own.angle_deg(moment) + self.ringing.lag_deg(axis, moment) for moment in moments]
            return max(angles) - min(angles)
        return _freely_deg(self.ringing.amplitudes_deg(axis, from_ns), (to_ns - from_ns) / NS, self.spec.pixel_deg)


def _moments(from_ns: int, to_ns: int, count: int) -> list[int]:
    """Evenly spaced, both ends among them."""
    return [from_ns + (to_ns - from_ns) * number // (count - 1) for number in range(count)]


def _freely_deg(swings: list[tuple[float, complex, complex]], for_s: float, pixel_deg: float) -> float:
    """How far free swings (gain, state, pole) go from end to end of their sum, in `for_s` seconds; an upper bound.

    Between two samples a curve is off its samples by at most its second derivative times dt^2 / 8.
    """
    amplitude = sum(gain * abs(state) for gain, state, _ in swings)
    slowest = min(-pole.real for _, _, pole in swings)
    faded_deg = FADED_PX * pixel_deg
    if 2 * amplitude <= faded_deg:
        return 2 * amplitude
    looked_s = min(for_s, math.log(2 * amplitude / faded_deg) / slowest)
    rest_deg = faded_deg if looked_s < for_s else 0.0
    fastest = max(abs(pole) for _, _, pole in swings)
    count = SAMPLES + math.ceil(SAMPLES * looked_s * fastest / (2 * math.pi))
    times: NDArray[np.float64] = np.linspace(0, looked_s, count)
    way = sum(gain * (state * np.exp(pole * times)).real for gain, state, pole in swings)
    bend = sum(gain * abs(state) * abs(pole) ** 2 for gain, state, pole in swings)
    missed = 2 * bend * (looked_s / (count - 1)) ** 2 / 8
    return min(2 * amplitude, float(np.ptp(way)) + missed + rest_deg)
