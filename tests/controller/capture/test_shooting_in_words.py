"""What is written before an exposure, how long files are awaited, and what a run says of itself at its end."""

from __future__ import annotations

from typing import Any

import pytest

from controller.capture.effects import Ask, Conclude, Doubt, End, Intend, Send, SendUrgent, Timer
from controller.capture.events import Event, EventKind
from controller.capture.machine import handle
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.program.build import build_program
from controller.program.program import ExposeStep, MoveStep, Program
from controller.session.rows import DoubtReason, Remembered, ShotOutcome
from protocol.messages import Arm, Capability, EdgeFlag, Expose, Index, Move, Outcome, Reference, SetAxis, Stop
from protocol.units import NS, AxisId, CommandId, Steps
from tests.controller.capture.told import BOOT, PROGRAM, K, S, Told, exposing
from tests.end_to_end.whole_runs import few_frames, kit_of


def intents(told: Told) -> list[Any]:
    return [one.intent for one in told.of(Intend)]


def passed(told: Told) -> Any:
    """What a board notes whose switches change in their place whenever they must."""
    edges = told.run.position.edges or {"pan": 0, "tilt": 0}
    last = told.run.position.last_move
    zones = told.run.position.zones
    found = {}
    for axis in ("pan", "tilt"):
        crossing = getattr(last, axis) if last else None
        changes = bool(crossing and crossing.must)
        found[axis] = (edges[axis] + changes, round(zones[axis].downward) if axis in zones else 0)
    return Index(
        found["pan"][0], Steps(found["pan"][1]), EdgeFlag(0), found["tilt"][0], Steps(found["tilt"][1]), EdgeFlag(0)
    )


def onward(told: Told) -> None:
    """What comes next on a sound rig."""
    kinds = {S.MOVING: K.ARRIVED, S.CHECKING: K.CHECKED, S.EXPOSING: K.EXPOSED, S.REFERENCING: K.REFERENCED}
    edges = {"index": passed(told)} if told.stands_in() is S.CHECKING else {}
    told.hear(kinds.get(told.stands_in(), K.WAITED), **edges)


def until(told: Told, *states: RunState) -> Told:
    """On and on to one of these states."""
    for _ in range(200):
        if told.stands_in() in states:
            return told
        onward(told)
    raise AssertionError(told.stands_in())


def test_an_intent_says_what_comes_from_where() -> None:
    told = exposing()
    (intent,) = intents(told)
    move = next(step for step in PROGRAM.steps if isinstance(step, MoveStep))
    step = PROGRAM.exposures[0]
    assert (intent.frame, intent.exposure, intent.attempt) == (0, 0, 1)
    assert (intent.commanded_pan_steps, intent.commanded_tilt_steps) == (move.pan_steps, move.tilt_steps) == (4800, 1600)
    assert (intent.pan_deg, intent.tilt_deg) == (15.0, 5.0)
    assert intent.shutter_s == step.shutter_s
    (sent,) = told.of(Send)
    assert sent.request == Expose(CommandId(intent.command_id), 0, 0, step.focus_ms, step.press_ms, step.limit_ms)
    assert sent.expected_ns == step.expected_ns
    assert told.of(Timer) == [Timer(told.now_ns + step.deadline_ns, overdue=True)]


def test_a_frame_by_hand_has_no_angles_of_axes() -> None:
    frames = tuple(frame.model_copy(update={"by_hand": frame.id == 1}) for frame in few_frames()[:2])
    told = exposing(program=build_program(kit_of(), frames))
    told.hear(K.EXPOSED)
    until(told, S.ASKING)
    (ask,) = told.of(Ask)
    assert ask.question.words == (
        "Frame 1 is shot by hand; the head stays still meanwhile. Support the camera and take it off. "
        "Aim at yaw 120.0°, pitch -15.5° and hold still. Ready? (n leaves it out)"
    )
    assert ask.question.hold_deg == (120.0, -15.5)
    told.hear(K.ANSWERED)
    told.hear(K.WAITED)
    (intent,) = intents(told)
    assert (intent.frame, intent.pan_deg, intent.tilt_deg, intent.commanded_pan_steps, intent.commanded_tilt_steps) == (
        1, None, None, None, None,
    )  # fmt: skip


