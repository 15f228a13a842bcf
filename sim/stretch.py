"""What an axis did from one change to the next: its pulses, what the rotor made of them, and where that took the head."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sim.events import NOTHING, Events
from sim.motors import Motion
from sim.pulses import Times, pulse_times, way_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Gearing:
    """Between rotor and head: microsteps per degree; in degrees half the play, and the error that repeats once a turn."""

    steps_per_degree: float
    half_play_deg: float = 0.0
    wobble_deg: float = 0.0

    def wobbled(self, head_deg: Array) -> Array:
        """Where the head truly is."""
        return head_deg + self.wobble_deg * np.sin(np.radians(head_deg)) if self.wobble_deg else head_deg


@dataclass(frozen=True)
class PlateStretch:
    """From `begin_ns` on: the head was at `rested_deg` then, and the rotor `lost_steps` behind the pulses.

    From `stuck_ns` on the rotor does not follow the pulses at all.
    """

    begin_ns: int
    motion: Motion
    gearing: Gearing
    rested_deg: float
    lost_steps: float = 0.0
    stuck_ns: int | None = None

    def behind(self, now_ns: int) -> float:
        """How many steps the rotor is behind the pulses."""
        if self.stuck_ns is None or now_ns <= self.stuck_ns:
            return self.lost_steps
        stuck = round(self.motion.steps_at(self.stuck_ns))
        return self.lost_steps + round(self.motion.steps_at(now_ns)) - stuck

    def head_deg(self, now_ns: int) -> float:
        """Where the head is, the error of the gear left out."""
        return self._head_deg(round(self.motion.steps_at(now_ns)) - self.behind(now_ns))

    def angle_deg(self, now_ns: int) -> float:
        """Where the head is, to the pulse."""
        if now_ns >= self.motion.end_ns or not self.motion.legs:
            rotor_steps = self.motion.target - self.behind(now_ns)
        else:
            rotor_steps = self._begun + way_of(self.motion) * self._made(now_ns)
        head_deg = self._head_deg(rotor_steps)
        return head_deg + self.gearing.wobble_deg * math.sin(math.radians(head_deg))

    def _head_deg(self, rotor_steps: float) -> float:
        """Where the head is with the rotor at that step: it rests until the play is crossed."""
        rotor_deg, half = rotor_steps / self.gearing.steps_per_degree, self.gearing.half_play_deg
        return min(max(self.rested_deg, rotor_deg - half), rotor_deg + half)

    def jumps(self, after_ns: int, until_ns: int) -> Events:
        """The steps of the head in this time. The first ones move nothing, while the rotor crosses the play."""
        first, last = self._made(max(after_ns, self.begin_ns)), self._made(until_ns)
        if last <= first:
            return NOTHING
        return Events.of_jumps(self._pulses[first:last], np.diff(self._plates_deg(self._rotor(first, last))))

    @cached_property
    def _begun(self) -> float:
        """The rotor's steps before the first pulse."""
        way = way_of(self.motion)
        return way * math.floor(way * self.motion.legs[0].steps + 0.5) - self.lost_steps

    @cached_property
    def _pulses(self) -> Times:
        return pulse_times(self.motion)

    def _made(self, now_ns: int) -> int:
        """How many pulses the rotor has followed."""
        until_ns = now_ns if self.stuck_ns is None else min(now_ns, self.stuck_ns)
        return int(self._pulses.searchsorted(until_ns, side="right"))

    def _rotor(self, first: int, last: int) -> Array:
        """The rotor's steps after so many pulses, from `first` to `last`."""
        steps: Array = self._begun + way_of(self.motion) * np.arange(first, last + 1, dtype=np.float64)
        return steps

    def _plates_deg(self, rotor_steps: Array) -> Array:
        """Where the head is with the rotor at each of these steps."""
        rotor_deg, half = rotor_steps / self.gearing.steps_per_degree, self.gearing.half_play_deg
        return self.gearing.wobbled(np.minimum(np.maximum(self.rested_deg, rotor_deg - half), rotor_deg + half))
