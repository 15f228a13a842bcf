"""How a run ends early: with the head brought to rest, or at once if nothing more can be said to the board."""

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
    """The operator wants to stop."""
    run.why = "Stopped as asked."
    run.stop(event)


def halt_as_asked(run: Run, event: Event) -> None:
    """Stop the pulses at once, and make sure that the board has heard it."""
    run.why = "Halted as asked: the position of the head is no longer known."
    run.board.armed = False
    deadline_ns = event.at_ns + run.program.stop_deadline_ns
    run.effects += [SendUrgent(Halt()), Timer(deadline_ns, overdue=True)]


def halt_unheard(run: Run, _: Event) -> None:
    """Halted before the board had answered: it is told, and may not hear it."""
    run.effects.append(SendUrgent(Halt()))
    run.fail("Halted as asked, before the board had answered; nothing was armed.")


def fail_stopped(run: Run, _: Event) -> None:
    """Stopped before anything could move."""
    run.fail("Stopped as asked.")


def fail_stopped_while_lost(run: Run, _: Event) -> None:
    """Stopped while the board could not be reached."""
    run.fail("Stopped as asked while the board was out of reach; it stops by itself when it hears nothing.")


# The head at rest, or not.


def conclude(run: Run, event: Event) -> None:
    """What was under way when the stop came still reports how it ended."""
    run.conclude(event)


def conclude_filed(run: Run, _: Event) -> None:
    """The photograph that was awaited when the stop came has arrived."""
    run.conclude_opened(ShotOutcome.CONFIRMED)


def fail_at_rest(run: Run, _: Event) -> None:
    """The head stands still after a stop."""
    run.fail(run.why)


def fail_not_at_rest(run: Run, _: Event) -> None:
    """The head should stand still by now."""
    still = "The board does not say that the head stands still; support the camera and cut the motor power before "
    still += "you reach in."
    run.lie = run.lie and f"{run.lie} {still}"
    run.fail(still)


# What cannot be true.


def fail_contradicted(run: Run, event: Event) -> None:
    """The board contradicts itself before anything could move."""
    note_contradicted(run, event)
    run.fail(run.lie)


def stop_contradicted(run: Run, event: Event) -> None:
    """The board says what cannot be true: bring the head to rest, as far as it obeys."""
    note_contradicted(run, event)
    run.stop(event)


def note_contradicted(run: Run, event: Event) -> None:
    """Nothing counts that rests on the board's word.

    That is the exposure under way. If its word on where the head points is worth nothing, it is also what was exposed
    since zero was last checked.
    """
    run.lie = run.lie or event.sentence
    if run.shot.id:
        run.conclude_unheard(turn_is_lost=True)
    if event.place:
        position = run.position
        run.expose_again({*position.uncheckable, *position.made_since_checked}, SUSPECT)
        run.lose_place()
        run.effects.append(ZeroLost())


# The board refuses, stops by itself, or is gone.


def stop_overdue(run: Run, event: Event) -> None:
    """A command did not end in its time."""
    run.why = "The board took far longer than planned; check that both axes turn freely and the motors run."
    run.stop(event)


def stop_refused(run: Run, event: Event) -> None:
    """The board refused a command in the middle of the run."""
    run.why = refusal(event)
    run.stop(event)


def fail_refused(run: Run, event: Event) -> None:
    """The board does not let us begin."""
    run.fail(refusal(event))


def fail_held(run: Run, event: Event) -> None:
    """The board stopped by itself and says why; what may have been shot askew before it noticed does not count."""
    run.conclude(event)
    if event.cause in {Cause.STALL, Cause.LIMIT}:
        run.expose_again(run.position.made_since_checked, SUSPECT)
    run.fail(run.why if run.why and event.cause is Cause.HOST_SILENCE else hold(event))


def stop_stuck(run: Run, event: Event) -> None:
    """Nothing is gained by trying on."""
    run.why = (
        f"The run was interrupted {run.patience.interruptions} times without an exposure in between; "
        "look at line, board and supply, then go on."
    )
    run.stop(event)


def stop_zero_lost(run: Run, event: Event) -> None:
    """Nobody but the operator can set zero on a head without switches."""
    run.why = (
        "Where the head points is not known any more, and it has no switch to find out: "
        "set zero at its mark again with `fullturn jog`, then go on."
    )
    run.stop(event)


def fail_link_lost(run: Run, event: Event) -> None:
    """The board does not answer any more."""
    run.fail(TROUBLES[event.trouble])


def fail_in_vain(run: Run, _: Event) -> None:
    """Waiting does not mend it."""
    run.fail(
        f"The board answered {run.patience.greetings} greetings in a row, and each time it restarted or fell silent "
        "before it said that the head is at rest; check its supply, and its firmware with `fullturn board check`, then "
        "go on."
    )


# The run is through.


def fail_incomplete(run: Run, _: Event) -> None:
    """The run is through, and some exposures were not confirmed."""
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