def test_a_board_is_told_of_both_axes_before_it_is_armed() -> None:
    told = Told().through(K.START, K.WELCOMED)
    pan, tilt, arm = (one.request for one in told.of(Send))
    for request, name, axis in ((pan, AxisId.PAN, PROGRAM.pan), (tilt, AxisId.TILT, PROGRAM.tilt)):
        assert isinstance(request, SetAxis)
        assert (request.axis, request.min_steps, request.max_steps) == (name, axis.min_steps, axis.max_steps)
        assert (request.speed_steps_s, request.accel_steps_s2) == (axis.speed_steps_s, axis.accel_steps_s2)
    assert isinstance(arm, Arm)
    assert (arm.boot_id, arm.silence_ms) == (BOOT, PROGRAM.silence_ms)
    told.hear(K.ARMED)
    (sent,) = told.of(Send)
    assert isinstance(sent.request, Reference)
    assert sent.expected_ns == PROGRAM.reference_expected_ns
    searches = (PROGRAM.pan_search_steps_s, PROGRAM.tilt_search_steps_s, PROGRAM.creep_divisor)
    assert (sent.request.pan_search_steps_s, sent.request.tilt_search_steps_s, sent.request.creep_divisor) == searches


def test_from_a_place_that_nobody_foresaw_a_move_may_take_as_long_as_the_longest() -> None:
    told = exposing()
    told.hear(K.LINK_LOST)
    told.through(K.WAITED, K.WELCOMED)
    told.hear(K.AT_REST, known=True, at_steps=(-9000, 4000))
    told.through(K.ARMED, K.CHECKED)
    (sent,) = told.of(Send)
    assert isinstance(sent.request, Move)
    step = told.run.progress.step(MoveStep)
    assert told.of(Timer) == [Timer(told.now_ns + step.deadline_ns + PROGRAM.longest_move_ns, overdue=True)]
    while told.stands_in() is not S.EXPOSING:
        onward(told)
        if told.stands_in() is S.MOVING and told.of(Send):  # a second move begins where the first has ended
            step = told.run.progress.step(MoveStep)
            assert told.of(Timer) == [Timer(told.now_ns + step.deadline_ns, overdue=True)]


DARK: Program = build_program(
    kit_of(exposure={"shutter_seconds": 8.0, "noise_reduction": True, "noise_reduction_from_s": 1.0}), few_frames()
)


def tethered(program: Program = DARK) -> Told:
    return exposing(program=program, tethered=True)


def test_a_file_is_awaited_for_its_dark_frame_and_half_a_minute_more() -> None:
    told = tethered()
    told.hear(K.EXPOSED)
    opened_ns = told.now_ns
    assert (told.stands_in(), told.of(Conclude)) == (S.TRANSFERRING, [])
    ready_ns = DARK.exposures[0].ready_ns
    assert ready_ns > 8 * NS
    (timer,) = told.of(Timer)
    assert timer.overdue
    assert timer.at_ns > opened_ns + ready_ns
    told.hear(K.FILED, 3 * NS)
    (conclude,) = told.of(Conclude)
    assert (conclude.outcome, conclude.board_clock_ms) == (ShotOutcome.CONFIRMED, 77)
    assert told.run.ready_at_ns == opened_ns + ready_ns  # busy since its shutter closed, not since the file came


def test_a_file_that_never_comes_is_a_try_that_failed() -> None:
    told = tethered()
    for attempt in (2, 3):
        told.through(K.EXPOSED, K.OVERDUE)
        assert [one.outcome for one in told.of(Conclude)] == [ShotOutcome.UNCONFIRMED]
        assert told.stands_in() is S.RECOVERING
        told.hear(K.WAITED)
        assert [one.attempt for one in intents(told)] == [attempt]
    told.through(K.EXPOSED, K.OVERDUE)
    assert (0, 0) in told.run.progress.later | told.run.progress.left


