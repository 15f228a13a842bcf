"""Frames shot by hand, and moves that go too far first to take up the backlash of the gears."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.capture.effects import Ask, Effect, End, Intend, Send, SendUrgent, Timer
from controller.capture.events import Event, EventKind
from controller.capture.machine import handle
from controller.capture.people import YesNoQuestion
from controller.capture.run import Run
from controller.capture.runner import Runner
from controller.capture.states import RunState
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.program.program import AskStep, MoveStep
from controller.session.session import Session
from controller.session.shot_poses import shot_pose
from protocol.messages import Expose, Move, Outcome
from protocol.units import BootId, CommandId
from sim.camera import Label, Opening
from tests.end_to_end.whole_runs import assert_truly_made, few_frames, kit_of, world_of

T = 1_000_000_000
BRACKET = kit_of(exposure={"bracket_ev": [0, 1]})
PLAY = kit_of(head={"pan": {"backlash_deg": 0.5}, "tilt": {"backlash_deg": 0.25}})


def with_hand(*numbers: int) -> tuple[Frame, ...]:
    """A few frames, some of them by hand."""
    return tuple(frame.model_copy(update={"by_hand": frame.id in numbers}) for frame in few_frames())


def told(run: Run, *kinds: EventKind, at_ns: int = T) -> list[Effect]:
    """Pass some events to the machine. Returns the effects of the last one."""
    effects: list[Effect] = []
    for kind in kinds:
        outcome = Outcome.EXPOSED_SYNC if kind is EventKind.EXPOSED else Outcome.NONE
        effects = handle(run, Event(kind, at_ns, CommandId(run.shot.id), outcome, boot_id=BootId(5)))
    return effects


def begun(frames: tuple[Frame, ...]) -> Run:
    run = Run(build_program(BRACKET, frames))
    told(run, EventKind.START, EventKind.WELCOMED, EventKind.ARMED)
    return run


def stands_in(run: Run) -> RunState:
    return run.state


def test_frames_by_hand_alone_are_asked_for_before_anything_moves() -> None:
    run = begun(with_hand(0, 1, 2, 3))
    timer, ask = told(run, EventKind.REFERENCED)[1:]
    assert timer == Timer(None, overdue=False)
    assert isinstance(ask, Ask)
    assert (ask.question.hold_deg, ask.question.needs_person) == ((15.0, 5.0), True)
    assert "Frame 0 is shot by hand" in ask.question.words
    assert stands_in(run) is RunState.ASKING
    assert told(run, EventKind.ANSWERED, at_ns=7 * T) == [Timer(7 * T, overdue=False)]
    intend, send, _ = told(run, EventKind.WAITED, at_ns=7 * T)
    assert isinstance(intend, Intend)
    assert (intend.intent.frame, intend.intent.pan_deg, intend.intent.tilt_deg) == (0, None, None)  # no motor moved it
    assert isinstance(send, Send)
    assert isinstance(send.request, Expose)


def test_a_frame_by_hand_waits_until_the_head_has_moved_for_the_last_time() -> None:
    run = begun(with_hand(1))
    told(run, EventKind.REFERENCED)
    for _ in range(3):
        told(run, EventKind.ARRIVED, EventKind.WAITED, EventKind.EXPOSED, EventKind.WAITED)
        send = told(run, EventKind.EXPOSED, at_ns=9 * T)[1]
        assert isinstance(send, Send)
        assert isinstance(send.request, Move)
    timer, ask = told(run, EventKind.ARRIVED, at_ns=9 * T)
    assert timer == Timer(None, overdue=False)
    assert isinstance(ask, Ask)
    assert ask.question.hold_deg == (120.0, -15.5)
    # After an immediate answer the camera still has its time to get ready.
    assert told(run, EventKind.ANSWERED, at_ns=9 * T) == [Timer(9 * T + 250_000_000, overdue=False)]
    told(run, EventKind.WAITED, EventKind.EXPOSED, EventKind.WAITED, EventKind.EXPOSED)
    assert stands_in(run) is RunState.CLOSING


def test_a_last_frame_by_hand_ends_the_run() -> None:
    run = begun(with_hand(0, 1, 2, 3))
    told(run, EventKind.REFERENCED)
    for _ in range(4):
        told(run, EventKind.ANSWERED, EventKind.WAITED, EventKind.EXPOSED, EventKind.WAITED, EventKind.EXPOSED)
    assert stands_in(run) is RunState.CLOSING
    assert told(run, EventKind.AT_REST) == [End(True, "The run is through.")]


@pytest.mark.parametrize("asked", [EventKind.STOP, EventKind.HALT])
def test_the_operator_may_end_it_instead_of_answering(asked: EventKind) -> None:
    run = begun(with_hand(0))
    told(run, EventKind.REFERENCED)
    assert isinstance(told(run, asked)[0], SendUrgent)
    assert stands_in(run) is RunState.STOPPING


@pytest.mark.parametrize("numbers", [(0,), (1,), (3,), (0, 1, 2, 3)])
def test_frames_by_hand_are_asked_for_and_made(numbers: tuple[int, ...], tmp_path: Path) -> None:
    frames = with_hand(*numbers)
    world = world_of(BRACKET, frames)
    asked: list[int] = []

    def hold(question: YesNoQuestion) -> bool:
        assert question.hold_deg is not None
        asked.append(next(frame.id for frame in frames if (frame.yaw_deg, frame.pitch_deg) == question.hold_deg))
        world.rig.head.hold_by_hand(*question.hold_deg)
        return True

    with Session.create(tmp_path / "session.sqlite", {}, durable=False) as session:
        result = Runner(world.program, world.port, session, ask=hold).run()
        poses = [
            (frames[row.intent.frame], shot_pose(BRACKET.head, frames[row.intent.frame], row)) for row in session.shots()
        ]
    assert result.complete
    assert asked == list(numbers)
    assert_truly_made(BRACKET, sorted(frames, key=lambda frame: frame.by_hand), world.truth)
    for frame, pose in poses:
        assert (pose.yaw_deg, pose.pitch_deg) == pytest.approx((frame.yaw_deg, frame.pitch_deg), abs=0.002)
        assert (pose.pan_deg is None) is frame.by_hand


def test_after_going_too_far_the_head_comes_back_without_settling_twice() -> None:
    program = build_program(PLAY, few_frames()[:2])  # from pitch 5 down to -15.5: the tilt axis turns back
    beyond, back = [step for step in program.steps if isinstance(step, MoveStep)][1:3]
    assert (beyond.pan_steps, back.pan_steps) == (38_400, 38_400)
    assert (beyond.tilt_steps, back.tilt_steps) == (-4960 - 160, -4960)
    run = Run(program)
    told(
        run,
        EventKind.START,
        EventKind.WELCOMED,
        EventKind.ARMED,
        EventKind.REFERENCED,
        EventKind.ARRIVED,
        EventKind.WAITED,
    )
    first = told(run, EventKind.EXPOSED)[1]
    assert isinstance(first, Send)
    assert first.request == Move(CommandId(run.board.next_id - 1), beyond.pan_steps, beyond.tilt_steps)  # type: ignore[arg-type]
    send, timer = told(run, EventKind.ARRIVED, at_ns=5 * T)
    assert stands_in(run) is RunState.MOVING
    request = Move(CommandId(run.board.next_id - 1), back.pan_steps, back.tilt_steps)  # type: ignore[arg-type]
    assert send == Send(request, back.turn_ns(shaped=False))
    assert timer == Timer(5 * T + back.deadline_ns, overdue=True)
    assert told(run, EventKind.ARRIVED, at_ns=6 * T) == [Timer(6 * T + back.plain_settle_ns, overdue=False)]
    assert stands_in(run) is RunState.SETTLING


def test_play_is_taken_up_on_the_rig_too(tmp_path: Path) -> None:
    """Wherever the frames are, each is reached from the same side on both axes, and from zero upward at first."""
    frames = (*few_frames()[:3], frame_at(3, 10.0, -60.0), frame_at(4, -20.0, -60.0))
    world = world_of(PLAY, frames)
    begun_from: list[tuple[bool, bool]] = []
    real = world.rig.camera.release

    def release(now_ns: int, label: Label, press_ns: int = 0) -> Opening | None:
        begun_from.append((rising[0], rising[1]))
        return real(now_ns, label, press_ns)

    rising = [True, True]
    for place, axis in enumerate((world.rig.head.pan, world.rig.head.tilt)):
        watch(axis, rising, place)
    world.rig.camera.release = release  # type: ignore[method-assign]
    with Session.create(tmp_path / "session.sqlite", {}, durable=False) as session:
        result = Runner(world.program, world.port, session).run()
    assert result.complete
    assert_truly_made(PLAY, frames, world.truth)
    assert begun_from == [(True, True)] * len(frames)
    assert result.seconds == pytest.approx(world.program.expected_ns / 1e9, rel=0.05)


def frame_at(number: int, yaw_deg: float, pitch_deg: float) -> Frame:
    return few_frames()[0].model_copy(update={"id": number, "yaw_deg": yaw_deg, "pitch_deg": pitch_deg})


def watch(axis: object, rising: list[bool], place: int) -> None:
    """Keep in `rising` whether the latest motion of this axis with any length went upward."""
    real = axis.begin  # type: ignore[attr-defined]

    def begin(motion: object) -> None:
        way = motion.target - axis.motion.target  # type: ignore[attr-defined]
        rising[place] = way > 0 if way else rising[place]
        real(motion)

    axis.begin = begin  # type: ignore[attr-defined]


def test_a_frame_by_hand_does_not_count_as_a_way_of_the_head() -> None:
    frames = with_hand(1)
    steps = build_program(PLAY, frames).steps
    without = build_program(PLAY, [frame for frame in frames if not frame.by_hand]).steps
    assert isinstance(without[-1], MoveStep)  # past the switches, before somebody may hold the camera
    assert list(steps[: len(without)]) == list(without)
    assert not any(isinstance(step, MoveStep) for step in steps[len(without) :])
    assert [step for step in steps if isinstance(step, AskStep)] == [AskStep(1, 0, 120.0, -15.5)]
