"""What a board says is believed only as far as it can be true. Pure functions: what was asked and what was said go in,
a `Lie` or None comes out.

A board that reports what its own counters say can be found out in four ways: it is elsewhere than it was sent, it was
quicker than its motors or its contacts can be, it contradicts its own words, or it tells of things it does not have. A
board that invents a position, a time and a sync contact that all fit cannot be found out here; the switches at zero
(`watching.py`) tell of motion that was not made, and the pictures of the rest.
"""

from dataclasses import dataclass
from typing import NamedTuple

from controller.capture.words.untruths import OF_PLACE, Untruth
from controller.program.program import AxisSetting, Program
from controller.program.timing import motion_ns
from protocol.messages import (
    BoardState,
    Capability,
    Expose,
    Index,
    Move,
    Outcome,
    Reference,
    Status,
    StatusFlag,
    Welcome,
)
from protocol.units import ID_SPAN, MS, NO_COMMAND

Place = tuple[int, int]
"""Pan and tilt, in steps from zero."""

# How much sooner than it can be something may be told of: the two clocks do not agree (a ceramic resonator is good to
# half a percent; common practice, no source), a board rounds ramps to whole steps, and milliseconds are counted whole.
SHARE = 0.05
MARGIN_NS = 20 * MS
# A simulated rig may live faster than the host (`simulate --speed`): a clock that runs faster than this, evenly, is
# such a one's, and its commands may be as much faster, with some leeway for a busy computer.
FAST = 1.5
LEEWAY = 1.25
LEAST_RECEIVE_BYTES = 43  # protocol/SPEC.md, Welcome

MADE = {Outcome.EXPOSED_SYNC, Outcome.EXPOSED_BLIND}
ENDS: dict[type, set[Outcome]] = {
    Reference: {Outcome.REFERENCED, Outcome.CUT_SHORT},
    Move: {Outcome.ARRIVED, Outcome.CUT_SHORT},
    Expose: {*MADE, Outcome.NO_SYNC, Outcome.CUT_SHORT},
}
UNDER_WAY: dict[type, BoardState] = {
    Reference: BoardState.REFERENCING,
    Move: BoardState.MOVING,
    Expose: BoardState.EXPOSING,
}
ARMED = {BoardState.READY, *UNDER_WAY.values()}
AT_REST = {BoardState.DISARMED, BoardState.READY, BoardState.EXPOSING}
KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN
SWITCHES = {"pan": Capability.PAN_SWITCH, "tilt": Capability.TILT_SWITCH}


class Lie(NamedTuple):
    """What cannot be true, as a sentence; `place` if the board's word on where the head points is worth nothing."""

    sentence: str
    place: bool


def lie(untruth: Untruth, *, place: bool = False, **values: object) -> Lie:
    """That untruth, its sentence filled in with `values`."""
    return Lie(untruth.template.format(**values), place or untruth in OF_PLACE)


@dataclass(frozen=True, slots=True)
class SentCommand:
    """A command under way: when it was sent, and by then where the head stood (None: unknown) and the board's clock."""

    request: Reference | Move | Expose
    sent_ns: int
    from_steps: Place | None
    clock_ms: int | None
    clock_at_ns: int = 0
    """When `clock_ms` was heard."""
    rate: float | None = None
    """How many seconds of the board's clock pass in one of the host's, None while that is not known."""
    accepted: bool = False

    @property
    def what(self) -> str:
        """The command as people read it."""
        if isinstance(self.request, Move):
            return f"the move to {place(self.request.pan_steps, self.request.tilt_steps)}"
        return "the reference run" if isinstance(self.request, Reference) else f"exposure {self.request.exposure}"

    @property
    def ends_at(self) -> Place | None:
        """Where the head must be at its end, None if that is not known."""
        if isinstance(self.request, Move):
            return self.request.pan_steps, self.request.tilt_steps
        return (0, 0) if isinstance(self.request, Reference) else self.from_steps


