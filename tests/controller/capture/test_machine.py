"""What the machine asks for, and in which order, event by event."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.capture.effects import Conclude, Doubt, Effect, End, Greet, Intend, Send, SendUrgent, Timer, Zeroed
from controller.capture.events import Event, EventKind
from controller.capture.machine import handle
from controller.capture.run import Run
from controller.capture.shooting import MOST_SILENT, MOST_TRIES
from controller.capture.states import RunState
from controller.program.build import build_program
from controller.program.program import ExposeStep, MoveStep, Program
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.messages import ZERO_SWITCHES, Arm, Cause, Expose, Halt, Move, Outcome, Reason, Reference, SetAxis, Stop
from protocol.units import BootId, CommandId, is_after
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
T = 1_000_000_000
UNTIL_STILL = (EventKind.START, EventKind.WELCOMED, EventKind.ARMED, EventKind.REFERENCED, EventKind.ARRIVED)


def told(run: Run, kind: EventKind, at_ns: int = T, outcome: Outcome = Outcome.NONE) -> list[Effect]:
    """Pass one event to the machine; an ending belongs to the exposure or command under way."""
    command_id = CommandId(run.shot.id if outcome is not Outcome.NONE else 0)
    return handle(
        run,
        Event(
            kind,
            at_ns,
            command_id=command_id,
            outcome=outcome,
            board_clock_ms=77,
            reason=Reason.OUT_OF_LIMITS,
            cause=Cause.STALL,
            boot_id=BootId(5),
        ),
    )


def at_first_exposure(program: Program = PROGRAM) -> Run:
    run = Run(program)
    for kind in (*UNTIL_STILL, EventKind.WAITED):
        told(run, kind)
    assert stands_in(run) is RunState.EXPOSING
    return run


def stands_in(run: Run) -> RunState:
    """The present state, which type checkers would otherwise narrow to an earlier one."""
    return run.state


def exposed(run: Run, at_ns: int = T) -> list[Effect]:
    return told(run, EventKind.EXPOSED, at_ns, Outcome.EXPOSED_SYNC)


def silent(run: Run) -> list[Effect]:
    return told(run, EventKind.NOT_CONFIRMED, outcome=Outcome.NO_SYNC)


def command_ids(effects: list[Effect]) -> list[int]:
    return [
        effect.request.command_id
        for effect in effects
        if isinstance(effect, Send) and isinstance(effect.request, SetAxis | Arm | Reference | Move | Expose)
    ]


def test_the_way_to_the_first_photograph() -> None:
    run = Run(PROGRAM)
    assert run.frame is None
    assert told(run, EventKind.START) == [Greet()]
    _, _, pan, tilt, arm = told(run, EventKind.WELCOMED)
    assert isinstance(pan, Send)
    assert isinstance(pan.request, SetAxis)
    assert pan.request.min_steps == PROGRAM.pan.min_steps
    assert isinstance(tilt, Send)
    assert isinstance(tilt.request, SetAxis)
    assert tilt.request.axis != pan.request.axis
    assert isinstance(arm, Send)
    assert arm.request == Arm(CommandId(3), BootId(5), PROGRAM.silence_ms)
    reference, timer = told(run, EventKind.ARMED)
    assert isinstance(reference, Send)
    assert isinstance(reference.request, Reference)
    assert timer == Timer(T + PROGRAM.reference_deadline_ns, overdue=True)
    first = PROGRAM.steps[0]
    assert isinstance(first, MoveStep)
    zeroed, move, timer = told(run, EventKind.REFERENCED)
    assert zeroed == Zeroed(BootId(5))
    assert move == Send(Move(CommandId(5), first.pan_steps, first.tilt_steps), first.turn_ns(shaped=False))  # type: ignore[arg-type]
    assert timer == Timer(T + first.deadline_ns, overdue=True)
    assert told(run, EventKind.ARRIVED) == [Timer(T + first.plain_settle_ns, overdue=False)]


def test_the_intent_comes_before_the_shutter() -> None:
    run = Run(PROGRAM)
    for kind in UNTIL_STILL:
        told(run, kind)
    intend, send, timer = told(run, EventKind.WAITED)
    step = PROGRAM.steps[1]
    assert isinstance(step, ExposeStep)
    assert isinstance(intend, Intend)
    assert isinstance(send, Send)
    assert isinstance(send.request, Expose)
    assert intend.intent.command_id == send.request.command_id
    assert (intend.intent.frame, intend.intent.exposure, intend.intent.attempt) == (0, 0, 1)
    assert (send.request.frame, send.request.exposure, send.request.limit_ms) == (0, 0, step.limit_ms)
    assert timer == Timer(T + step.deadline_ns, overdue=True)


def test_the_whole_program_in_order() -> None:
    run = at_first_exposure()
    frames = [(run.frame, run.progress.cursor)]
    while stands_in(run) is RunState.EXPOSING:
        exposed(run)
        if stands_in(run) is RunState.MOVING:
            told(run, EventKind.ARRIVED)
        if stands_in(run) in {RunState.SETTLING, RunState.RECOVERING}:
            told(run, EventKind.WAITED)
        frames.append((run.frame, run.progress.cursor))
    assert stands_in(run) is RunState.CLOSING
    places = [index for index, step in enumerate(PROGRAM.steps) if isinstance(step, ExposeStep)]
    assert [cursor for _, cursor in frames[:-1]] == places
    assert [frame for frame, _ in frames[:-1]] == [PROGRAM.steps[place].frame for place in places]
    (end,) = told(run, EventKind.AT_REST)  # a board without switches
    assert isinstance(end, End)
    assert end.complete
    assert end.sentence.startswith("The run is through.")
    assert "Whether pan and tilt lost steps was not checked" in end.sentence


def test_command_ids_only_grow_and_begin_above_the_boards() -> None:
    run = Run(PROGRAM, first_id=10)
    told(run, EventKind.START)
    welcomed = handle(run, Event(EventKind.WELCOMED, T, command_id=CommandId(500), boot_id=BootId(1)))
    ids = command_ids(welcomed)
    for kind in (EventKind.ARMED, EventKind.REFERENCED, EventKind.ARRIVED, EventKind.WAITED):
        ids += command_ids(told(run, kind))
    ids += command_ids(silent(run)) + command_ids(told(run, EventKind.WAITED)) + command_ids(exposed(run))
    assert ids == list(range(501, 501 + len(ids)))
    fresh = Run(PROGRAM, first_id=10)
    told(fresh, EventKind.START)
    assert command_ids(handle(fresh, Event(EventKind.WELCOMED, T, boot_id=BootId(1)))) == [10, 11, 12]


@given(
    before=st.integers(0, 2**32 - 1),
    ahead=st.integers(-5, 2**31 - 2000),
    interrupted=st.sampled_from([RunState.ARMING, RunState.REFERENCING, RunState.MOVING, RunState.EXPOSING]),
    same_boot=st.booleans(),
)
@settings(max_examples=60)
def test_after_a_lost_line_ids_are_above_the_boards_wherever_it_was_lost(
    before: int, ahead: int, interrupted: RunState, same_boot: bool
) -> None:
    """Another program may have used the board meanwhile: an id that it has accepted before would be refused."""
    run = Run(PROGRAM)
    told(run, EventKind.START)
    handle(run, Event(EventKind.WELCOMED, T, command_id=CommandId(before), boot_id=BootId(5)))
    for kind in (EventKind.ARMED, EventKind.REFERENCED, EventKind.ARRIVED, EventKind.WAITED):
        if run.state is interrupted:
            break
        told(run, kind)
    told(run, EventKind.LINK_LOST)
    told(run, EventKind.WAITED)
    ours = run.board.next_id
    theirs = CommandId((ours + ahead) % 2**32)
    boot_id = BootId(5 if same_boot else 6)
    handle(run, Event(EventKind.WELCOMED, T, command_id=theirs, boot_id=boot_id, capabilities=ZERO_SWITCHES))
    ids = command_ids(handle(run, Event(EventKind.AT_REST, T, boot_id=boot_id, known=same_boot)))
    assert stands_in(run) is RunState.ARMING
    assert all(is_after(CommandId(one), theirs) for one in ids)
    assert ids[0] == ours or not is_after(ours, theirs)
    assert all(is_after(CommandId(later), CommandId(one)) for one, later in pairwise(ids))


def test_the_camera_gets_its_time_between_exposures() -> None:
    run = at_first_exposure()
    step = PROGRAM.steps[1]
    assert isinstance(step, ExposeStep)
    _, timer = exposed(run, 7 * T)
    assert timer == Timer(7 * T + step.ready_ns, overdue=False)


@pytest.mark.parametrize("ready_ms", [0, 20_000])
def test_after_a_move_the_longer_of_head_and_camera_counts(ready_ms: int) -> None:
    program = build_program(kit_of(exposure={"ready_ms": ready_ms}), few_frames())
    run = at_first_exposure(program)
    exposed(run, 9 * T)
    assert stands_in(run) is RunState.MOVING
    move = program.steps[2]
    assert isinstance(move, MoveStep)
    assert 0 < move.plain_settle_ns < 10 * T
    (timer,) = told(run, EventKind.ARRIVED, 10 * T)
    assert timer == Timer(29 * T if ready_ms else 10 * T + move.plain_settle_ns, overdue=False)


def test_confirmed_and_assumed_are_told_apart() -> None:
    for outcome, word in (
        (Outcome.EXPOSED_SYNC, ShotOutcome.CONFIRMED),
        (Outcome.EXPOSED_BLIND, ShotOutcome.ASSUMED),
    ):
        run = at_first_exposure()
        exposing = run.shot.id
        conclude = told(run, EventKind.EXPOSED, outcome=outcome)[0]
        assert conclude == Conclude(exposing, word, 77, (0, 0))


def test_a_silent_camera_is_asked_three_times() -> None:
    run = at_first_exposure()
    cursor = run.progress.cursor
    for attempt in range(2, MOST_TRIES + 1):
        conclude, _ = silent(run)
        assert isinstance(conclude, Conclude)
        assert conclude.outcome is ShotOutcome.UNCONFIRMED
        assert stands_in(run) is RunState.RECOVERING
        intend = told(run, EventKind.WAITED)[0]
        assert isinstance(intend, Intend)
        assert intend.intent.attempt == attempt
        assert run.progress.cursor == cursor
    silent(run)
    assert stands_in(run) is RunState.RECOVERING
    # Go to the next frame. The rest of this bracket would be shot in its place, so all of it comes again at the end.
    assert isinstance(told(run, EventKind.WAITED)[0], Send)
    assert run.frame == 1
    assert run.progress.later == {(0, 0), (0, 1)}


def test_a_camera_that_answers_nothing_any_more_ends_the_run() -> None:
    run = at_first_exposure()
    for _ in range(MOST_SILENT * MOST_TRIES - 1):
        silent(run)
        if told(run, EventKind.WAITED)[0] and stands_in(run) is RunState.MOVING:
            told(run, EventKind.ARRIVED)
            told(run, EventKind.WAITED)
    effects = silent(run)
    assert stands_in(run) is RunState.STOPPING
    assert SendUrgent(Stop()) in effects
    (end,) = told(run, EventKind.AT_REST)
    assert isinstance(end, End)
    assert not end.complete
    assert "did not answer 9 times" in end.sentence


def test_tries_are_counted_for_each_exposure_anew() -> None:
    run = at_first_exposure()
    silent(run)
    told(run, EventKind.WAITED)
    exposed(run)
    intend = told(run, EventKind.WAITED)[0]
    assert isinstance(intend, Intend)
    assert (intend.intent.exposure, intend.intent.attempt) == (1, 1)


def test_a_stop_waits_for_the_head_to_rest() -> None:
    run = at_first_exposure()
    effects = told(run, EventKind.STOP)
    assert effects == [SendUrgent(Stop()), Timer(T + PROGRAM.stop_deadline_ns, overdue=True)]
    assert told(run, EventKind.STOP) == []
    exposing = run.shot.id
    (conclude,) = told(run, EventKind.CUT_SHORT, outcome=Outcome.CUT_SHORT)
    assert conclude == Conclude(exposing, ShotOutcome.INTERRUPTED, 77, (0, 0))
    assert told(run, EventKind.AT_REST) == [End(False, "Stopped as asked.", early=True)]


def test_an_exposure_that_still_succeeds_during_a_stop_counts() -> None:
    run = at_first_exposure()
    told(run, EventKind.STOP)
    (conclude,) = exposed(run)
    assert isinstance(conclude, Conclude)
    assert conclude.outcome is ShotOutcome.CONFIRMED


def test_a_halt_is_confirmed_before_the_run_ends() -> None:
    run = at_first_exposure()
    wanted = [SendUrgent(Halt()), Timer(T + PROGRAM.stop_deadline_ns, overdue=True)]
    assert told(run, EventKind.HALT) == wanted
    assert stands_in(run) is RunState.STOPPING
    assert told(run, EventKind.STOP) == []
    assert told(run, EventKind.HALT) == wanted  # requested again, sent again
    (end,) = told(run, EventKind.AT_REST)
    assert isinstance(end, End)
    assert not end.complete
    assert "no longer known" in end.sentence
    assert stands_in(run) is RunState.FAILED


def test_a_halt_that_is_not_confirmed_is_told() -> None:
    run = at_first_exposure()
    told(run, EventKind.HALT)
    (end,) = told(run, EventKind.OVERDUE)
    assert isinstance(end, End)
    assert "cut the motor power" in end.sentence


def test_a_halt_overtakes_a_stop() -> None:
    run = at_first_exposure()
    told(run, EventKind.STOP)
    assert SendUrgent(Halt()) in told(run, EventKind.HALT)
    (end,) = told(run, EventKind.AT_REST)
    assert isinstance(end, End)
    assert "Halted" in end.sentence


def test_what_an_earlier_run_left_behind_is_ignored() -> None:
    run = Run(PROGRAM)
    told(run, EventKind.START)
    assert told(run, EventKind.HELD) == []
    assert stands_in(run) is RunState.CONNECTING
    told(run, EventKind.WELCOMED)
    assert told(run, EventKind.HELD) == []
    assert stands_in(run) is RunState.ARMING
    told(run, EventKind.ARMED)
    (end,) = told(run, EventKind.HELD)
    assert isinstance(end, End)
    assert "stalled" in end.sentence


def test_a_head_that_does_not_come_to_rest_is_told() -> None:
    run = at_first_exposure()
    told(run, EventKind.STOP)
    (end,) = told(run, EventKind.OVERDUE)
    assert isinstance(end, End)
    assert "cut the motor power" in end.sentence


def test_a_command_overdue_twice_without_an_exposure_stops_the_run() -> None:
    run = at_first_exposure()
    assert SendUrgent(Stop()) not in told(run, EventKind.OVERDUE)  # it may have been the host's clock: investigate first
    assert run.state is RunState.SUSPENDED
    told(run, EventKind.WAITED)
    told(run, EventKind.WELCOMED)
    handle(run, Event(EventKind.AT_REST, T, cause=Cause.HOST_STOP, known=True))
    told(run, EventKind.ARMED)
    assert SendUrgent(Stop()) in told(run, EventKind.OVERDUE)
    (end,) = told(run, EventKind.AT_REST)
    assert isinstance(end, End)
    assert "longer than planned" in end.sentence


def test_a_refusal_in_the_middle_stops_and_says_why() -> None:
    run = at_first_exposure()
    assert SendUrgent(Stop()) in told(run, EventKind.REFUSED)
    (end,) = told(run, EventKind.AT_REST)
    assert isinstance(end, End)
    assert "limits" in end.sentence


@pytest.mark.parametrize("known", [True, False])
def test_what_is_learnt_after_the_position_was_lost_is_suspect(known: bool) -> None:
    """It was exposed under a zero that can never be checked, so it does not count."""
    run = at_first_exposure()
    run.position.switches = ZERO_SWITCHES
    told(run, EventKind.LINK_LOST)
    told(run, EventKind.WAITED)
    handle(run, Event(EventKind.WELCOMED, T, CommandId(run.shot.id), boot_id=BootId(5), capabilities=ZERO_SWITCHES))
    assert stands_in(run) is RunState.QUIETING
    rest = Event(EventKind.AT_REST, T, CommandId(run.shot.id), Outcome.EXPOSED_SYNC, cause=Cause.HOST_STOP, known=known)
    effects = handle(run, rest)
    assert any(isinstance(effect, Conclude) and effect.outcome is ShotOutcome.CONFIRMED for effect in effects)
    assert (Doubt(((0, 0),), DoubtReason.SUSPECT) in effects) is not known
    assert ((0, 0) in run.progress.left | run.progress.later) is not known


@pytest.mark.parametrize("cause", list(Cause))
def test_a_head_that_hit_a_limit_or_stalled_has_suspect_exposures(cause: Cause) -> None:
    """The head may have been off target before the board noticed; no other cause means that."""
    run = at_first_exposure()
    run.position.switches = ZERO_SWITCHES
    exposed(run)
    effects = handle(run, Event(EventKind.HELD, T, cause=cause))
    suspect = Doubt(((0, 0),), DoubtReason.SUSPECT)
    assert (suspect in effects) is (cause in {Cause.LIMIT, Cause.STALL})


def test_an_exposure_that_is_made_forgives_a_late_command() -> None:
    run = at_first_exposure()
    for _ in range(3):
        told(run, EventKind.OVERDUE)
        assert stands_in(run) is RunState.SUSPENDED  # investigated each time
        for kind in (EventKind.WAITED, EventKind.WELCOMED):
            told(run, kind)
        handle(run, Event(EventKind.AT_REST, T, cause=Cause.HOST_STOP, known=True))
        for kind in (EventKind.ARMED, EventKind.ARRIVED, EventKind.WAITED):
            told(run, kind)
        assert stands_in(run) is RunState.EXPOSING
        exposed(run)
        if stands_in(run) is RunState.MOVING:
            told(run, EventKind.ARRIVED)
        told(run, EventKind.WAITED)
