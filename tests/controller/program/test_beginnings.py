"""Where a program's moves begin, and what finding zero is expected to take."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from controller.planning.plan import Frame
from controller.program.build import axis_settings, build_program, build_steps
from controller.program.course import exchange_ns, move_ns
from controller.program.program import MoveStep, slowed
from controller.program.timing import motion_ns
from protocol.messages import Move
from protocol.units import NS, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of


def first_move(yaw_deg: float, pitch_deg: float, **values: object) -> MoveStep:
    frame = Frame(id=0, row=0, yaw_deg=yaw_deg, pitch_deg=pitch_deg)
    steps = build_steps(kit_of(), [frame], {(0, 0)}, axis_settings(kit_of(), [frame]), **values)  # type: ignore[arg-type]
    assert isinstance(steps[0], MoveStep)
    return steps[0]


@pytest.mark.parametrize(("yaw_deg", "may"), [(0.0, False), (0.05, True), (-0.05, True), (90.0, True)])
def test_a_run_begins_at_zero_where_no_move_is_none(yaw_deg: float, may: bool) -> None:
    """An axis that is sent to where it is cannot change its switch; any other move from zero may."""
    assert first_move(yaw_deg, 0.0).pan.may is may
    assert first_move(0.0, yaw_deg / 2).tilt.may is may
    assert first_move(yaw_deg, 0.0, from_anywhere=True, standing=(0, 0)).pan.may is may
    assert first_move(yaw_deg, 0.0, from_anywhere=True).pan.may  # from an unknown place


@pytest.mark.parametrize("standing", [None, (0, 0), (50, -20), (9000, 400)])
def test_a_first_frame_from_anywhere_is_timed_as_from_its_goal(standing: tuple[int, int] | None) -> None:
    """How far it is really, the run knows (see `Program.longest_move_ns`)."""
    move = first_move(30.0, 10.0, from_anywhere=True, standing=standing)
    wires_ns = exchange_ns(Move(CommandId(1), Steps(move.pan_steps), Steps(move.tilt_steps)), kit_of().board.baud)
    assert move.expected_ns == wires_ns


@pytest.mark.parametrize(("standing", "begin"), [(None, (0, 0)), ((0, 0), (0, 0)), ((9000, -3000), (9000, -3000))])
def test_a_look_is_timed_from_where_the_head_stands_or_from_zero(
    standing: tuple[int, int] | None, begin: tuple[int, int]
) -> None:
    kit = kit_of()
    program = build_program(kit, few_frames())
    moves = build_steps(kit, few_frames(), set(), program.axes, from_anywhere=True, standing=standing, look=True)
    for move in moves:
        assert isinstance(move, MoveStep)
        there = (move.pan_steps, move.tilt_steps)
        assert move.expected_ns == move_ns(kit, (program.pan, program.tilt), begin, there)
        begin = there
    assert moves


def test_a_slow_test_turn_has_a_third_of_the_speed_and_the_same_ramps() -> None:
    program = build_program(kit_of(), few_frames())
    slow = slowed(program)
    for fast, found in ((program.pan, slow.pan), (program.tilt, slow.tilt)):
        assert found == replace(fast, speed_steps_s=round(fast.speed_steps_s / 3))
    still = replace(program, pan=replace(program.pan, speed_steps_s=1))
    assert slowed(still).pan.speed_steps_s == 1
    assert slow.steps == program.steps


@pytest.mark.parametrize("speed", [2.0, 30.0])
@pytest.mark.parametrize("accel", [3.0, 40.0, 900.0])
def test_finding_zero_from_a_degree_away_is_a_sum_of_ramps(speed: float, accel: float) -> None:
    """Up to the switch, past it while braking, back, and slowly on to it; from above without the first part.

    By trapezoids (Biagiotti and Melchiorri 2008, section 3.2), whose longest ramp ends at the switch itself.
    """
    axis = {"max_speed_deg_s": speed, "max_accel_deg_s2": accel}
    program = build_program(kit_of(head={"pan": axis, "tilt": axis}), few_frames())
    expected = []
    for setting, search in ((program.pan, program.pan_search_steps_s), (program.tilt, program.tilt_search_steps_s)):
        a, degree = setting.accel_steps_s2, setting.steps_per_degree
        top = min(search, math.sqrt(2 * a * degree))
        braking = top**2 / (2 * a)

        def there(way: float, a: int = a, search: int = search) -> float:
            """From rest to a place, and on to rest behind it: a move that ends a ramp further."""
            peak = min(search, math.sqrt(2 * a * way))
            return motion_ns(way + peak**2 / (2 * a), peak, a) / NS

        creep = search / program.creep_divisor
        slowly = braking / creep + creep / a
        expected.append((there(degree) + there(braking) + slowly + there(degree) + slowly) / 2)
    assert program.reference_expected_ns / NS == pytest.approx(max(expected), rel=1e-6)
