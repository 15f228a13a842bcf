"""How the camera swings on its plate: each axis in one or more modes, driven by the steps that the plate truly makes.

A mode is a mass on a damped spring whose foot moves as the plate does. With y the way of the mass against its foot, w the
natural and wd = w sqrt(1 - z^2) the damped angular frequency and z the damping ratio,

    y'' + 2 z w y' + w^2 y = -x''

so that a sudden step of the foot by h leaves y = -h exp(-z w t) (cos(wd t) - z w / wd sin(wd t)), and a sudden change of
the camera's speed by v leaves y = -v / wd exp(-z w t) sin(wd t) (W. Thomson and M. Dahleh, *Theory of Vibration with
Applications*, 5th ed., chapter 4). Both are the real part of a complex number that turns and fades as exp((-z w + i wd)
t), and such numbers simply add up. If the frequency changes with the camera's pitch, it counts as constant for a short
slice of time; y and y' go on from one slice to the next.
"""

import cmath
import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from protocol.units import NS
from sim.axis import SimulatedAxis
from sim.events import NOTHING, Events, together

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SLICE_NS = 20_000_000
MOST_SLICES = 400
AT_ONCE = 2048  # pulses that are worked out together, for the sake of memory
REMEMBERED = 8  # stretches of each axis: more than there are in any exposure


@dataclass(frozen=True, slots=True)
class SwingMode:
    """One mode. It takes part in `gain` of the plate's motion.

    `hz_over_pitch` are pitches of the camera (degrees, in order) and natural frequencies, with straight lines between.
    """

    hz_over_pitch: tuple[tuple[float, float], ...]
    damping: float
    gain: float = 1.0

    def poles(self, pitch_deg: Array) -> Complex:
        """-z w + i wd at each of these pitches, 1/s."""
        pitches, hz = zip(*self.hz_over_pitch, strict=True)
        omega = 2 * math.pi * np.interp(pitch_deg, pitches, hz)
        poles: Complex = omega * complex(-self.damping, math.sqrt(1 - self.damping**2))
        return poles

    @property
    def fastest_hz(self) -> float:
        """The highest frequency at any pitch."""
        return max(hz for _, hz in self.hz_over_pitch)


@dataclass(slots=True)
class Swing:
    """One mode of one axis: what it does after each of the moments that `CameraSwing` keeps."""

    mode: SwingMode
    states: list[complex] = field(default_factory=lambda: [0j])
    poles: list[complex] = field(default_factory=list)

    def go_on(self, at_ns: Sequence[int], poles: Sequence[complex], events: Events) -> None:
        """Follow the latest state through these moments, the first of which is its own; poles for the time after each."""
        state = _as_with(self.states[-1], self.poles[-1], poles[0])
        self.states[-1], self.poles[-1] = state, poles[0]
        pushed = self._pushed(np.array(at_ns), np.array(poles), events)
        turned = np.exp(np.array(poles[:-1]) * np.diff(at_ns) / NS).tolist()
        for turn, push, pole, after in zip(turned, pushed, poles, poles[1:], strict=False):
            state = state * turn + push
            if after != pole:
                state = _as_with(state, pole, after)
            self.states.append(state)
        self.poles += poles[1:]

    def _pushed(self, at_ns: NDArray[np.int64], poles: Complex, events: Events) -> list[complex]:
        """What the events of each slice add to the state at its end."""
        if not len(events.at_ns):
            return [0j] * (len(at_ns) - 1)
        count = len(at_ns) - 1
        total = np.zeros(count, complex)
        for some in events.in_parts(AT_ONCE):
            slices = np.searchsorted(at_ns, some.at_ns) - 1
            added = pushes(poles[slices], some, at_ns[slices + 1])
            total += np.bincount(slices, added.real, count) + 1j * np.bincount(slices, added.imag, count)
        parts: list[complex] = total.tolist()
        return parts


def pushes(pole: Complex, events: Events, until_ns: NDArray[np.int64]) -> Complex:
    """What each of these events adds to a state by `until_ns`."""
    fade, turn = pole.real, pole.imag
    begun = -events.jumps_deg * (1 - 1j * fade / turn) + 1j * events.kicks_deg_s / turn
    added: Complex = begun * np.exp(pole * ((until_ns - events.at_ns) / NS))
    return added


def _as_with(state: complex, pole: complex, other: complex) -> complex:
    """The state with the same y and y' for another pole."""
    if pole == other:
        return state
    speed = (pole * state).real
    return complex(state.real, (other.real * state.real - speed) / other.imag)


