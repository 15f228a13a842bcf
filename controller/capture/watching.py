"""What is checked between the photographs: whether zero is in its place, and whether it blows too hard.

A board notes where the switches at zero change during a move. The program knows which moves may pass them; after such a
move the board is asked, which takes a few milliseconds. A switch that was not passed, or was passed elsewhere, means that
the motors lost steps, or that the switch itself has moved. Zero is then found again, and what was exposed since it was
last seen in its place is suspect and shot again. A switch seen in its place vouches for what was exposed before the move
that passed it, and for nothing after it.
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


def goes_on_unseen(run: Run, _: Event) -> bool:
    """The position is known from an earlier run, but not what the switches did by then."""
    position = run.position
    return position.known and not run.progress.nothing_left and position.look_is_due and position.edges is None


def look_is_due(run: Run, _: Event) -> bool:
    """The board must be asked about the switches: for the first time, or after a move that may have passed one."""
    return run.position.look_is_due


def index_is_off(run: Run, _: Event) -> bool:
    """A switch was not in its place."""
    return bool(run.position.off)


def index_is_off_again(run: Run, _: Event) -> bool:
    """A switch was not in its place, too often to go on."""
    return bool(run.position.off) and run.position.times_off >= MOST_TIMES_OFF


def must_bring_home(run: Run, _: Event) -> bool:
    """A switch was not in its place, and the other axis has none to find its own zero by."""
    return bool(run.position.off) and bool(run.position.blind)


def it_has_blown(run: Run, _: Event) -> bool:
    """It blew too hard until now, so the head must come to rest first."""
    return run.patience.windy_since_ns is not None


def wind_lasts(run: Run, event: Event) -> bool:
    """It has blown too hard for too long."""
    return run.patience.wind_lasts(event.at_ns)


# Notes.


def note_index(run: Run, event: Event) -> None:
    """Compare what the board has seen of the switches with what it should have seen."""
    assert event.index is not None
    run.effects += [SwitchesChecked((axis,)) for axis in run.position.compare(event.index)]
    if not run.position.off:
        run.take_up_more()


# Actions.


def look(run: Run, _: Event) -> None:
    """Ask the board where it saw the switches."""
    run.effects += [Timer(None, overdue=False), Send(GetIndex())]


def distrust(run: Run, event: Event) -> None:
    """Find zero again, and shoot again what may have been shot askew."""
    _doubt_zero(run)
    reference(run, event)


def bring_home(run: Run, event: Event) -> None:
    """Take an axis without a switch back to zero first: the board takes for its zero wherever it then stands."""
    position, program = run.position, run.program
    last = position.last_move
    assert last is not None
    blind = position.blind
    _doubt_zero(run)
    frame = next(frame for frame in program.frames if frame.id == last.frame)
    standing = (last.pan_steps, last.tilt_steps)
    home = home_steps(program.kit, frame, standing, ("pan" in blind, "tilt" in blind))
    run.progress.go_home_first(home)
    position.home_left = len(home)
    move(run, event)


def _doubt_zero(run: Run) -> None:
    run.lose_place()
    run.position.times_off += 1
    run.begin_pass()


def stop_distrust(run: Run, event: Event) -> None:
    """It happens again and again: somebody must look at the head."""
    run.lose_place()
    run.why = (
        f"The switch at zero of {' and '.join(run.position.off)} was found elsewhere {run.position.times_off + 1} times: "
        "check belt, screws, balance and motor current, then go on; what is suspect is shot again."
    )
    run.stop(event)


def listen(run: Run, _: Event) -> None:
    """Ask whether it blows too hard."""
    run.effects += [Timer(None, overdue=False), Listen()]


def wait_for_calm(run: Run, event: Event) -> None:
    """It does: ask again after a while."""
    if run.patience.windy_since_ns is None:
        run.patience.windy_since_ns = event.at_ns
    run.effects.append(Timer(event.at_ns + CHECKS_WIND_EVERY_NS, overdue=False))


def settle_again(run: Run, event: Event) -> None:
    """The wind has dropped: wait until the head is still."""
    windy_since_ns, last = run.patience.windy_since_ns, run.position.last_move
    if windy_since_ns is not None and event.at_ns - windy_since_ns > 2 * CHECKS_WIND_EVERY_NS:
        run.shut()  # somebody may have come to shelter it
    run.patience.windy_since_ns = None
    run.still_at_ns = event.at_ns + (0 if last is None else last.settle_ns)
    run.effects.append(Timer(run.still_at_ns, overdue=False))


def stop_wind(run: Run, event: Event) -> None:
    """The wind does not drop."""
    run.why = "It has blown too hard for half an hour; shelter the head or wait for calm, then go on."
    run.stop(event)
