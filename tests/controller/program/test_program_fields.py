"""What a program says of its rig and in which order it does things, for any kit and any part of a plan."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.line import TRIES, retry_ns
from controller.planning.plan import Frame
from controller.program.build import axis_settings, build_program, build_steps
from controller.program.course import exchange_ns, look_ns, move_ns
from controller.program.program import AskStep, ExposeStep, MoveStep
from controller.program.timing import deadline_ns, hello_tries, motion_ns, wire_ns
from protocol.codec import frame_of
from protocol.messages import EdgeFlag, Expose, Finished, GetIndex, Index, Move, Outcome
from protocol.units import MS, NS, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

BAUDS = st.sampled_from([1200, 9600, 115_200, 1_000_000])


@given(st.floats(-400, -1), st.floats(1, 400), st.floats(-180, -1), st.floats(1, 180), st.sampled_from([36.0, 5.7]))
def test_limits_in_steps_hold_the_whole_travel_and_not_a_step_more(
    pan_min: float, pan_max: float, tilt_min: float, tilt_max: float, gear: float
) -> None:
    head = {
        "pan": {"min_deg": pan_min, "max_deg": pan_max, "gear_ratio": gear},
        "tilt": {"min_deg": tilt_min, "max_deg": tilt_max, "gear_ratio": gear},
    }
    program = build_program(kit_of(head=head), [Frame(id=0, row=0, yaw_deg=0, pitch_deg=0)])
    rate = 200 * 16 * gear / 360
    for axis, low, high in ((program.pan, pan_min, pan_max), (program.tilt, tilt_min, tilt_max)):
        assert axis.steps_per_degree == pytest.approx(rate)
        assert axis.min_steps <= low * rate < axis.min_steps + 1
        assert axis.max_steps - 1 < high * rate <= axis.max_steps
        assert axis.speed_steps_s == round(30 * rate)
        assert axis.accel_steps_s2 == round(40 * rate)


@pytest.mark.parametrize("axis", ["pan", "tilt"])
@pytest.mark.parametrize("side", [-1, 1])
def test_a_step_beyond_either_limit_is_refused_with_its_axis(axis: str, side: int) -> None:
    limits = {"min_deg": -20.0, "max_deg": 20.0}
    kit = kit_of(head={axis: limits})
    for angle_deg, reached in ((20.0, True), (20.0 + 1 / 320, False)):
        pose = {"yaw_deg": 0.0, "pitch_deg": 0.0} | {"yaw_deg" if axis == "pan" else "pitch_deg": side * angle_deg}
        frame = Frame(id=3, row=0, **pose)  # type: ignore[arg-type]
        if reached:
            assert build_program(kit, [frame]).steps
            continue
        with pytest.raises(InputError) as caught:
            build_program(kit, [frame])
        assert f"Frame 3 (yaw {pose['yaw_deg']:.2f}, pitch {pose['pitch_deg']:.2f} degrees)" in str(caught.value)
        assert f"the limits of head.{axis}." in str(caught.value)


@settings(max_examples=40)
@given(st.integers(0, 2000), st.integers(1, 500), st.floats(0.001, 20), BAUDS, st.booleans(), st.booleans())
def test_what_is_expected_of_an_exposure_is_what_the_camera_and_the_line_take(
    focus_ms: int, press_ms: int, shutter_s: float, baud: int, contact: bool, bulb: bool
) -> None:
    camera = {
        "shutter_seconds": shutter_s,
        "focus_ms": focus_ms,
        "press_ms": press_ms,
        "bulb": bulb,
        "release_lag_ms": 60,
    }
    kit = kit_of(
        exposure={**camera, "release_lag_ms": 60}, board={"baud": baud, "sync_contact": contact, "silence_ms": 6000}
    )
    (step,) = build_program(kit, few_frames()[:1]).exposures
    pressed_ms = max(1, round(shutter_s * 1000)) if bulb else press_ms
    assert (step.focus_ms, step.press_ms) == (focus_ms, pressed_ms)
    board_ms = max(pressed_ms, 60 + shutter_s * 1000) if contact else pressed_ms + step.limit_ms
    command = Expose(CommandId(1), 0, 0, focus_ms, pressed_ms, step.limit_ms)
    end = Finished(CommandId(1), Outcome.ARRIVED, Steps(1), Steps(1), 1)
    wire = wire_ns(command, baud) + wire_ns(end, baud)
    assert exchange_ns(command, baud) == wire
    assert step.expected_ns == round((focus_ms + board_ms) * MS) + wire
    assert step.deadline_ns == deadline_ns((focus_ms + pressed_ms + step.limit_ms) * MS, baud)


@given(BAUDS)
def test_times_on_the_wire_are_ten_bits_a_byte(baud: int) -> None:
    """8N1 (arithmetic); a greeting is repeated for the four seconds that a board takes to start, and as often again as
    anything else.
    """
    for message in (GetIndex(), Move(CommandId(1), Steps(5), Steps(6))):
        assert wire_ns(message, baud) == len(frame_of(message, 1)) * 10 * NS // baud
    answer = Index(1, Steps(1), EdgeFlag.ON, 1, Steps(1), EdgeFlag.ON)
    assert look_ns(baud) == wire_ns(GetIndex(), baud) + wire_ns(answer, baud)
    assert (hello_tries(baud) - TRIES) * retry_ns(baud) >= 4 * NS > (hello_tries(baud) - TRIES - 1) * retry_ns(baud)
    assert deadline_ns(8 * NS, baud) == 11 * NS + 2 * TRIES * retry_ns(baud)  # a quarter and a second more


@given(st.lists(st.tuples(st.floats(-300, 300), st.floats(-80, 80)), min_size=1, max_size=5))
def test_the_longest_move_is_across_all_that_is_visited(aims: list[tuple[float, float]]) -> None:
    kit = kit_of()
    frames = [Frame(id=n, row=0, yaw_deg=yaw, pitch_deg=pitch) for n, (yaw, pitch) in enumerate(aims)]
    program = build_program(kit, frames)
    stops = [(0, 0), *((one.pan_steps, one.tilt_steps) for one in program.steps if isinstance(one, MoveStep))]
    spans = [max(values) - min(values) for values in zip(*stops, strict=True)]
    turning = max(
        motion_ns(span, 9600, 12_800) + (axis.shaper.duration_ms * MS if span else 0)
        for span, axis in zip(spans, program.axes, strict=True)
    )
    longest = program.longest_move_ns
    assert (
        0 <= longest - turning - exchange_ns(Move(CommandId(1), Steps(1), Steps(1)), kit.board.baud) < 2 * MS
    )  # whole milliseconds
    settings_ = (program.pan, program.tilt)
    assert all(move_ns(kit, settings_, a, b) <= longest + MS for a in stops for b in stops)


SLOW = {"max_speed_deg_s": 0.01, "max_accel_deg_s2": 1.0, "measured_steps_per_degree": 100.0}


def test_even_the_slowest_axis_searches() -> None:
    program = build_program(kit_of(head={"pan": SLOW, "tilt": SLOW}), few_frames()[:1])
    assert (program.pan_search_steps_s, program.tilt_search_steps_s) == (1, 1)
    assert program.reference_expected_ns > 0
    usual = build_program(kit_of(), few_frames())
    assert (usual.silence_ms, usual.retry_ns, usual.tries) == (
        usual.kit.board.silence_ms, retry_ns(usual.kit.board.baud), TRIES,
    )  # fmt: skip


WANTED = st.sets(st.tuples(st.integers(0, 3), st.integers(0, 1)))


@settings(max_examples=150)
@given(WANTED, st.sets(st.integers(0, 3)), st.booleans(), st.booleans())
def test_frames_come_in_order_those_by_hand_last_and_a_look_between(
    wanted: set[tuple[int, int]], by_hand: set[int], from_anywhere: bool, look: bool
) -> None:
    kit = kit_of(exposure={"bracket_ev": [0, 1]})
    frames = [frame.model_copy(update={"by_hand": frame.id in by_hand}) for frame in few_frames()]
    steps = build_steps(
        kit, frames, wanted, axis_settings(kit, frames), from_anywhere=from_anywhere, standing=(640, 320), look=look
    )
    turned = [frame for frame in frames if frame.id not in by_hand]
    told: list[tuple[str, int, int]] = []
    for frame in turned:
        mine = [("expose", frame.id, number) for number in (0, 1) if (frame.id, number) in wanted]
        told += [("move", frame.id, 0), *mine] if mine else []
    if told:
        told.append(("move", told[-1][1], 0))
    elif look and turned:
        told.append(("move", turned[-1].id, 0))
    for frame in (frame for frame in frames if frame.id in by_hand):
        mine = [("expose", frame.id, number) for number in (0, 1) if (frame.id, number) in wanted]
        told += [("ask", frame.id, 0), *mine] if mine else []
    found: list[tuple[str, int, int]] = []
    for step in steps:
        kinds = {MoveStep: "move", AskStep: "ask", ExposeStep: "expose"}
        one = (kinds[type(step)], step.frame, step.exposure if isinstance(step, ExposeStep) else 0)
        if not (found and one[0] == "move" and found[-1] == one):  # a look may take two moves
            found.append(one)
    assert found == told
    if told and not turned:
        assert not any(isinstance(step, MoveStep) for step in steps)
    assert math.isfinite(sum(step.expected_ns for step in steps if not isinstance(step, AskStep)))
