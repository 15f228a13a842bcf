"""Zero checks: one after everything that moves, and on the way if much is at stake."""

from __future__ import annotations

from itertools import pairwise

import pytest

from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.arrival import Approach, plain, waits_ns
from controller.program.build import axis_settings, build_program, build_steps
from controller.program.course import SHARE, STAKE_NS, move_ns
from controller.program.index import Side, zone_of
from controller.program.program import AskStep, Crossing, ExposeStep, MoveStep, Step
from controller.program.timing import deadline_ns
from protocol.units import NS
from tests.end_to_end.whole_runs import few_frames, kit_of

AXES = axis_settings(kit_of(), few_frames())
WITHOUT = {"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}


def row(pitch_deg: float, count: int = 12) -> tuple[Frame, ...]:
    return tuple(Frame(id=n, row=0, yaw_deg=30.0 * n - 170, pitch_deg=pitch_deg) for n in range(count))


def looks(steps: tuple[Step, ...]) -> list[int]:
    """The targets of moves without an exposure after them, except those that take up play."""
    return [
        at
        for at, (step, after) in enumerate(pairwise((*steps, None)))
        if isinstance(step, MoveStep) and not isinstance(after, ExposeStep)
    ]


def at_stake_s(kit: Kit, steps: tuple[Step, ...]) -> dict[str, float]:
    """The longest time of shooting between two checks of each axis, in seconds, from the steps alone."""
    longest = {}
    for axis in ("pan", "tilt"):
        since, spans = 0.0, [0.0]
        for step in steps:
            if isinstance(step, ExposeStep):
                since += (step.expected_ns + step.ready_ns) / NS
            elif isinstance(step, MoveStep) and getattr(step, axis).must:
                spans.append(since)
                since = 0.0
        assert since == 0
        longest[axis] = max(spans)
    return longest


@pytest.mark.parametrize("pitch_deg", [0.0, 0.1, 20.0, -50.0])
def test_each_program_ends_with_a_look_that_passes_both_switches(pitch_deg: float) -> None:
    for frames in (row(pitch_deg), row(pitch_deg)[8:], row(pitch_deg)[:1]):
        at_stake_s(kit_of(), build_program(kit_of(), frames).steps)


def test_a_short_run_looks_once() -> None:
    for pitch_deg, moves in ((20.0, 1), (0.0, 2)):  # from the switch itself it takes two moves: away from it, and past it
        assert len(looks(build_program(kit_of(), row(pitch_deg)).steps)) == moves


@pytest.mark.parametrize("pitch_deg", [0.0, 20.0, -50.0])
def test_a_long_run_looks_on_the_way(pitch_deg: float) -> None:
    kit = kit_of(exposure={"shutter_seconds": 100.0, "bracket_ev": [0, 0, 0], "bulb": True})
    blind = kit_of(exposure={"shutter_seconds": 100.0, "bracket_ev": [0, 0, 0], "bulb": True}, head=WITHOUT)
    program, without = build_program(kit, row(pitch_deg)), build_program(blind, row(pitch_deg))
    frame_s = 3 * 101
    assert at_stake_s(kit, program.steps)["tilt"] < STAKE_NS / NS + 2 * frame_s
    assert program.expected_ns < without.expected_ns * (1 + 2 * SHARE)


@pytest.mark.parametrize("focal_length_mm", [16.0, 24.0, 50.0])
def test_what_checking_costs(focal_length_mm: float) -> None:
    """A few seconds for the last zero check, and hardly anything on the way."""
    plan = make_plan(kit_of(focal_length_mm), 0.3)
    checked, without = (
        build_program(plan.kit, plan.frames),
        build_program(kit_of(focal_length_mm, head=WITHOUT), plan.frames),
    )
    assert checked.expected_ns - without.expected_ns < 10 * NS + SHARE * without.expected_ns


def test_a_head_without_switches_does_not_look() -> None:
    kit = kit_of(head=WITHOUT)
    steps = build_program(kit, few_frames()).steps
    assert isinstance(steps[-1], ExposeStep)
    assert all(step.pan == step.tilt == Crossing() for step in steps if isinstance(step, MoveStep))


def test_an_axis_without_a_switch_stays_where_it_is_while_the_other_one_is_looked_at() -> None:
    steps = build_program(kit_of(head={"pan": {"zero_switch": False}}), row(20.0)).steps
    last, look = (step for step in steps if isinstance(step, MoveStep) and step.frame == 11)
    assert (last.pan_steps, look.tilt_steps < 0) == (look.pan_steps, True)


@pytest.mark.parametrize("shapes", [True, False])
@pytest.mark.parametrize("play_deg", [0.0, 0.4])
def test_each_frame_waits_as_long_as_its_own_way_needs(shapes: bool, play_deg: float) -> None:
    """Zero checks and overshoots on the way count as moves without a wait; the waits with and without shaping differ."""
    axis = {"backlash_deg": play_deg}
    exposure = {"shutter_seconds": 100.0, "bracket_ev": [0, 0, 0], "bulb": True}
    kit = kit_of(exposure=exposure, head={"pan": axis, "tilt": axis}, board={"shapes_ramps": shapes})
    program = build_program(kit, row(10.0, 18))
    ready_s = program.exposures[0].ready_ns / NS
    play = int(play_deg > 0)
    moves: list[MoveStep] = []
    approaches, waited, way = [], [], [(play, play)]
    for step, after in pairwise((*program.steps, None)):
        if isinstance(step, MoveStep):
            way.append((step.pan_steps, step.tilt_steps))
            moves.append(step)
            if isinstance(after, ExposeStep):
                approaches.append(
                    Approach(tuple(way), 10.0, tuple((number * (100.0 + ready_s), 100.0) for number in range(3)))
                )
                waited.append((step.settle_ns, step.plain_settle_ns))
                way = way[-1:]
            else:
                assert step.settle_ns == step.plain_settle_ns == 0
    assert len(approaches) == 18 < len(moves) - 1
    ways = [waits_ns(kit, axes, approaches) for axes in (program.axes, plain(program.axes))]
    assert waited == list(zip(*ways, strict=True))
    assert (ways[0] == ways[1]) is not shapes


def test_only_a_look_where_nothing_is_to_be_shot() -> None:
    steps = build_steps(
        kit_of(),
        few_frames(),
        set(),
        AXES,
        from_anywhere=True,
        standing=(6400, 0),
        look=True,
    )
    assert [(step.pan.must, step.tilt.must) for step in steps if isinstance(step, MoveStep)] == [
        (False, False),
        (True, True),
    ]
    assert build_steps(kit_of(), few_frames(), set(), AXES, from_anywhere=True) == ()


def test_the_look_comes_before_a_frame_by_hand() -> None:
    by_hand = few_frames()[1].model_copy(update={"by_hand": True})
    steps = build_steps(
        kit_of(),
        (by_hand, *few_frames()[2:]),
        {(1, 0)},
        AXES,
        from_anywhere=True,
        look=True,
    )
    kinds = [type(step) for step in steps]
    assert kinds == [MoveStep, MoveStep, AskStep, ExposeStep]


@pytest.mark.parametrize("pitch_deg", [0.0, 3.0, 20.0, -50.0])
@pytest.mark.parametrize("shutter_s", [20.0, 100.0])
@pytest.mark.parametrize("without", [(), ("pan",), ("tilt",)])
def test_a_look_on_the_way_is_made_just_when_it_pays(
    pitch_deg: float, shutter_s: float, without: tuple[str, ...]
) -> None:
    """When ten minutes are at stake, and a detour of that axis alone costs a hundredth of that or less."""
    exposure = {"shutter_seconds": shutter_s, "bracket_ev": [0, 0, 0], "bulb": True}
    kit = kit_of(exposure=exposure, head={axis: {"zero_switch": False} for axis in without})
    program = build_program(kit, row(pitch_deg, 18))
    settings, head = (program.pan, program.tilt), kit.head
    zones = [zone_of(head, head.pan), zone_of(head, head.tilt)]
    sides, stake_ns, here, looked = [Side(zone, 0) for zone in zones], [0, 0], (0, 0), 0
    steps, at = program.steps, 0
    while at < len(steps):
        moves: list[MoveStep] = []
        while at < len(steps) and isinstance(step := steps[at], MoveStep):
            moves, at = [*moves, step], at + 1
        exposures: list[ExposeStep] = []
        while at < len(steps) and isinstance(step := steps[at], ExposeStep):
            exposures, at = [*exposures, step], at + 1
        if not exposures:
            break  # the last look
        target = (moves[-1].pan_steps, moves[-1].tilt_steps)
        pays = []
        for axis in (0, 1):
            detour = [(stop, here[1]) if axis == 0 else (here[0], stop) for stop in sides[axis].look()]
            way = pairwise([here, *detour, target])
            spent = sum(move_ns(kit, settings, *leg) for leg in way) - move_ns(kit, settings, here, target)
            pays.append(stake_ns[axis] >= 600 * NS and bool(detour) and spent <= 0.01 * stake_ns[axis])
        assert (len(moves) > 1) is any(pays)
        looked += int(any(pays))
        for move in moves:
            assert move is moves[-1] or move.settle_ns == move.plain_settle_ns == 0
            assert move.expected_ns == move_ns(kit, settings, here, (move.pan_steps, move.tilt_steps))
            assert move.deadline_ns == deadline_ns(move.expected_ns, kit.board.baud)
            crossed = [side.goes(steps) for side, steps in zip(sides, (move.pan_steps, move.tilt_steps), strict=True)]
            assert [move.pan, move.tilt] == crossed
            stake_ns = [0 if crossing.must else stake for crossing, stake in zip(crossed, stake_ns, strict=True)]
            here = (move.pan_steps, move.tilt_steps)
        spent_ns = move_ns(kit, settings, here, here) + sum(step.expected_ns + step.ready_ns for step in exposures)
        stake_ns = [stake + spent_ns for stake in stake_ns]
    assert looked > 0 or shutter_s < 50
