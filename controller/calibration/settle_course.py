"""The moves that show how a head rings: short ones that leave the largest swing, each without and with the shaper.

A move of two ramps leaves 4 a / w^2 sin^2(w t / 2), with the acceleration a, the angular frequency w and the time t of
one ramp: nothing at all if a ramp lasts a whole period, and most if it lasts half of one. So the way is chosen for the
frequency that the kit states, and for any that is not far from it.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from controller.calibration.records import AxisName, axis_of
from controller.calibration.settle_moves import MeasuredMove
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.program.arrival import Approach, Place
from controller.program.build import to_steps
from controller.program.kinematics import axes_for
from controller.program.program import AxisSetting, Settings
from controller.program.shapes import choose
from controller.shaping.rig import modes_of
from controller.shaping.ringing import Band, Mode, band_of, left_by_ramp
from controller.shaping.shapers import extra_insensitive
from protocol.errors import WrongUse
from protocol.ramp import ramp_of
from protocol.shaper import PLAIN, Shaper
from protocol.units import NS

NEARBY = 0.3  # how far the true frequency may be from the kit's for the way to be good. Our own choice.
SHORTEST_STEPS, LONGEST_DEG, WAYS = 16, 20.0, 60
LEAD_DEG = 2.0  # of coming from the same side first, so that all play is on one side
QUIET_SHARE, LONGEST_QUIET_S = 1e-3, 60.0


@dataclass(frozen=True, slots=True)
class CourseMove:
    """A move to measure: first to `before` in turn, without a shaper, then to `end` with `shapers` of pan and tilt."""

    move: MeasuredMove
    before: tuple[Place, ...]
    end: Place
    shapers: tuple[Shaper, Shaper]
    quiet_ns: int
    """How long to wait before it, until the moves before it have died away."""

    def way_deg(self, settings: Settings) -> float:
        """How far the axis turns, in degrees."""
        number = self.move.axis.number
        return (self.end[number] - self.before[-1][number]) / settings[number].steps_per_degree


def way_steps(setting: AxisSetting, modes: Sequence[Mode]) -> int:
    """The way, in steps, whose swing is the largest for the worst of all that the first mode may be."""
    main = modes[0]
    band = band_of((Mode(main.hz, main.damping, max(NEARBY, main.hz_spread), main.damping_spread),))
    near = Band(band.omega, band.ratio, np.zeros_like(band.omega))  # each sample for itself: the least counts here
    longest = max(SHORTEST_STEPS + 1, round(LONGEST_DEG * setting.steps_per_degree))
    ways = np.unique(np.geomspace(SHORTEST_STEPS, longest, WAYS).round().astype(int)).tolist()

    def least_swing(steps: int) -> float:
        ramp = ramp_of(steps, setting.speed_steps_s, setting.accel_steps_s2)
        ramp_s, flat_s = ramp.ramp_ms / 1000, ramp.flat_ms / 1000
        return float(left_by_ramp(near, np.array([steps]), np.array([ramp_s]), np.array([flat_s])).min())

    return int(max(ways, key=least_swing))


def shapers_to_test(kit: Kit, settings: Settings, exposed_s: float) -> tuple[Shaper, Shaper]:
    """The shapers of pan and tilt that suit these moves. An axis that needs none gets EI, so that there is one to test;
    one that no shaper suits gets none.
    """
    if not kit.board.shapes_ramps:
        return PLAIN, PLAIN
    axes = (kit.head.pan, kit.head.tilt)
    modes = [modes_of(kit.head, axis) for axis in axes]
    pan, tilt = (way_steps(setting, each) for setting, each in zip(settings, modes, strict=True))
    chosen = choose(kit, settings, [Approach(((0, 0), (pan, tilt)), 0.0, ((0.0, exposed_s),))])
    found = [own.shaper if own.shaper != PLAIN else _any_shaper(each[0]) for own, each in zip(chosen, modes, strict=True)]
    return found[0], found[1]


def _any_shaper(mode: Mode) -> Shaper:
    try:
        return extra_insensitive(mode)
    except WrongUse:  # too fast or too slow for a board to time its impulses
        return PLAIN


def course(
    kit: Kit, settings: Settings, shapers: tuple[Shaper, Shaper], axes: Iterable[AxisName], pitches: Iterable[float]
) -> tuple[CourseMove, ...]:
    """The moves at each of these pitches, in degrees: for each axis one without its shaper and one with it.

    Raises InputError for a pitch where there is no room for them.
    """
    moves: list[CourseMove] = []
    axes = tuple(axes)
    for pitch_deg in sorted(set(pitches)):
        for axis in axes:
            before, end = _ways(kit, settings, axis, pitch_deg)
            for shaper in dict.fromkeys((PLAIN, shapers[axis.number])):
                pair = (shaper, PLAIN) if axis is AxisName.PAN else (PLAIN, shaper)
                moves.append(
                    CourseMove(MeasuredMove(axis, pitch_deg, shaper), before, end, pair, _quiet_ns(kit, pitch_deg))
                )
    return tuple(moves)


def _ways(kit: Kit, settings: Settings, axis: AxisName, pitch_deg: float) -> tuple[tuple[Place, Place], Place]:
    """The lead-in and the start, and the end, which is at the pitch; upward if there is room, else downward."""
    number, plain = axis.number, axis_of(kit, axis)
    assert plain is not None
    setting = settings[number]
    way = way_steps(setting, modes_of(kit.head, plain, pitch_deg))
    lead = to_steps(max(LEAD_DEG, 2 * plain.backlash_deg), plain)
    angles = axes_for(kit.head, 0.0, pitch_deg)
    here = [to_steps(angle, each) for angle, each in zip(angles, (kit.head.pan, kit.head.tilt), strict=True)]
    for name, place, each in zip(AxisName, here, settings, strict=True):
        if name is AxisName.TILT and not each.min_steps <= place <= each.max_steps:
            raise _no_room(pitch_deg, name, each)
    low, high = setting.min_steps, setting.max_steps
    aims = [here[number]] if axis is AxisName.TILT else [here[number], low + way + lead, high - way - lead]
    for aim in aims:
        for side in (1, -1):
            start = aim - side * way
            first = start - side * lead
            if all(low <= steps <= high for steps in (first, start, aim)):
                first_place, start_place, end = (
                    (steps, here[1]) if axis is AxisName.PAN else (_within(here[0], settings[0]), steps)
                    for steps in (first, start, aim)
                )
                return (first_place, start_place), end
    raise _no_room(pitch_deg, axis, setting)


def _within(steps: int, setting: AxisSetting) -> int:
    return min(max(steps, setting.min_steps), setting.max_steps)


def _no_room(pitch_deg: float, axis: AxisName, setting: AxisSetting) -> InputError:
    low, high = (steps / setting.steps_per_degree for steps in (setting.min_steps, setting.max_steps))
    return InputError(
        f"--pitch {pitch_deg:g}: there is no room to move the {axis.value} axis there, its limits are {low:.1f} and "
        f"{high:.1f}°. Choose a pitch further inside."
    )


def _quiet_ns(kit: Kit, pitch_deg: float) -> int:
    """How long the swing of the slowest mode takes to die away to QUIET_SHARE."""
    modes = [mode for axis in (kit.head.pan, kit.head.tilt) for mode in modes_of(kit.head, axis, pitch_deg)]
    slowest = min(float(band_of((mode,)).rate.min()) for mode in modes)
    return round(min(-math.log(QUIET_SHARE) / slowest, LONGEST_QUIET_S) * NS)
