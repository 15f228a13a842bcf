"""Checks between the photographs: whether zero is in its place, and whether it is too windy.

A board records where the switches at zero change during a move. The program knows which moves may pass them. After such a
move it asks the board, which takes a few milliseconds. A switch that was not passed, or was passed elsewhere, means that
the motors lost steps or that the switch itself has moved. Zero is then found again. What was exposed since it was last
seen in its place is suspect and shot again. A switch seen in its place confirms what was exposed before the move that
passed it, and nothing after it.
"""

from controller.capture.effects import Listen, Send, SwitchesChecked, Timer
from controller.capture.events import Event
from controller.capture.run import Run
from controller.capture.shooting import move, reference
from controller.program.build import home_steps
from protocol.messages import GetIndex
from protocol.units import NS

MOST_TIMES_OFF = 3
CHECKS_WIND_EVERY_NS = 5 * NS

# Conditions.


def switch_record_missing(run: Run, _: Event) -> bool:
    """Whether the position is known from an earlier run, but the record of the switches is not."""
    position = run.position
    return position.known and not run.progress.nothing_left and position.look_is_due and position.edges is None


def look_is_due(run: Run, _: Event) -> bool:
    """Whether to ask the board about the switches: for the first time, or after a move that may have passed one."""
    return run.position.look_is_due


def index_is_off(run: Run, _: Event) -> bool:
    """Whether a switch was not in its place."""
    return bool(run.position.off)


def index_is_off_again(run: Run, _: Event) -> bool:
    """Whether a switch was not in its place too often to continue."""
    return bool(run.position.off) and run.position.times_off >= MOST_TIMES_OFF


def must_bring_home(run: Run, _: Event) -> bool:
    """Whether a switch was not in its place and the other axis has none to find its own zero."""
    return bool(run.position.off) and bool(run.position.blind)


def was_windy(run: Run, _: Event) -> bool:
    """Whether it was too windy until now, so that the head must settle first."""
    return run.patience.windy_since_ns is not None


def is_windy_too_long(run: Run, event: Event) -> bool:
    """Whether it has been too windy for too long."""
    return run.patience.is_windy_too_long(event.at_ns)


# Notes.


def note_index(run: Run, event: Event) -> None:
    """Compare the board's record of the switches with the expected one."""
    assert event.index is not None
    run.effects += [SwitchesChecked((axis,)) for axis in run.position.compare(event.index)]
    if not run.position.off:
        run.take_up_more()


# Actions.


def look(run: Run, _: Event) -> None:
    """Ask the board where it saw the switches."""
    run.effects += [Timer(None, overdue=False), Send(GetIndex())]


def recheck_zero(run: Run, event: Event) -> None:
    """Find zero again, and repeat the exposures that may be off target."""
    _doubt_zero(run)
    reference(run, event)


def bring_home(run: Run, event: Event) -> None:
    """Turn an axis without a switch back to zero first: the board takes its position then for zero."""
    position, program = run.position, run.program
    last = position.last_move
    assert last is not None
    blind = position.blind
    _doubt_zero(run)
    frame = next(frame for frame in program.frames if frame.id == last.frame)
    standing = (last.pan_steps, last.tilt_steps)
    home = home_steps(program, frame, standing, ("pan" in blind, "tilt" in blind))
    run.progress.go_home_first(home)
    position.home_left = len(home)
    move(run, event)


def _doubt_zero(run: Run) -> None:
    run.lose_place()
    run.position.times_off += 1
    run.begin_round()


def stop_zero_unreliable(run: Run, event: Event) -> None:
    """Stop: it happened too often, and somebody must look at the head."""
    run.lose_place()
    run.why = (
        f"The switch at zero of {' and '.join(run.position.off)} was found elsewhere {run.position.times_off + 1} times: "
        "check belt, screws, balance and motor current, then go on; what is suspect is shot again."
    )
    run.stop(event)


def listen(run: Run, _: Event) -> None:
    """Ask whether it is too windy."""
    run.effects += [Timer(None, overdue=False), Listen()]


def wait_for_calm(run: Run, event: Event) -> None:
    """Ask again after a while: it is too windy."""
    if run.patience.windy_since_ns is None:
        run.patience.windy_since_ns = event.at_ns
    run.effects.append(Timer(event.at_ns + CHECKS_WIND_EVERY_NS, overdue=False))


def settle_again(run: Run, event: Event) -> None:
    """Wait until the head is still: the wind has dropped."""
    windy_since_ns = run.patience.windy_since_ns
    if windy_since_ns is not None and event.at_ns - windy_since_ns > 2 * CHECKS_WIND_EVERY_NS:
        run.shut()  # somebody may have come to shelter it
    run.patience.windy_since_ns = None
    run.still_at_ns = event.at_ns + run.program.stop_settle_ns
    run.effects.append(Timer(run.still_at_ns, overdue=False))


def stop_wind(run: Run, event: Event) -> None:
    """Stop: the wind does not drop."""
    run.why = "It has blown too hard for half an hour; shelter the head or wait for calm, then go on."
    run.stop(event)
