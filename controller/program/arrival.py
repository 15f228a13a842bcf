"""How long a move takes, and how long the camera swings afterwards: from its own ramps, shapers and distances.

What a move leaves is in `controller.shaping.ringing`. What earlier moves left has died away by the time that was spent
since; the rest of it counts in full, whatever its phase.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.kit.kit import Kit
from controller.program.program import Settings
from controller.program.timing import SETTLED_PX
from controller.shaping.rig import band_of_head
from controller.shaping.ringing import Array, left_by_play, left_by_ramp, left_by_shaper, left_by_steps, most_left, seen
from protocol.ramp import ramp_of
from protocol.shaper import PLAIN, Shaper
from protocol.units import MS

Exposures = tuple[tuple[float, float], ...]
Place = tuple[int, int]
"""The targets of both axes, in steps: pan, tilt."""

AFTER_ZERO = 1.1
"""What finding zero leaves, several ramps close together, as a multiple of the most that one ramp of both axes leaves.

In 240 simulated runs with frequencies from 3 to 8 Hz the most was 0.84.
"""


@dataclass(frozen=True, slots=True)
class Approach:
    """The way to a frame: `stops` from where the head stands, the last one is the frame; two or more.

    `exposures` are (seconds since the first may begin, seconds), each at the earliest. With `unforeseen` the head may
    come from anywhere, and may still swing.
    """

    stops: tuple[Place, ...]
    pitch_deg: float
    exposures: Exposures
    unforeseen: bool = False


def lasts_s(exposures: Exposures) -> float:
    """How long exposures take together, at the earliest, in seconds."""
    return sum(exposures[-1]) if exposures else 0.0


def waits_ns(kit: Kit, settings: Settings, approaches: Sequence[Approach]) -> list[int]:
    """How long to wait after each approach, on a head that makes them in this order; `settings` with their shapers.

    Then the picture moves by no more than SETTLED_PX during each exposure, whatever the modes are within what the kit
    states of them. The kit's `settle_ms` counts instead of all this if it is given.
    """
    if kit.head.settle_ms is not None or not approaches:
        return [round((kit.head.settle_ms or 0) * MS)] * len(approaches)
    moves = Moves(kit, settings, approaches)
    took_s, left = moves.shaped(shapers_of(settings))
    waits, swing, leg = [], AFTER_ZERO * moves.anywhere, 0
    for approach in approaches:
        swing = moves.anywhere if approach.unforeseen else swing
        for _ in approach.stops[1:]:
            swing = moves.faded(swing, leg, took_s[leg]) + left[:, :, leg : leg + 1]
            leg += 1
        swing = swing + moves.anywhere if approach.unforeseen else swing
        wait_s = moves.wait_s(swing, approach.exposures, leg - 1)
        swing = moves.faded(swing, leg - 1, wait_s + lasts_s(approach.exposures))
        waits.append(math.ceil(wait_s * 1000) * MS)
    return waits


class Moves:
    """All moves of some approaches at once.

    Amplitudes are in degrees, in arrays (2 axes, modes, moves, n samples of the modes' bands).
    """

    def __init__(self, kit: Kit, settings: Settings, approaches: Sequence[Approach]) -> None:
        ways = np.array([leg for each in approaches for leg in pairwise(each.stops)])
        steps = (ways[:, 1] - ways[:, 0]).T
        per_degree = np.array([setting.steps_per_degree for setting in settings])[:, None]
        ramp_s, flat_s = _ramps_s(steps, settings)
        self._ends_s, self._turns = ramp_s + flat_s, steps != 0
        pitches_deg = np.array([each.pitch_deg for each in approaches for _ in each.stops[1:]])
        self._band = band_of_head(kit.head, pitches_deg)
        axes = [array[:, None] for array in (steps / per_degree, ramp_s, flat_s)]
        self._plain = left_by_ramp(self._band, *axes)
        self._per_degree = per_degree[:, :, None, None]
        self._accel = np.array([setting.accel_steps_s2 for setting in settings])[:, None, None, None]
        self._steps, self._times_s = np.abs(steps), (ramp_s, flat_s)
        play = np.array([kit.head.pan.backlash_deg, kit.head.tilt.backlash_deg])[:, None]
        self._play = np.where(_turning_back(approaches), play * per_degree, 0.0)
        play_deg = (self._play / per_degree)[:, None, :, None]
        self._late = left_by_play(self._band, play_deg, self._accel / self._per_degree)
        most = most_left(self._band, self._accel / self._per_degree)
        self.anywhere: Array = most.max(axis=2, keepdims=True)
        """The most that a move over any distance leaves, on a board that may not have shaped it."""
        self._still_deg = SETTLED_PX * math.degrees(kit.field(0.0).pixel_rad) / self._band.omega.shape[1]
        self._alike = np.array_equal(*self._band.omega) and np.array_equal(*self._band.ratio)

    def shaped(self, shapers: tuple[Shaper, Shaper]) -> tuple[Array, Array]:
        """How long the moves take with these shapers, in seconds (moves,), and what each leaves then."""
        ends_s = self._ended_s(shapers)
        took_s = ends_s.max(axis=0)
        factors = np.stack([left_by_shaper(self._band.of_axis(axis), shaper) for axis, shaper in enumerate(shapers)])
        ends = np.array([min(shaper.weights[0][1], shaper.weights[-1][1]) for shaper in shapers])[:, None, None, None]
        by_steps = left_by_steps(self._band, ends * self._accel) / self._per_degree * self._turns[:, None, :, None]
        early_s = (took_s - ends_s)[:, None, :, None]
        left: Array = (self._plain * factors + by_steps) * np.exp(-self._band.rate * early_s)
        if self._play.any():
            since_s = (took_s - self._crossed_s(shapers, ends_s))[:, None, :, None]
            left = left + self._late * np.exp(-self._band.rate * since_s)
        return took_s, left

    def _crossed_s(self, shapers: tuple[Shaper, Shaper], ends_s: Array) -> Array:
        """When each axis has crossed its play at the latest, (2, moves) seconds.

        The first impulse alone has crossed it when the plain ramp is at the play divided by its share; all of them
        together, when the last one has.
        """
        share = np.array([[shaper.weights[0][1]] for shaper in shapers])
        first, last = self._reached_s(self._play / share), self._reached_s(self._play) + _longer_s(shapers)
        crossed_s: Array = np.minimum(np.minimum(first, last), ends_s)
        return crossed_s

    def _reached_s(self, way: Array) -> Array:
        """When a plain ramp has made this way at the latest, if it did not slow down; infinite beyond its whole way."""
        ramp_s, flat_s = self._times_s
        with np.errstate(divide="ignore", invalid="ignore"):
            part = way / self._steps
            ramping_s = np.sqrt(2 * part * ramp_s * flat_s)
            reached_s = np.where(ramping_s <= ramp_s, ramping_s, part * flat_s + ramp_s / 2)
        reached: Array = np.where(part < 1, np.where(reached_s <= flat_s, reached_s, np.inf), np.inf)
        return reached

    def took_s(self, shapers: tuple[Shaper, Shaper]) -> Array:
        """How long the moves take with these shapers, in seconds (moves,)."""
        took_s: Array = self._ended_s(shapers).max(axis=0)
        return took_s

    def _ended_s(self, shapers: tuple[Shaper, Shaper]) -> Array:
        ends_s: Array = np.where(self._turns, self._ends_s + _longer_s(shapers), 0.0)
        return ends_s

    def faded(self, swing: Array, move: int, time_s: float) -> Array:
        """What is left of a swing after a time, with the camera at the pitch of that move."""
        faded: Array = swing * np.exp(-self._at(self._band.rate, move) * time_s)
        return faded

    def wait_s(self, swing: Array, exposures: Exposures, move: int) -> float:
        """How long to wait before these exposures, with the camera at the pitch of that move."""
        waits_s = self._waits_s(swing, self._at(self._band.rate, move), self._at(self._band.omega, move), exposures)
        return float(waits_s.max())

    def seconds(self, shapers: tuple[Shaper, Shaper], exposures: Exposures) -> tuple[Array, Array]:
        """How long each move takes, and how long to wait after it, (moves,) each, as if moves like it came before it."""
        took_s, left = self.shaped(shapers)
        rate, omega = self._band.rate, self._band.omega
        every_s = took_s + self._waits_s(left, rate, omega, exposures) + lasts_s(exposures)
        repeated = left / (1 - np.exp(-rate * every_s[:, None]))
        return took_s, self._waits_s(repeated, rate, omega, exposures)

    def _waits_s(self, swing: Array, rate: Array, omega: Array, exposures: Exposures) -> Array:
        """The waits (moves,). Axes count in quadrature: if they ring alike, by sample; otherwise each has its share."""
        longest_s = np.zeros(swing.shape[2])
        for begin_s, exposed_s in exposures:
            moved = swing * seen(omega, exposed_s)
            moved = np.hypot(*moved)[None] if self._alike else moved * math.sqrt(2)
            waits_s = np.log(np.maximum(moved / self._still_deg, 1.0)) / rate - begin_s
            longest_s = np.maximum(longest_s, waits_s.max(axis=(0, 1, 3)))
        return longest_s

    @staticmethod
    def _at(array: Array, move: int) -> Array:
        """The part of an array of the band that belongs to a move."""
        return array if array.shape[2] == 1 else array[:, :, move : move + 1]


def _longer_s(shapers: tuple[Shaper, Shaper]) -> Array:
    """By how much these shapers make a move longer: (2 axes, 1), in seconds."""
    return np.array([[shaper.duration_ms / 1000] for shaper in shapers])


def _turning_back(approaches: Sequence[Approach]) -> NDArray[np.bool_]:
    """Whether each axis turns another way than before, so that it crosses its play first: (2, moves).

    Each frame is approached upward. Before the first one, and after anything unforeseen, the play may be anywhere.
    """
    back: list[list[bool]] = []
    for number, approach in enumerate(approaches):
        before = [0, 0] if approach.unforeseen or number == 0 else [1, 1]
        for here, there in pairwise(approach.stops):
            signs = [int(np.sign(goal - start)) for start, goal in zip(here, there, strict=True)]
            back.append([sign not in {0, one} for sign, one in zip(signs, before, strict=True)])
            before = [sign or one for sign, one in zip(signs, before, strict=True)]
    return np.array(back).T


def _ramps_s(steps: NDArray[np.int_], settings: Settings) -> tuple[Array, Array]:
    """Times of speeding up, and from the beginning to the slowing down, of both axes: (2, moves) each, in seconds."""
    ramps = [
        [ramp_of(way, setting.speed_steps_s, setting.accel_steps_s2) for way in ways]
        for ways, setting in zip(steps.tolist(), settings, strict=True)
    ]
    times_ms = np.array([[(ramp.ramp_ms, ramp.flat_ms) for ramp in of_axis] for of_axis in ramps])
    return times_ms[..., 0] / 1000, times_ms[..., 1] / 1000


def turning_ms(settings: Settings, here: Place, there: Place) -> int:
    """How long both axes turn from rest to rest, shapers included, in milliseconds."""
    return max(
        ramp_of(goal - start, setting.speed_steps_s, setting.accel_steps_s2).duration_ms
        + (setting.shaper.duration_ms if goal != start else 0)
        for start, goal, setting in zip(here, there, settings, strict=True)
    )


def shapers_of(settings: Settings) -> tuple[Shaper, Shaper]:
    """The shapers of both axes."""
    return settings[0].shaper, settings[1].shaper


def with_shapers(settings: Settings, shapers: tuple[Shaper, Shaper]) -> Settings:
    """The same axes with these shapers."""
    pan, tilt = (replace(setting, shaper=shaper) for setting, shaper in zip(settings, shapers, strict=True))
    return pan, tilt


def plain(settings: Settings) -> Settings:
    """The same axes on a board that does not shape its ramps."""
    return with_shapers(settings, (PLAIN, PLAIN))
