"""The path of the head from frame to frame while a program is built: its moves, and its checks of the switches at zero.

An axis that never passes its switch would never be checked. So before the end, and before the first frame shot by hand,
each axis with a switch passes it again: a zero check. A long run also makes zero checks in between, so that a slip never
spoils hours of work. It does so once an axis was not checked for STAKE_NS of shooting and a check costs less than SHARE
of the work at stake.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

from controller.errors import InputError
from controller.kit.kit import Axis, Kit
from controller.program import timing
from controller.program.arrival import Approach, Place, plain, turning_ms, waits_ns
from controller.program.index import Side, zone_of
from controller.program.program import AxisSetting, ExposeStep, MoveStep, Settings, Step
from protocol.messages import EdgeFlag, Finished, GetIndex, Index, Message, Move, Outcome
from protocol.units import MS, NS, CommandId, Steps

TAKE_UP = 2.0  # how far beyond a frame a move turns before it comes back, as a multiple of the gear's play
# Common practice, no source: ten minutes are quickly reshot, and one per cent of a run is negligible.
STAKE_NS = 600 * NS
SHARE = 0.01
ANY_MOVE = Move(CommandId(1), Steps(0), Steps(0))
ANY_END = Finished(CommandId(1), Outcome.ARRIVED, Steps(1), Steps(1), 1)


class Course:
    """The steps so far, where they end, and the work at stake since each axis was checked."""

    def __init__(self, kit: Kit, settings: Settings, standing: Place | None, *, from_anywhere: bool) -> None:
        """Begin where a reference run ends; or, with `from_anywhere`, at `standing`, which may be unknown."""
        self.steps: list[Step] = []
        self._kit, self._settings, self._plain = kit, settings, plain(settings)
        self.approaches: dict[int, Approach] = {}
        """The way to each frame, by the index of the step that ends it."""
        self._axes: tuple[Axis, Axis] = (kit.head.pan, kit.head.tilt)
        self._from_anywhere = from_anywhere
        # A reference run ends with about one step downward, so an axis with play came from the wrong side and must not
        # stay there.
        after_reference = (int(kit.head.pan.backlash_deg > 0), int(kit.head.tilt.backlash_deg > 0))
        self._here: Place = (standing or (0, 0)) if from_anywhere else after_reference
        self._way = [self._here]  # since the last frame
        places = (standing or (None, None)) if from_anywhere else (0, 0)
        self._sides = [Side(zone_of(kit.head, axis), at) for axis, at in zip(self._axes, places, strict=True)]
        self._at_stake_ns = [0, 0]

    def shoot(self, frame: tuple[int, int], target: Place, exposures: list[ExposeStep], pitch_deg: float = 0.0) -> None:
        """Turn to a frame (its id and row), with a zero check on the way if it pays, and make its exposures.

        An axis with play that turns back overshoots first, so that every frame is approached from the same side.
        `pitch_deg` is the camera's at the frame.
        """
        unforeseen = self._from_anywhere
        if unforeseen:
            axes = zip(target, self._axes, self._settings, strict=True)
            self._here = _pair(_above(goal, axis, setting) for goal, axis, setting in axes)
            self._way = [self._here]
        self._look_on_the_way(frame, target)
        for stop in stops_to(target, self._here, self._axes, self._settings, frame[0]):
            self._move(frame, stop)
        approach = Approach(tuple(self._way), pitch_deg, tuple(in_turn(exposures)), unforeseen)
        self.approaches[len(self.steps) - 1] = approach
        self._way = [target]
        self.steps += exposures
        spent_ns = self._move_ns(self._here, target) + sum(step.expected_ns + step.ready_ns for step in exposures)
        self._at_stake_ns = [at_stake + spent_ns for at_stake in self._at_stake_ns]

    def look(self, frame: tuple[int, int], axes: tuple[int, ...] = (0, 1)) -> None:
        """Pass the switches of these axes (0 pan, 1 tilt), in moves named after `frame`, without exposures."""
        for stop in self._look_stops(axes):
            self._move(frame, stop)

    def with_waits(self) -> list[Step]:
        """The steps, with the time to wait after each move to a frame."""
        steps, approaches = list(self.steps), list(self.approaches.values())
        ways = [waits_ns(self._kit, settings, approaches) for settings in (self._settings, self._plain)]
        for index, settle_ns, plain_settle_ns in zip(self.approaches, *ways, strict=True):
            move = steps[index]
            assert isinstance(move, MoveStep)
            steps[index] = replace(move, settle_ns=settle_ns, plain_settle_ns=plain_settle_ns)
        return steps

    def _look_on_the_way(self, frame: tuple[int, int], target: Place) -> None:
        pays = tuple(axis for axis in (0, 1) if self._look_pays(axis, target))
        if pays:
            self.look(frame, pays)

    def _look_pays(self, axis: int, target: Place) -> bool:
        if self._at_stake_ns[axis] < STAKE_NS:
            return False
        stops = self._look_stops((axis,))
        if not stops:
            return False
        ways = zip([self._here, *stops], [*stops, target], strict=True)
        longer_ns = sum(self._move_ns(*way) for way in ways) - self._move_ns(self._here, target)
        return longer_ns <= SHARE * self._at_stake_ns[axis]

    def _look_stops(self, axes: tuple[int, ...]) -> list[Place]:
        """Stops that take these axes past their switches; an axis that needs fewer stops waits for the other."""
        stops = [list(self._sides[axis].look()) if axis in axes else [] for axis in (0, 1)]
        count = max(map(len, stops))
        pans, tilts = ([here] * (count - len(own)) + own for here, own in zip(self._here, stops, strict=True))
        return list(zip(pans, tilts, strict=True))

    def _move(self, frame: tuple[int, int], there: Place) -> None:
        """Add one move, with its expected time and its deadline."""
        expected_ns = self._move_ns(self._here, there)
        overdue_ns = timing.deadline_ns(expected_ns, self._kit.board.baud)
        pan, tilt = (side.goes(steps) for side, steps in zip(self._sides, there, strict=True))
        shaper_ns = expected_ns - move_ns(self._kit, self._plain, self._here, there)
        self.steps.append(MoveStep(*frame, *there, 0, 0, expected_ns, overdue_ns, pan, tilt, shaper_ns))
        for axis, crossing in enumerate((pan, tilt)):
            if crossing.must:
                self._at_stake_ns[axis] = 0
        self._here, self._from_anywhere = there, False
        self._way.append(there)

    def _move_ns(self, here: Place, there: Place) -> int:
        return move_ns(self._kit, self._settings, here, there)


def in_turn(exposures: Iterable[ExposeStep]) -> Iterator[tuple[float, float]]:
    """When each exposure may begin after the first, at the earliest, and how long it lasts, in seconds."""
    begin_s = 0.0
    for step in exposures:
        yield begin_s, step.shutter_s
        begin_s += step.shutter_s + step.ready_ns / NS


def stops_to(target: Place, here: Place, axes: tuple[Axis, Axis], settings: Settings, frame: int) -> list[Place]:
    """The stops on the way from `here` to `target`, the last: an axis with play that turns back overshoots first.

    Raises InputError, which names the `frame`, if an axis's limits leave no room for that.
    """
    beyond = _pair(
        _beyond(start, goal, axis, setting, frame)
        for start, goal, axis, setting in zip(here, target, axes, settings, strict=True)
    )
    return [target] if beyond == target else [beyond, target]


def _pair(places: Iterable[int]) -> Place:
    pan, tilt = places
    return pan, tilt


def move_ns(kit: Kit, settings: Settings, here: Place, target: Place) -> int:
    """Time of a move from sending the command to receiving its end."""
    return turning_ms(settings, here, target) * MS + exchange_ns(ANY_MOVE, kit.board.baud)


def exchange_ns(command: Message, baud: int) -> int:
    """Wire time from sending a command to receiving its end, in addition to the board's own time."""
    return timing.wire_ns(command, baud) + timing.wire_ns(ANY_END, baud)


