"""How long a move takes, and how long the camera swings afterwards: from its own ramps, shapers and distances.

A move leaves what `controller.shaping.ringing` says. What was left by a move before it, with no wait between (an axis
that takes up its play), has died away by the time that the next one takes, and counts in full.
"""

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.kit.kit import Kit
from controller.program.program import AxisSetting
from controller.program.timing import SETTLED_PX
from controller.shaping.rig import modes_of
from controller.shaping.ringing import Mode, left, seen
from protocol.ramp import changes, ramp_of
from protocol.shaper import Shaper
from protocol.units import MS

Place = tuple[int, int]
Array = NDArray[np.float64]


class Arrival:
    """What moves of one rig cost. `settings` are those of pan and tilt, with their shapers."""

    def __init__(self, kit: Kit, settings: tuple[AxisSetting, AxisSetting]) -> None:
        self._kit, self._settings = kit, settings
        self._still_deg = SETTLED_PX * math.degrees(kit.field(0.0).pixel_rad)

    def settle_ns(self, stops: Sequence[Place], pitch_deg: float, exposed_s: float) -> int:
        """How long to wait at the last of `stops`, which the head visits one after the other.

        Then the picture moves by no more than SETTLED_PX during an exposure of `exposed_s`, whatever the modes are within
        what the kit states of them. The kit's `settle_ms` counts instead of all this if it is given.
        """
        head = self._kit.head
        if head.settle_ms is not None:
            return round(head.settle_ms * MS)
        waits_s = [0.0]
        by_axis = [modes_of(head, axis, pitch_deg) for axis in (head.pan, head.tilt)]
        count = max(map(len, by_axis))
        for order in range(count):
            modes = [modes[order] for modes in by_axis]
            waits_s.append(self._wait_s(modes, stops, exposed_s, self._still_deg / count))
        return math.ceil(max(waits_s) * 1000) * MS

    def _wait_s(self, modes: Sequence[Mode], stops: Sequence[Place], exposed_s: float, still_deg: float) -> float:
        """Both axes in quadrature; if they ring alike, sample by sample, else the worst of each."""
        swings = [self._swing_deg(axis, mode, stops) for axis, mode in enumerate(modes)]
        moved = [swing * seen(mode.band()[0], exposed_s) for swing, mode in zip(swings, modes, strict=True)]
        rates = [np.prod(mode.band(), axis=0) for mode in modes]
        if modes[0] == modes[1]:
            moved, rates = [np.hypot(*moved)], rates[:1]
            still = [still_deg]
        else:
            still = [still_deg / math.sqrt(2)] * 2
        each = zip(moved, rates, still, strict=True)
        waits = [np.max(np.log(np.maximum(motion / most, 1.0)) / rate) for motion, rate, most in each]
        return float(max(waits))

    def _swing_deg(self, axis: int, mode: Mode, stops: Sequence[Place]) -> Array:
        """Amplitudes (n,) at the end of the last move, in degrees, for each sample of the mode's band."""
        setting = self._settings[axis]
        omega, ratio = mode.band()
        swing = np.zeros(len(omega))
        for here, there in pairwise(stops):
            took_s = turning_ms(self._settings, here, there) / 1000
            ramp = ramp_of(there[axis] - here[axis], setting.speed_steps_s, setting.accel_steps_s2)
            kicks = [(at_ms / 1000, kick / setting.steps_per_degree) for at_ms, kick in changes(ramp, setting.shaper)]
            swing = swing * np.exp(-ratio * omega * took_s) + left(mode, kicks, took_s)
        return swing


def turning_ms(settings: tuple[AxisSetting, AxisSetting], here: Place, there: Place) -> int:
    """How long both axes turn from rest to rest, shapers included, in milliseconds."""
    return max(
        ramp_of(goal - start, setting.speed_steps_s, setting.accel_steps_s2).duration_ms
        + (setting.shaper.duration_ms if goal != start else 0)
        for start, goal, setting in zip(here, there, settings, strict=True)
    )


def with_shapers(
    settings: tuple[AxisSetting, AxisSetting], shapers: tuple[Shaper, Shaper]
) -> tuple[AxisSetting, AxisSetting]:
    """The same axes with these shapers."""
    pan, tilt = (replace(setting, shaper=shaper) for setting, shaper in zip(settings, shapers, strict=True))
    return pan, tilt


def plain(settings: tuple[AxisSetting, AxisSetting]) -> tuple[AxisSetting, AxisSetting]:
    """The same axes on a board that does not shape its ramps."""
    return with_shapers(settings, (Shaper(), Shaper()))
