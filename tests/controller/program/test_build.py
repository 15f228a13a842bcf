"""From frames to steps: absolute targets, closed turns, deadlines and limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.kit import LONGEST_OF_NOMINAL, Axis, Kit
from controller.planning.plan import Frame
from controller.program.build import LAG_MARGIN_MS, axis_settings, build_program, build_steps, to_steps
from controller.program.program import AskStep, ExposeStep, MoveStep, Step
from controller.program.timing import motion_ns
from controller.program.turn import BracketPosition
from protocol.units import MS
from tests.end_to_end.whole_runs import FEW, few_frames, kit_of

GEARS = st.builds(
    lambda steps, micro, gear: Axis(full_steps_per_turn=steps, microsteps=micro, gear_ratio=gear),
    st.sampled_from([48, 200, 400]),
    st.sampled_from([1, 2, 8, 16, 256]),
    st.floats(1, 500) | st.sampled_from([5.0, 36.0, 72.0, 144.0]),
)


def frame(yaw_deg: float, pitch_deg: float, number: int = 0) -> Frame:
    return Frame(id=number, row=0, yaw_deg=yaw_deg, pitch_deg=pitch_deg)


@given(GEARS, st.integers(1, 400))
def test_equal_yaw_steps_close_a_turn(axis: Axis, count: int) -> None:
    turn = to_steps(360.0, axis)
    marks = [to_steps(360.0 * i / count, axis) for i in range(count + 1)]
    assert marks[0] == 0
    assert sum(b - a for a, b in pairwise(marks)) == turn
    assert abs(turn - 360 * axis.steps_per_degree) <= 0.5
    exact = 360 * axis.steps_per_degree / count
    assert all(abs(b - a - exact) <= 1 + 1e-6 for a, b in pairwise(marks))


# 200 full steps x 16 microsteps x gear (arithmetic): steps a turn, and so degrees a step.
@pytest.mark.parametrize(("gear", "turn"), [(1, 3200), (5, 16_000), (72, 230_400), (144, 460_800)])
def test_steps_of_a_turn(gear: float, turn: int) -> None:
    axis = Axis(gear_ratio=gear)
    assert to_steps(360.0, axis) == turn
    assert to_steps(-360.0, axis) == -turn
    assert to_steps(0.49 * 360 / turn, axis) == 0
    assert to_steps(0.51 * 360 / turn, axis) == 1


@given(GEARS, st.floats(-3600, 3600))
def test_a_target_is_the_nearest_step(axis: Axis, angle_deg: float) -> None:
    assert abs(to_steps(angle_deg, axis) / axis.steps_per_degree - angle_deg) <= 0.5 / axis.steps_per_degree + 1e-9


def shooting(kit: Kit, frames: Sequence[Frame]) -> list[Step]:
    """The steps up to the last exposure: the rest only passes the switches at zero again."""
    steps = list(build_program(kit, frames).steps)
    while not isinstance(steps[-1], ExposeStep):
        steps.pop()
    return steps


def test_each_frame_is_a_move_and_its_bracket() -> None:
    kit = kit_of(exposure={"bracket_ev": [-2, 0, 2], "shutter_seconds": 0.01})
    steps = shooting(kit, few_frames())
    assert len(steps) == 4 * len(FEW)
    for index, (number, yaw, pitch) in enumerate(FEW):
        move, *exposures = steps[4 * index : 4 * index + 4]
        assert isinstance(move, MoveStep)
        assert (move.frame, move.pan_steps, move.tilt_steps) == (number, round(yaw * 320), round(pitch * 320))
        assert move.plain_settle_ns > 0
        for place, step in enumerate(exposures):
            assert isinstance(step, ExposeStep)
            assert (step.frame, step.exposure) == (number, place)
            assert step.shutter_s == pytest.approx((0.0025, 0.01, 0.04)[place])


def test_a_move_is_expected_to_take_its_slower_axis_and_the_wire() -> None:
    kit = kit_of(board={"baud": 1_000_000})
    pan_steps, tilt_steps = 90 * 320, 10 * 320
    program = build_program(kit, [frame(90, 10)])
    move = program.steps[0]
    assert isinstance(move, MoveStep)
    turning = motion_ns(pan_steps, 9600, 12_800) + program.pan.shaper.duration_ms * MS
    assert turning > motion_ns(tilt_steps, 9600, 12_800) + program.tilt.shaper.duration_ms * MS
    assert turning < move.expected_ns < turning + 2_000_000


KITS = st.builds(
    lambda shutter, speed, baud, contact: kit_of(
        exposure={"shutter_seconds": shutter, "bracket_ev": [-1, 0], "longest_timed_s": 3600.0},
        head={"pan": {"max_speed_deg_s": speed}, "tilt": {"max_speed_deg_s": speed}},
        board={"baud": baud, "sync_contact": contact, "silence_ms": 6000},
    ),
    st.floats(1e-4, 3600),
    st.floats(0.1, 360),
    st.sampled_from([1200, 9600, 115_200, 4_000_000]),
    st.booleans(),
)


@given(KITS)
def test_every_deadline_is_later_than_what_is_expected(kit: object) -> None:
    program = build_program(kit, few_frames())  # type: ignore[arg-type]
    steps = [step for step in program.steps if not isinstance(step, AskStep)]
    for step in steps:
        assert step.deadline_ns > step.expected_ns > 0
    assert program.reference_deadline_ns > program.reference_expected_ns > 0
    ramp_ns = max(a.speed_steps_s / a.accel_steps_s2 for a in (program.pan, program.tilt)) * 1e9
    assert program.stop_deadline_ns > ramp_ns
    assert program.expected_ns > sum(step.expected_ns for step in steps)


@given(st.floats(1e-4, 3600), st.floats(0, 5000), st.integers(1, 100_000))
def test_the_board_waits_for_the_longest_exposure(shutter_s: float, lag_ms: float, press_ms: int) -> None:
    camera = {"shutter_seconds": shutter_s, "longest_timed_s": 3600.0}
    kit = kit_of(exposure={**camera, "release_lag_ms": lag_ms, "press_ms": press_ms})
    (_, step) = shooting(kit, [frame(0, 0)])
    assert isinstance(step, ExposeStep)
    longest_ms = lag_ms + shutter_s * 1000 * LONGEST_OF_NOMINAL + LAG_MARGIN_MS
    assert step.press_ms + step.limit_ms >= longest_ms - 1e-6
    assert step.limit_ms >= 1


def test_at_bulb_the_board_times_the_exposure() -> None:
    kit = kit_of(exposure={"shutter_seconds": 30.0, "bracket_ev": [-1, 0, 1.5], "bulb": True, "press_ms": 100})
    exposures = [step for step in shooting(kit, [frame(0, 0)]) if isinstance(step, ExposeStep)]
    assert [step.press_ms for step in exposures] == [15_000, 30_000, 84_853]  # 30 s x 2^EV
    assert all(step.deadline_ns > step.expected_ns > step.press_ms * 1e6 for step in exposures)
    plain = [step.press_ms for step in shooting(kit_of(), [frame(0, 0)]) if isinstance(step, ExposeStep)]
    assert plain == [100]


def test_at_bulb_the_board_waits_no_longer_than_it_pressed() -> None:
    """The board's own times are not engraved ones: only the release's lag remains to wait for."""
    kit = kit_of(exposure={"shutter_seconds": 60.0, "bulb": True}, board={"sync_contact": False})
    (_, step) = shooting(kit, [frame(0, 0)])
    assert isinstance(step, ExposeStep)
    assert step.limit_ms == math.ceil(kit.exposure.release_lag_ms + LAG_MARGIN_MS)


NOISY = st.builds(
    lambda shutter, from_s, bulb: {
        "shutter_seconds": shutter, "noise_reduction": True, "noise_reduction_from_s": from_s, "bulb": bulb,
    },
    st.floats(0.1, 30), st.floats(0.1, 30), st.booleans(),
)  # fmt: skip


@given(NOISY)
def test_a_camera_is_given_the_time_for_its_dark_frame(exposure: dict[str, Any]) -> None:
    """A real exposure lasts up to a fifteenth longer than its nominal time, and its dark frame lasts as long as it
    did.
    """
    bracket = {**exposure, "shutter_seconds": exposure["shutter_seconds"] / 2, "bracket_ev": [-2, 0, 1]}
    for step in shooting(kit_of(exposure=bracket), [frame(0, 0)])[1:]:
        assert isinstance(step, ExposeStep)
        real_s = [step.shutter_s] if exposure["bulb"] else [step.shutter_s, step.shutter_s * 32 / 30]
        dark_s = max(real if real >= exposure["noise_reduction_from_s"] else 0.0 for real in real_s)
        assert step.ready_ns == pytest.approx(0.25e9 + dark_s * 1e9, abs=1)


def test_where_nobody_knows_whose_turn_it_is_any_exposure_may_be_the_longest() -> None:
    kit = kit_of(exposure={"shutter_seconds": 7.5, "bracket_ev": [-2, 0, 2], "noise_reduction": True})
    axes = axis_settings(kit, [frame(0, 0)])
    known, lost = (
        [
            step
            for step in build_steps(kit, [frame(0, 0)], {(0, 0), (0, 1), (0, 2)}, axes, turn=turn)
            if isinstance(step, ExposeStep)
        ]
        for turn in (BracketPosition(3), BracketPosition(3).lost(None))
    )
    ends = [step.press_ms + step.limit_ms for step in known]
    assert ends == sorted(ends)
    assert ends[0] < ends[-1]
    for step, least in zip(lost, known, strict=True):
        assert (step.frame, step.exposure, step.shutter_s) == (least.frame, least.exposure, least.shutter_s)
        assert (step.press_ms + step.limit_ms, step.ready_ns) == (ends[-1], known[-1].ready_ns)
        assert step.deadline_ns == known[-1].deadline_ns > step.expected_ns


AIMS = st.lists(st.tuples(st.floats(-180, 180), st.floats(-80, 80)), min_size=1, max_size=8)


def moves_of(kit: Kit, aims: list[tuple[float, float]]) -> list[list[MoveStep]]:
    """The moves to each frame."""
    frames = [frame(yaw, pitch, number) for number, (yaw, pitch) in enumerate(aims)]
    moves: list[list[MoveStep]] = [[] for _ in frames]
    for step in shooting(kit, frames):
        if isinstance(step, MoveStep):
            moves[step.frame].append(step)
    return moves


@given(AIMS, st.floats(0, 1), st.floats(0, 1))
def test_play_is_taken_up_wherever_an_axis_turns_back(
    aims: list[tuple[float, float]], pan_play: float, tilt_play: float
) -> None:
    kit = kit_of(head={"pan": {"backlash_deg": pan_play}, "tilt": {"backlash_deg": tilt_play}})
    here = (int(pan_play > 0), int(tilt_play > 0))  # finding zero ends with about one step downward
    for aim, moves in zip(aims, moves_of(kit, aims), strict=True):
        goal = (to_steps(aim[0], kit.head.pan), to_steps(aim[1], kit.head.tilt))
        assert (moves[-1].pan_steps, moves[-1].tilt_steps) == goal
        too_far = []
        for start, target, play in zip(here, goal, (pan_play, tilt_play), strict=True):
            # Twice the play: once to cross it, and once more to be sure (no source).
            too_far.append(target - math.ceil(2 * play * 320) if target < start else target)
        assert [(move.pan_steps, move.tilt_steps, move.settle_ns) for move in moves[:-1]] == (
            [] if tuple(too_far) == goal else [(*too_far, 0)]
        )
        here = goal


def test_a_head_without_play_goes_straight_there() -> None:
    assert [len(moves) for moves in moves_of(kit_of(), [(50, 30), (-50, -30), (0, 0)])] == [1, 1, 1]


def test_taking_up_play_is_counted_in_the_time() -> None:
    aims, play = [(50.0, 30.0), (-50.0, -30.0), (0.0, 0.0)], {"backlash_deg": 0.5}
    frames = [frame(*aim, number) for number, aim in enumerate(aims)]
    loose = build_program(kit_of(head={"pan": play, "tilt": play}), frames)
    extra = [moves[0] for moves in moves_of(kit_of(head={"pan": play, "tilt": play}), aims) if len(moves) == 2]
    assert len(extra) == 1
    assert loose.expected_ns > build_program(kit_of(), frames).expected_ns + 0.3e9


def test_a_frame_by_hand_is_a_question_and_its_bracket() -> None:
    kit = kit_of(exposure={"bracket_ev": [-2, 0]})
    by_hand = frame(12.0, -90.0, 1).model_copy(update={"by_hand": True})
    steps = build_program(kit, [by_hand, frame(0, 0)]).steps  # last, whatever its position
    assert steps[-3] == AskStep(1, by_hand.row, 12.0, -90.0)
    assert [isinstance(step, ExposeStep) and step.frame == 1 for step in steps[-2:]] == [True, True]
    assert isinstance(steps[-4], MoveStep)  # the last zero check


def test_a_frame_by_hand_may_lie_outside_the_limits() -> None:
    kit = kit_of(head={"tilt": {"min_deg": -20, "max_deg": 20}})
    by_hand = frame(0, -90, 5).model_copy(update={"by_hand": True})
    assert isinstance(build_program(kit, [by_hand]).steps[0], AskStep)


@pytest.mark.parametrize(
    ("yaw_deg", "pitch_deg", "axis"), [(371, 0, "head.pan"), (-371, 0, "head.pan"), (0, 21, "head.tilt")]
)
def test_a_frame_outside_the_limits(yaw_deg: float, pitch_deg: float, axis: str) -> None:
    kit = kit_of(head={"tilt": {"min_deg": -20, "max_deg": 20}})
    frames = [frame(0, 0), frame(yaw_deg, pitch_deg, 17)]
    with pytest.raises(InputError) as caught:
        build_program(kit, frames)
    (sentence,) = caught.value.sentences
    assert "Frame 17" in sentence
    assert axis in sentence


@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), [(370, 20), (-370, -20)])
def test_a_frame_on_the_limit(yaw_deg: float, pitch_deg: float) -> None:
    kit = kit_of(head={"tilt": {"min_deg": -20, "max_deg": 20}})
    program = build_program(kit, [frame(yaw_deg, pitch_deg)])
    move = program.steps[0]
    assert isinstance(move, MoveStep)
    assert program.pan.min_steps <= move.pan_steps <= program.pan.max_steps
    assert program.tilt.min_steps <= move.tilt_steps <= program.tilt.max_steps