class CameraSwing:
    """The swing of the camera about both axes. It follows what the axes do; ask it about any time up to now."""

    def __init__(
        self, pan: SimulatedAxis, tilt: SimulatedAxis, modes: tuple[tuple[SwingMode, ...], tuple[SwingMode, ...]]
    ) -> None:
        self._axes = (pan, tilt)
        self._at_ns = [-1]
        self._swings = tuple([Swing(mode) for mode in own] for own in modes)
        # What happened to the axes since each of some moments, up to the next of them.
        self._parts: list[tuple[int, tuple[Events, Events]]] = [(-1, (NOTHING, NOTHING))]
        for swing in (*self._swings[0], *self._swings[1]):
            swing.poles += swing.mode.poles(np.array([tilt.angle_deg(0)])).tolist()
        self.fastest_hz = max(mode.fastest_hz for own in modes for mode in own)

    def lag_deg(self, axis: int, now_ns: int) -> float:
        """How far the camera is from where its plate is, about pan (0) or tilt (1), in degrees."""
        self._catch_up()
        number = max(0, bisect_right(self._at_ns, now_ns) - 1)
        return sum(swing.mode.gain * self._state(axis, swing, number, now_ns).real for swing in self._swings[axis])

    def amplitudes_deg(self, axis: int, now_ns: int) -> list[tuple[float, complex, complex]]:
        """Gain, state and pole of each mode at that time. |state| bounds the swing from then on if nothing happens."""
        self._catch_up()
        number = max(0, bisect_right(self._at_ns, now_ns) - 1)
        return [
            (swing.mode.gain, self._state(axis, swing, number, now_ns), swing.poles[number])
            for swing in self._swings[axis]
        ]

    def events_in(self, axis: int, from_ns: int, to_ns: int) -> Events:
        """What happened to that axis after `from_ns`, up to `to_ns`."""
        self._catch_up()
        ends = [*(begin_ns for begin_ns, _ in self._parts[1:]), to_ns]
        return together(
            [
                events[axis].between(max(from_ns, begin_ns), min(to_ns, end_ns))
                for (begin_ns, events), end_ns in zip(self._parts, ends, strict=True)
                if end_ns > from_ns
            ]
        )

    def _state(self, axis: int, swing: Swing, number: int, now_ns: int) -> complex:
        pole = swing.poles[number]
        state = swing.states[number] * cmath.exp(pole * ((now_ns - self._at_ns[number]) / NS))
        part = bisect_right(self._parts, self._at_ns[number], key=itemgetter(0)) - 1
        events = self._parts[part][1][axis].between(self._at_ns[number], now_ns)
        if len(events.at_ns):
            state += complex(pushes(np.array([pole]), events, np.array([now_ns])).sum())
        return state

    def _catch_up(self) -> None:
        """Follow the axes if anything about them has changed."""
        changes = [changed_ns for axis in self._axes if (changed_ns := axis.take_change()) is not None]
        if not changes:
            return
        since_ns = min(changes)
        kept = max(1, bisect_left(self._at_ns, since_ns))
        for swing in (*self._swings[0], *self._swings[1]):
            del swing.states[kept:], swing.poles[kept:]
        del self._at_ns[kept:]
        begin_ns = self._at_ns[-1]
        end_ns = max(since_ns, *(axis.busy_until_ns for axis in self._axes))
        moments = {*_slices(max(since_ns, begin_ns + 1), end_ns)}
        moments.update(*(axis.changes_after(begin_ns) for axis in self._axes))  # there the pitch may jump
        at_ns = [begin_ns, *sorted(moments)]
        pitches = self._pitches(at_ns)
        pan, tilt = (axis.events(begin_ns) for axis in self._axes)
        for events, swings in zip((pan, tilt), self._swings, strict=True):
            for swing in swings:
                swing.go_on(at_ns, swing.mode.poles(pitches).tolist(), events)
        self._at_ns += at_ns[1:]
        while self._parts and self._parts[-1][0] >= begin_ns:
            self._parts.pop()
        self._parts.append((begin_ns, (pan, tilt)))
        self._forget()

    def _pitches(self, at_ns: Sequence[int]) -> Array:
        """The camera's pitch in the middle of the time between these moments, and after the last, in degrees."""
        if all(len(swing.mode.hz_over_pitch) == 1 for own in self._swings for swing in own):
            return np.zeros(len(at_ns))
        middles = [(a + b) // 2 for a, b in pairwise(at_ns)] + [at_ns[-1]]
        return np.array([self._axes[1].angle_deg(moment) for moment in middles])

    def _forget(self) -> None:
        """Drop what lies far back."""
        before_ns = max(axis.forget(REMEMBERED) for axis in self._axes)
        kept = max(0, bisect_right(self._at_ns, before_ns) - 1)
        if kept > MOST_SLICES:
            del self._at_ns[:kept]
            for swing in (*self._swings[0], *self._swings[1]):
                del swing.states[:kept], swing.poles[:kept]
            del self._parts[: bisect_right(self._parts, self._at_ns[0], key=itemgetter(0)) - 1]


def _slices(begin_ns: int, end_ns: int) -> list[int]:
    """Moments from the beginning to the end, evenly spaced."""
    count = min(MOST_SLICES, math.ceil((end_ns - begin_ns) / SLICE_NS))
    return [begin_ns + (end_ns - begin_ns) * number // max(1, count) for number in range(count + 1)]
