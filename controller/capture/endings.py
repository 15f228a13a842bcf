"""How a run ends early: after the head is brought to rest, or at once if the board cannot be reached."""

from controller.capture.effects import End, SendUrgent, Timer, ZeroLost
from controller.capture.events import Event
from controller.capture.run import Run
from controller.capture.words.board import TROUBLES, hold, refusal
from controller.program.program import Exposure
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.messages import Cause, Halt

SUSPECT = DoubtReason.SUSPECT

# Asked by the operator.


def stop_as_asked(run: Run, event: Event) -> None:
    """Stop for the operator."""
    run.why = "Stopped as asked."
    run.stop(event)


def halt_as_asked(run: Run, event: Event) -> None:
    """Stop the pulses at once, and make sure that the board has received the halt."""
    run.why = "Halted as asked: the position of the head is no longer known."
    run.board.armed = False
    deadline_ns = event.at_ns + run.program.stop_deadline_ns
    run.effects += [SendUrgent(Halt()), Timer(deadline_ns, overdue=True)]


def halt_unanswered(run: Run, _: Event) -> None:
    """End a run halted before the board answered: it is told, and may not hear it."""
    run.effects.append(SendUrgent(Halt()))
    run.fail("Halted as asked, before the board had answered; nothing was armed.")


def fail_stopped(run: Run, _: Event) -> None:
    """End a run stopped before anything could move."""
    run.fail("Stopped as asked.")


def fail_stopped_while_lost(run: Run, _: Event) -> None:
    """End a run stopped while the board was out of reach."""
    run.fail("Stopped as asked while the board was out of reach; it stops by itself when it hears nothing.")


# The head at rest, or not.


def conclude(run: Run, event: Event) -> None:
    """Store how the work under way at the stop ended."""
    run.conclude(event)


def conclude_filed(run: Run, _: Event) -> None:
    """Store that the photograph awaited at the stop has arrived."""
    run.conclude_opened(ShotOutcome.CONFIRMED)


def fail_at_rest(run: Run, _: Event) -> None:
    """End the run: the head is at rest after a stop."""
    run.fail(run.why)


def fail_not_at_rest(run: Run, _: Event) -> None:
    """End the run: the head should be at rest by now and is not."""
    still = (
        "The board does not say that the head stands still; support the camera and cut the motor power before "
        "you reach in."
    )
    run.lie = run.lie and f"{run.lie} {still}"
    run.fail(still)


# Contradictions of the board.


def fail_contradicted(run: Run, event: Event) -> None:
    """End the run: the board contradicted itself before anything could move."""
    note_contradicted(run, event)
    run.fail(run.lie)


def stop_contradicted(run: Run, event: Event) -> None:
    """Bring the head to rest, if the board still obeys: it has reported what cannot be true."""
    note_contradicted(run, event)
    run.stop(event)


def note_contradicted(run: Run, event: Event) -> None:
    """Note that nothing counts that relies on the board's reports.

    That is the exposure under way. If the reported position of the head cannot be trusted, it is also everything exposed
    since zero was last checked.
    """
    run.lie = run.lie or event.sentence
    if run.shot.id:
        run.conclude_unconfirmed(turn_is_lost=True)
    if event.place:
        position = run.position
        run.expose_again({*position.uncheckable, *position.made_since_checked}, SUSPECT)
        run.lose_place()
        run.effects.append(ZeroLost())


# The board refuses, stops by itself, or is gone.


def stop_overdue(run: Run, event: Event) -> None:
    """Stop: a command did not end in time."""
    run.why = "The board took far longer than planned; check that both axes turn freely and the motors run."
    run.stop(event)


def stop_refused(run: Run, event: Event) -> None:
    """Stop: the board refused a command during the run."""
    run.why = refusal(event)
    run.stop(event)


def fail_refused(run: Run, event: Event) -> None:
    """End the run: the board refuses to begin."""
    run.fail(refusal(event))


def fail_held(run: Run, event: Event) -> None:
    """End the run: the board stopped by itself. Exposures that may be off target before it noticed do not count."""
    run.conclude(event)
    if event.cause in {Cause.STALL, Cause.LIMIT}:
        run.expose_again(run.position.made_since_checked, SUSPECT)
    run.fail(run.why if run.why and event.cause is Cause.HOST_SILENCE else hold(event))


def stop_no_progress(run: Run, event: Event) -> None:
    """Stop: trying again is no use."""
    run.why = (
        f"The run was interrupted {run.patience.interruptions} times without an exposure in between; "
        "look at line, board and supply, then go on."
    )
    run.stop(event)


def stop_zero_lost(run: Run, event: Event) -> None:
    """Stop: on a head without switches only the operator can set zero."""
    run.why = (
        "Where the head points is not known any more, and it has no switch to find out: "
        "set zero at its mark again with `fullturn jog`, then go on."
    )
    run.stop(event)


def fail_link_lost(run: Run, event: Event) -> None:
    """End the run: the board no longer answers."""
    run.fail(TROUBLES[event.trouble])


def fail_never_rests(run: Run, _: Event) -> None:
    """End the run: waiting does not help."""
    run.fail(
        f"The board answered {run.patience.greetings} greetings in a row, and each time it restarted or fell silent "
        "before it said that the head is at rest. Check its supply, and its firmware with `fullturn board check`, then "
        "go on."
    )


# The run is through.


def fail_incomplete(run: Run, _: Event) -> None:
    """End the run: it is through, and some exposures were not confirmed."""
    progress = run.progress
    if progress.left_out:
        frames = _frames(progress.left_out)
        why = f"Frames by hand were left out: {frames}. `fullturn resume` at a terminal asks for them again."
    elif progress.given_up:
        frames = _frames(progress.given_up)
        why = f"The camera stayed silent at frames {frames}, also at the end; go on to try them again."
    else:
        why = "The set was complete when frames were requested again; go on to shoot them."
    run.effects.append(End(False, why))


def _frames(exposures: set[Exposure]) -> str:
    return ", ".join(str(frame) for frame in sorted({frame for frame, _ in exposures}))