@pytest.mark.parametrize(
    ("with_tether", "silence"), [(True, "no photograph arrived"), (False, "its sync contact stayed silent")]
)
def test_a_camera_that_says_nothing_nine_times_ends_the_run(with_tether: bool, silence: str) -> None:
    told = exposing(tethered=with_tether)
    tries = 0
    while told.stands_in() is not S.STOPPING:
        if told.stands_in() is S.EXPOSING:
            tries += 1
            told.through(*([K.EXPOSED, K.OVERDUE] if with_tether else [K.NOT_CONFIRMED]))
        else:
            onward(told)
    assert tries == 9
    told.hear(K.AT_REST)
    assert told.last_words == (
        f"The camera did not answer 9 times running ({silence}); "
        "check the camera, its battery, its card and the cables, then go on with the rest."
    )


@pytest.mark.parametrize(
    ("event", "words"),
    [
        (K.AT_REST, "The run is through."),
        (K.RESTARTED, "The run is through."),
        (
            K.LINK_LOST,
            "The run is through. The board did not answer at the end: support the camera, then cut the motor power.",
        ),
    ],
)
def test_the_last_words_of_a_whole_run(event: EventKind, words: str) -> None:
    told = until(exposing(), S.CLOSING)
    assert told.sent == [Stop]
    told.hear(event)
    assert told.of(End) == [End(True, words, early=False)]
    assert told.stands_in() is S.DONE


def test_frames_requested_again_are_shot_when_the_rest_is_made() -> None:
    told = exposing()
    told.through(K.EXPOSED, K.WAITED)
    told.hear(K.EXPOSED)
    told.hear(K.RETAKE, frames=(0, 99))
    assert told.of(Doubt) == [Doubt(((0, 0), (0, 1)), DoubtReason.RETAKE)]
    shot: list[int] = []
    while told.stands_in() is not S.CLOSING:
        if told.stands_in() is S.EXPOSING:
            shot.append(told.run.progress.step(ExposeStep).frame)
        onward(told)
    assert shot == [1, 1, 2, 2, 3, 3, 0, 0]


def test_a_request_after_the_last_exposure_is_told_as_what_is_missing() -> None:
    told = until(exposing(), S.CLOSING)
    told.hear(K.RETAKE, frames=(2,))
    told.hear(K.AT_REST)
    assert told.of(End) == [
        End(False, "The set was complete when frames were requested again; go on to shoot them.", early=False)
    ]


@pytest.mark.parametrize("made", [0, 1])
def test_an_exposure_in_doubt_from_an_earlier_run_is_decided_by_the_board(made: int) -> None:
    """Its board is still the same boot: it never took the command, or it says how it ended."""
    remembered = Remembered(boot_id=BOOT, in_doubt=(41, 0, 0), exposures=0, latest=0)
    run = Run(PROGRAM, first_id=42, remembered=remembered)
    handle(run, Event(K.START, NS))
    welcome = Event(K.WELCOMED, NS, command_id=CommandId(41 if made else 40), boot_id=BOOT, capabilities=Capability(0))
    effects = handle(run, welcome)
    concluded = [one for one in effects if isinstance(one, Conclude)]
    assert [(one.command_id, one.outcome) for one in concluded] == ([] if made else [(41, ShotOutcome.UNCONFIRMED)])
    assert [type(one.request) for one in effects if isinstance(one, SendUrgent)] == [Stop]
    outcome = Outcome.EXPOSED_SYNC if made else Outcome.NONE
    rest = Event(K.AT_REST, 2 * NS, command_id=CommandId(41), outcome=outcome, boot_id=BOOT, known=True, board_clock_ms=7)
    concluded = [one for one in handle(run, rest) if isinstance(one, Conclude)]
    assert [one.outcome for one in concluded] == ([ShotOutcome.CONFIRMED] if made else [])
    assert ((0, 0) in run.progress.left) is not bool(made)