def look_ns(baud: int) -> int:
    """Wire time of asking for the positions of the switches, and of the answer."""
    answer = Index(1, Steps(1), EdgeFlag.ON, 1, Steps(1), EdgeFlag.ON)
    return timing.wire_ns(GetIndex(), baud) + timing.wire_ns(answer, baud)


def _beyond(start: int, goal: int, axis: Axis, setting: AxisSetting, frame: int) -> int:
    """The first stop of an axis on its way to `goal`: an overshoot if it turns back, within its limits.

    Raises InputError if the limits leave no room for the play itself.
    """
    play = axis.backlash_deg * axis.steps_per_degree
    if goal >= start or play == 0:
        return goal
    if goal - play < setting.min_steps:
        raise InputError(
            f"Frame {frame} is so close to an axis's limit that its play (backlash_deg) cannot be taken up. "
            "Set min_deg a little lower if the head really reaches it."
        )
    return max(goal - math.ceil(TAKE_UP * play), setting.min_steps)


def _above(goal: int, axis: Axis, setting: AxisSetting) -> int:
    """A position from which the play is taken up on the way to `goal`; `goal` itself if the limits leave no room."""
    room = goal - axis.backlash_deg * axis.steps_per_degree >= setting.min_steps
    return goal + 1 if axis.backlash_deg > 0 and room else goal
