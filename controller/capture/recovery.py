"""What to do when the line or the board is gone for a while: wait, greet again, find out, go on.

The board stops and holds by itself when it hears nothing. A line that is back is greeted and told to stop. The answer
tells whether the head still knows its position (the same boot, no doubt since), and how the exposure ended that was under
way. Then the board is armed again, finds zero again if it must, and goes back to the frame that was interrupted.
Exposures of it that are known to be made are not made twice.
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

# Causes for which somebody must look at the head before it may go on.
NEEDS_A_LOOK = {Cause.LIMIT, Cause.STALL, Cause.STOP_SWITCH, Cause.HOST_HALT, Cause.ZERO_NOT_FOUND}
LOST = {Reason.NOT_ARMED, Reason.WRONG_BOOT, Reason.NOT_CONFIGURED, Reason.UNKNOWN_POSITION}

# Conditions.


def only_silence(_: Run, event: Event) -> bool:
    """The board stopped because it had not heard us."""
    return event.cause is Cause.HOST_SILENCE


def needs_a_look(run: Run, event: Event) -> bool:
    """The board stopped in this run for something that somebody has to see to."""
    return run.board.was_armed and event.cause in NEEDS_A_LOOK


def lost_its_place(_: Run, event: Event) -> bool:
    """The board says that it is not, or no longer, as we left it: find out why before anything else."""
    return event.reason in LOST


def still_stopping(run: Run, event: Event) -> bool:
    """The board may still be bringing the head to rest for somebody who fell silent: wait for that, once."""
    return event.reason is Reason.BUSY and not run.patience.rested


def supply_is_low(run: Run, event: Event) -> bool:
    """It cannot be armed because its supply has not come back yet, and it is worth waiting longer."""
    return event.reason is Reason.BUSY and run.patience.waits_for_supply(event.at_ns)


def first_overdue(run: Run, _: Event) -> bool:
    """Since the last exposure: it may have been our own clock, or a host that slept; the board knows better."""
    return run.patience.late_commands == 0


def gets_nowhere(run: Run, _: Event) -> bool:
    """The run was interrupted again and again, and no exposure was made in between."""
    return run.patience.interruptions > MOST_INTERRUPTIONS


def has_patience(run: Run, event: Event) -> bool:
    """It is worth waiting a little longer."""
    return run.patience.waits_on(event.at_ns, nonsense=event.trouble is Trouble.NO_ANSWER)


def is_refused_again(run: Run, _: Event) -> bool:
    """The board has refused too often, and no exposure was made in between."""
    return run.patience.refusals + 1 >= MOST_REFUSALS


def is_greeted_in_vain(run: Run, _: Event) -> bool:
    """It answers greetings, and never comes to say that it is at rest."""
    return run.patience.greetings >= MOST_GREETINGS


# Notes.


def note_welcome(run: Run, event: Event) -> None:
    """The board says who it is: whether it has restarted decides what it may still know."""
    board, shot = run.board, run.shot
    board.same_boot = board.boot_id is not None and event.boot_id == board.boot_id
    never_taken = shot.id and is_after(CommandId(shot.id), event.command_id)
    if board.same_boot and never_taken:  # so nothing was exposed
        run.conclude_unheard(turn_is_lost=False)
    board.boot_id = event.boot_id
    board.capabilities = event.capabilities or board.capabilities
    run.position.switches = board.capabilities & ZERO_SWITCHES
    if not board.same_boot:
        run.lose_place()
    board.go_on_after(event.command_id)
    if run.state is RunState.RECONNECTING:
        run.people.person_seen = run.people.person_seen or not board.same_boot
    elif not board.same_boot:
        _begin_with_another_boot(run)


def _begin_with_another_boot(run: Run) -> None:
    """The run begins, and the board knows nothing of the run before."""
    run.position.was_set = False
    if run.shot.id:
        run.shot.forget()
        run.progress.lose_turn(run.shot.exposure[0])
        run.begin_pass()
    elif run.progress.later:
        run.begin_pass()


def note_rest(run: Run, event: Event) -> None:
    """It says where it stands, and how the exposure under way ended: that decides where to go on."""
    low = event.cause is Cause.SUPPLY_LOW
    if low or event.cause is Cause.STOP_SWITCH or run.patience.suspended_ns(event.at_ns) > PULLED_NS:
        run.people.person_seen = True
    if run.position.known and event.known:
        run.position.standing = event.at_steps
    else:
        run.lose_place()
    run.position.forget_edges()
    learn(run, event)
    if run.shot.id:  # what is not known by now stays in doubt
        run.progress.lose_turn(run.shot.exposure[0])
    run.shot.forget()
    run.patience.rest(event.at_ns, supply_low=low)
    run.begin_pass()


# Actions.


def suspend(run: Run, event: Event) -> None:
    """Write what is known of the exposure under way, and wait."""
    people = run.people
    run.conclude(event)
    run.progress.tries = 0
    run.board.armed = people.may_move = False
    people.person_seen = people.person_seen or event.port_gone or event.kind is EventKind.RESTARTED
    run.shut()
    greet_ns = run.patience.suspend(event.at_ns, refused=event.kind is EventKind.REFUSED)
    run.effects.append(Timer(greet_ns, overdue=False))


def doubt(run: Run, event: Event) -> None:
    """Something takes too long: look into it as if the line had been lost, once."""
    run.patience.late_commands += 1
    suspend(run, event)


def wait_for_supply(run: Run, event: Event) -> None:
    """The supply is still low: look again after a while."""
    suspend(run, event)
    run.people.person_seen = True
    run.effects.append(Timer(event.at_ns + LONGEST_PAUSE_NS // 2, overdue=False))


def suspend_again(run: Run, event: Event) -> None:
    """Still nothing: wait longer."""
    run.effects.append(Timer(run.patience.wait_longer(event.at_ns), overdue=False))


def learn(run: Run, event: Event) -> None:
    """News of the exposure that was under way, if it is of that one: it decides whether it is made again."""
    if not run.is_of_shot(event):
        return
    run.conclude(event)
    if event.outcome in MADE and not run.awaits_file:
        _learn_made(run)


def learn_filed(run: Run, _: Event) -> None:
    """The photograph of the exposure that was under way has arrived: it is not made again."""
    run.conclude_opened(ShotOutcome.CONFIRMED)
    _learn_made(run)


def _learn_made(run: Run) -> None:
    """It was made before the line was lost. If the position is lost by now, it can never be checked."""
    run.count_made(run.shot.exposure)
    if not run.position.known:
        run.lose_place()


def reconnect(run: Run, _: Event) -> None:
    """Open the line again and say hello."""
    run.effects += [Timer(None, overdue=False), Reopen(), Greet()]


def quieten(run: Run, event: Event) -> None:
    """The board is there: bring it to rest, whatever it does, and hear where it stands."""
    run.patience.greetings += 1
    run.stop(event)