@dataclass(frozen=True, slots=True)
class CommandOutcome:
    """How a command ended, as the board says: the outcome, the place, its clock; and when that was heard."""

    outcome: Outcome
    at_steps: Place
    clock_ms: int
    heard_ns: int


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a board when it is asked for its status."""

    asked: SentCommand | None
    at_steps: Place | None
    armed: bool
    stopped: bool
    """Told to stop, and not armed since."""
    status_clock_ms: int | None


def place(pan: int, tilt: int) -> str:
    """A place as people read it."""
    return f"pan {pan}, tilt {tilt} steps"


def of_welcome(welcome: Welcome) -> Lie | None:
    """A board that could not do its work."""
    if welcome.receive_bytes < LEAST_RECEIVE_BYTES:
        return lie(Untruth.BUFFER, bytes=welcome.receive_bytes)
    return None if welcome.max_step_rate else lie(Untruth.RATE)


def of_outcome(outcome: Outcome, capabilities: Capability) -> Lie | None:
    """An exposure that was, or was not, confirmed by a contact that is not, or is, fitted."""
    if capabilities & Capability.SYNC_CONTACT:
        return lie(Untruth.HAS_CONTACT) if outcome is Outcome.EXPOSED_BLIND else None
    said = {Outcome.EXPOSED_SYNC: "answered", Outcome.NO_SYNC: "stayed silent"}.get(outcome)
    return lie(Untruth.NO_CONTACT, said=said) if said else None


def of_end(asked: SentCommand, told: CommandOutcome, program: Program, capabilities: Capability) -> Lie | None:
    """The end of a command: of a kind that it can have, where the head should be, and not before it could be."""
    if told.outcome not in ENDS[type(asked.request)]:
        return lie(Untruth.OUTCOME, what=asked.what, outcome=told.outcome.name)
    if told.outcome is Outcome.CUT_SHORT:
        return None
    if (contact := of_outcome(told.outcome, capabilities)) is not None:
        return contact
    if asked.ends_at is not None and told.at_steps != asked.ends_at:
        return lie(Untruth.ELSEWHERE, what=asked.what, there=place(*told.at_steps), here=place(*asked.ends_at))
    moves = not isinstance(asked.request, Expose)
    least_ns = _least_ns(asked, told.outcome, program, capabilities)
    if asked.clock_ms is None and isinstance(asked.request, Reference):
        return None  # mostly the first command of all: how fast the board lives cannot be told yet
    took_ns = told.heard_ns - asked.sent_ns
    if took_ns * _rate(asked, told) < least_ns:
        return lie(Untruth.TOO_SOON, place=moves, what=asked.what, took=took_ns / 1e9, least=least_ns / 1e9)
    if asked.clock_ms is None:
        return None
    if backward(asked.clock_ms, told.clock_ms):
        return lie(Untruth.CLOCK, before=asked.clock_ms, after=told.clock_ms)
    counted_ns = (told.clock_ms - asked.clock_ms) % ID_SPAN * MS
    if counted_ns < least_ns:
        return lie(
            Untruth.TOO_SOON_BY_ITS_CLOCK, place=moves, what=asked.what, took=counted_ns / 1e9, least=least_ns / 1e9
        )
    return None


def _rate(asked: SentCommand, told: CommandOutcome) -> float:
    """How much faster than the host the board lives: 1 for a real one."""
    rate = asked.rate
    if rate is None and asked.clock_ms is not None:  # nothing to go by yet but this command itself
        counted_ns = (told.clock_ms - asked.clock_ms) % ID_SPAN * MS
        rate = counted_ns / max(1, told.heard_ns - asked.clock_at_ns)
    return rate * LEEWAY if rate is not None and rate > FAST else 1.0


def of_status(status: Status, known: Known) -> Lie | None:
    """A status that cannot be true: by itself, or after what was asked and told before."""
    if known.status_clock_ms is not None and backward(known.status_clock_ms, status.clock_ms):
        return lie(Untruth.CLOCK, before=known.status_clock_ms, after=status.clock_ms)
    if status.finished_id != NO_COMMAND and backward(status.finished_clock_ms, status.clock_ms):
        return lie(Untruth.CLOCK, before=status.finished_clock_ms, after=status.clock_ms)
    name = status.state.name
    armed = bool(status.flags & StatusFlag.ARMED)
    if armed is not (status.state in ARMED):
        return lie(Untruth.ARMED, state=name, armed="armed" if armed else "not armed")
    running = status.running_id != NO_COMMAND
    if status.state is not BoardState.STOPPING and running is not (status.state in UNDER_WAY.values()):
        return lie(Untruth.RUNNING, state=name, running=f"command {status.running_id}" if running else "nothing")
    if known.stopped:
        return lie(Untruth.GOES_ON, state=name) if armed else _of_place(status, known)
    return (_of_running(status, known) if known.armed and armed else None) or _of_place(status, known)


def _of_running(status: Status, known: Known) -> Lie | None:
    """What an armed board carries out is what it was given last."""
    asked = known.asked
    if asked is not None and not asked.accepted:
        return None
    if asked is None:
        return lie(Untruth.OTHER, running=status.running_id) if status.running_id != NO_COMMAND else None
    if status.running_id == asked.request.command_id:
        expected = UNDER_WAY[type(asked.request)]
        return None if status.state is expected else lie(Untruth.WRONG_STATE, what=asked.what, state=status.state.name)
    if status.finished_id == asked.request.command_id:
        return None
    if status.running_id != NO_COMMAND:
        return lie(Untruth.OTHER, running=status.running_id)
    return lie(Untruth.LOST, what=asked.what)


def _of_place(status: Status, known: Known) -> Lie | None:
    """A head that rests stays where it is, and an armed board knows where that is."""
    asked = known.asked
    turning = asked is not None and not isinstance(asked.request, Expose)
    ended = asked is not None and status.finished_id == asked.request.command_id
    if status.state not in AT_REST or ((known.at_steps is None or turning) and not ended):
        return None
    if status.flags & KNOWN != KNOWN:
        flags = {"pan": StatusFlag.PAN_KNOWN, "tilt": StatusFlag.TILT_KNOWN}
        unknown = " and ".join(axis for axis, flag in flags.items() if not status.flags & flag)
        return lie(Untruth.FORGOT, axes=unknown) if status.flags & StatusFlag.ARMED else None
    there = (status.pan_steps, status.tilt_steps)
    if turning or known.at_steps is None or there == known.at_steps:
        return None
    return lie(Untruth.MOVED, there=place(*there), here=place(*known.at_steps))


def of_index(index: Index, before: Index | None, capabilities: Capability) -> Lie | None:
    """Changes of the switches at zero: they only grow in number, and only where there is a switch."""
    counts = {"pan": index.pan_edges, "tilt": index.tilt_edges}
    earlier = {"pan": before.pan_edges, "tilt": before.tilt_edges} if before is not None else counts
    for axis, count in counts.items():
        if count and not capabilities & SWITCHES[axis]:
            return lie(Untruth.NO_SWITCH, axis=axis)
        if backward(earlier[axis], count):
            return lie(Untruth.EDGES_BACK, axis=axis, before=earlier[axis], after=count)
    return None


def backward(before: int, after: int) -> bool:
    """Whether a number of 32 bits that starts again at 0 went backward: by less than half of its span."""
    return (after - before) % ID_SPAN >= ID_SPAN // 2


def least_move_ns(distance: int, setting: AxisSetting) -> int:
    """The shortest time for a distance of one axis, in steps: the ramps of SetAxis, less one step."""
    return motion_ns(max(0, abs(distance) - 1), setting.speed_steps_s, setting.accel_steps_s2)


def _least_ns(asked: SentCommand, outcome: Outcome, program: Program, capabilities: Capability) -> int:
    """The shortest time from sending a command to hearing of its end, the tolerance taken off."""
    request, axes = asked.request, {"pan": program.pan, "tilt": program.tilt}
    if isinstance(request, Expose):
        open_ms = request.focus_ms + request.press_ms
        least_ns = (open_ms if outcome is Outcome.EXPOSED_SYNC else open_ms + request.limit_ms) * MS
    elif isinstance(request, Reference):
        # A switch is left and met again: a step off and a step on again at least.
        switched = [setting for axis, setting in axes.items() if capabilities & SWITCHES[axis]]
        least_ns = max((2 * motion_ns(1, one.speed_steps_s, one.accel_steps_s2) for one in switched), default=0)
    elif asked.from_steps is None:
        least_ns = 0
    else:
        ways = zip((request.pan_steps, request.tilt_steps), asked.from_steps, axes.values(), strict=True)
        least_ns = max(least_move_ns(goal - here, setting) for goal, here, setting in ways)
    return max(0, round(least_ns * (1 - SHARE)) - MARGIN_NS)


def at_rest(status: Status) -> Place | None:
    """Where a board that rests says that the head stands, None if it does not know."""
    return (status.pan_steps, status.tilt_steps) if status.flags & KNOWN == KNOWN else None
