"""Recovery from a lost line or board: wait, greet again, find out what happened, continue.

The board stops and holds by itself if it receives nothing. When the line is back, the run greets the board and tells it
to stop. The answer tells whether the head still knows its position (the same boot, no doubt since) and how the exposure
under way ended. Then the board is armed again, finds zero again if necessary, and returns to the interrupted frame.
Exposures of it that are known to be made are not repeated.
"""

from controller.capture.belief import MADE
from controller.capture.effects import Greet, Reopen, Timer
from controller.capture.events import Event, EventKind
from controller.capture.patience import LONGEST_PAUSE_NS, MOST_GREETINGS, MOST_INTERRUPTIONS, MOST_REFUSALS, PULLED_NS
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.session.rows import ShotOutcome
from protocol.messages import ZERO_SWITCHES, Cause, Reason
from protocol.statistics import Trouble
from protocol.units import CommandId, is_after

# Causes after which somebody must look at the head before it may continue.
NEEDS_A_LOOK = {Cause.LIMIT, Cause.STALL, Cause.STOP_SWITCH, Cause.HOST_HALT, Cause.ZERO_NOT_FOUND}
LOST = {Reason.NOT_ARMED, Reason.WRONG_BOOT, Reason.NOT_CONFIGURED, Reason.UNKNOWN_POSITION}

# Conditions.


def may_pass(_: Run, event: Event) -> bool:
    """Whether the board stopped for what can pass without the run's end: silence from the host, or a low supply."""
    return event.cause in {Cause.HOST_SILENCE, Cause.SUPPLY_LOW}


def needs_a_look(run: Run, event: Event) -> bool:
    """Whether the board stopped in this run for a cause that a person must deal with."""
    return run.board.was_armed and event.cause in NEEDS_A_LOOK


def lost_its_place(_: Run, event: Event) -> bool:
    """Whether the board is not in the state in which it was left: find out why before anything else."""
    return event.reason in LOST


def still_stopping(run: Run, event: Event) -> bool:
    """Whether the board may still be stopping for a host that fell silent: wait for that, once."""
    return event.reason is Reason.BUSY and not run.patience.rested


def supply_is_low(run: Run, event: Event) -> bool:
    """Whether the board cannot be armed because its supply is still low, and waiting longer may help."""
    return event.reason is Reason.BUSY and run.patience.waits_for_supply(event.at_ns)


def first_overdue(run: Run, _: Event) -> bool:
    """Whether this is the first late command since the last exposure. The host may have slept, or its clock be wrong."""
    return run.patience.late_commands == 0


def makes_no_progress(run: Run, _: Event) -> bool:
    """Whether the run was interrupted again and again without an exposure in between."""
    return run.patience.interruptions > MOST_INTERRUPTIONS


def has_patience(run: Run, event: Event) -> bool:
    """Whether to wait a little longer."""
    return run.patience.waits_on(event.at_ns, nonsense=event.trouble is Trouble.NO_ANSWER)


def is_refused_again(run: Run, _: Event) -> bool:
    """Whether the board has refused too often without an exposure in between."""
    return run.patience.refusals + 1 >= MOST_REFUSALS


def never_rests(run: Run, _: Event) -> bool:
    """Whether the board answers greetings but never reports that it is at rest."""
    return run.patience.greetings >= MOST_GREETINGS


# Notes.


def note_welcome(run: Run, event: Event) -> None:
    """Note the Welcome. Whether the board has restarted decides what it may still know."""
    board, shot = run.board, run.shot
    board.same_boot = board.boot_id is not None and event.boot_id == board.boot_id
    never_taken = shot.id and is_after(CommandId(shot.id), event.command_id)
    if board.same_boot and never_taken:  # so nothing was exposed
        run.conclude_unconfirmed(turn_is_lost=False)
    board.boot_id = event.boot_id
    if event.capabilities is not None:  # another firmware may have fewer, or none
        board.capabilities = event.capabilities
    run.position.switches = board.capabilities & ZERO_SWITCHES
    if not board.same_boot:
        run.lose_place()
    board.go_on_after(event.command_id)
    if run.state is RunState.RECONNECTING:
        run.people.person_seen = run.people.person_seen or not board.same_boot
    elif not board.same_boot:
        _begin_with_another_boot(run)


def _begin_with_another_boot(run: Run) -> None:
    """Begin the run with a board that knows nothing of the run before."""
    run.position.was_set = False
    if run.shot.id:
        run.shot.forget()
        run.progress.lose_turn(run.shot.exposure[0])
        run.begin_round()
    elif run.progress.later:
        run.begin_round()


def note_rest(run: Run, event: Event) -> None:
    """Note the head's position and the outcome of the exposure under way: they decide where to continue."""
    low = event.cause is Cause.SUPPLY_LOW
    if low or event.cause is Cause.STOP_SWITCH or run.patience.suspended_ns(event.at_ns) > PULLED_NS:
        run.people.person_seen = True
    if run.position.known and event.known:
        run.position.standing = event.at_steps
    else:
        run.lose_place()
    run.position.forget_edges()
    run.still_at_ns = event.at_ns + run.program.stop_settle_ns  # the move that it interrupted rings on
    learn(run, event)
    if run.shot.id:  # its outcome is still unknown and stays in doubt
        run.progress.lose_turn(run.shot.exposure[0])
    run.shot.forget()
    run.patience.rest(event.at_ns, supply_low=low)
    run.begin_round()


# Actions.


def suspend(run: Run, event: Event) -> None:
    """Store the outcome of the exposure under way, if known, and wait."""
    people = run.people
    run.conclude(event)
    run.progress.tries = 0
    run.board.armed = people.may_move = False
    people.person_seen = people.person_seen or event.port_gone or event.kind is EventKind.RESTARTED
    run.shut()
    greet_ns = run.patience.suspend(event.at_ns, refused=event.kind is EventKind.REFUSED)
    run.effects.append(Timer(greet_ns, overdue=False))


def doubt(run: Run, event: Event) -> None:
    """Suspend the run for a late command, once, as if the line were lost."""
    run.patience.late_commands += 1
    suspend(run, event)


def wait_for_supply(run: Run, event: Event) -> None:
    """Look again after a while: the supply is still low."""
    suspend(run, event)
    run.people.person_seen = True
    run.effects.append(Timer(event.at_ns + LONGEST_PAUSE_NS // 2, overdue=False))


def suspend_again(run: Run, event: Event) -> None:
    """Wait longer: still no answer."""
    run.effects.append(Timer(run.patience.wait_longer(event.at_ns), overdue=False))


def learn(run: Run, event: Event) -> None:
    """Take in the outcome of the exposure under way, if the event concerns that one: it decides whether to repeat it."""
    if not run.is_of_shot(event):
        return
    run.conclude(event)
    if event.outcome in MADE and not run.awaits_file:
        _learn_made(run)


def learn_filed(run: Run, _: Event) -> None:
    """Note the photograph of the exposure under way: it has arrived, so the exposure is not repeated."""
    run.conclude_opened(ShotOutcome.CONFIRMED)
    _learn_made(run)


def _learn_made(run: Run) -> None:
    """Note that it was made before the line was lost. If the position is now unknown, it can never be checked."""
    run.count_made(run.shot.exposure)
    if not run.position.known:
        run.lose_place()


def reconnect(run: Run, _: Event) -> None:
    """Reopen the line and greet the board."""
    run.effects += [Timer(None, overdue=False), Reopen(), Greet()]


def bring_to_rest(run: Run, event: Event) -> None:
    """Bring the board to rest, whatever it is doing, and receive its position."""
    run.patience.greetings += 1
    run.stop(event)
