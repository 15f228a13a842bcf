"""Checks whether a board's report can be true. Pure functions from a request and its report to a `Contradiction` or None.

A board whose reports contradict its own counters shows it in four ways. It is elsewhere than it was sent. It was quicker
than its motors or contacts can be. It contradicts itself. Or it reports things that it does not have. A board that
invents a consistent position, time and sync contact is not detected here. The switches at zero (`watching.py`) detect
motion that was not made, and the pictures show the rest.
"""

from dataclasses import dataclass
from typing import NamedTuple

from controller.capture.words.untruths import OF_PLACE, Untruth
from controller.program.arrival import Place
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

# How much earlier than possible a report may come. The two clocks differ (a ceramic resonator is accurate to half a
# percent; common practice, no source), a board rounds ramps to whole steps, and it counts whole milliseconds.
SHARE = 0.05
MARGIN_NS = 20 * MS
# A simulated rig may run faster than the host (`simulate --speed`). A clock that runs steadily faster than this belongs
# to one. Its commands may be faster in proportion, with some leeway for a busy computer.
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


class Contradiction(NamedTuple):
    """What cannot be true, as a sentence; `place` if the reported position of the head cannot be trusted."""

    sentence: str
    place: bool


def lie(untruth: Untruth, *, place: bool = False, **values: object) -> Contradiction:
    """That untruth, with `values` filled into its sentence."""
    return Contradiction(untruth.template.format(**values), place or untruth in OF_PLACE)


@dataclass(frozen=True, slots=True)
class SentCommand:
    """A command under way: when it was sent, and the head's position (None: unknown) and the board's clock by then."""

    request: Reference | Move | Expose
    sent_ns: int
    from_steps: Place | None
    clock_ms: int | None
    clock_at_ns: int = 0
    """When `clock_ms` was received."""
    rate: float | None = None
    """Seconds of the board's clock per second of the host's, None if unknown."""
    accepted: bool = False
    shaped_ms: tuple[int, int] = (0, 0)
    """By how much the shapers that the board has accepted make a move of pan, and of tilt, longer."""

    @property
    def what(self) -> str:
        """The command in words."""
        if isinstance(self.request, Move):
            return f"the move to {place(self.request.pan_steps, self.request.tilt_steps)}"
        return "the reference run" if isinstance(self.request, Reference) else f"exposure {self.request.exposure}"

    @property
    def ends_at(self) -> Place | None:
        """The position of the head at its end, None if unknown."""
        if isinstance(self.request, Move):
            return self.request.pan_steps, self.request.tilt_steps
        return (0, 0) if isinstance(self.request, Reference) else self.from_steps


@dataclass(frozen=True, slots=True)
class CommandOutcome:
    """How a command ended, as reported: outcome, position and the board's clock; and when the report was received."""

    outcome: Outcome
    at_steps: Place
    clock_ms: int
    heard_ns: int


@dataclass(frozen=True, slots=True)
class Known:
    """The state of knowledge about a board when its status is requested."""

    asked: SentCommand | None
    at_steps: Place | None
    armed: bool
    stopped: bool
    """It was told to stop and has not been armed since."""
    status_clock_ms: int | None


def place(pan: int, tilt: int) -> str:
    """A position in words."""
    return f"pan {pan}, tilt {tilt} steps"


def of_welcome(welcome: Welcome) -> Contradiction | None:
    """A Welcome from a board that could not do its work."""
    if welcome.receive_bytes < LEAST_RECEIVE_BYTES:
        return lie(Untruth.BUFFER, bytes=welcome.receive_bytes)
    return None if welcome.max_step_rate else lie(Untruth.RATE)


def of_outcome(outcome: Outcome, capabilities: Capability) -> Contradiction | None:
    """An exposure with a sync contact that is not fitted, or without the one that is."""
    if capabilities & Capability.SYNC_CONTACT:
        return lie(Untruth.HAS_CONTACT) if outcome is Outcome.EXPOSED_BLIND else None
    said = {Outcome.EXPOSED_SYNC: "answered", Outcome.NO_SYNC: "stayed silent"}.get(outcome)
    return lie(Untruth.NO_CONTACT, said=said) if said else None


def of_end(asked: SentCommand, told: CommandOutcome, program: Program, capabilities: Capability) -> Contradiction | None:
    """The end of a command: its kind must fit the command, the position be right, and the time be long enough."""
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
        return None  # usually the first command: the speed of the board's clock is still unknown
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
    """How much faster than the host the board runs: 1 for a real one.

    A busy computer hears the clock late and so measures too little, but the time of this command itself is then measured
    in the same way: the larger of both counts for a board that is known to be fast.
    """
    rate = asked.rate
    if asked.clock_ms is not None and (rate is None or rate > FAST):
        counted_ns = (told.clock_ms - asked.clock_ms) % ID_SPAN * MS
        rate = max(rate or 0.0, counted_ns / max(1, told.heard_ns - asked.clock_at_ns))
    return rate * LEEWAY if rate is not None and rate > FAST else 1.0


def of_status(status: Status, known: Known) -> Contradiction | None:
    """A status that cannot be true: by itself, or after earlier requests and reports."""
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


def _of_running(status: Status, known: Known) -> Contradiction | None:
    """An armed board must be executing the last command it accepted."""
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


def _of_place(status: Status, known: Known) -> Contradiction | None:
    """The head must not move while at rest, and an armed board must know its position."""
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


def of_index(index: Index, before: Index | None, capabilities: Capability) -> Contradiction | None:
    """The changes of the switches at zero: their number only grows, and only if there is a switch."""
    counts = {"pan": index.pan_edges, "tilt": index.tilt_edges}
    earlier = {"pan": before.pan_edges, "tilt": before.tilt_edges} if before is not None else counts
    for axis, count in counts.items():
        if count and not capabilities & SWITCHES[axis]:
            return lie(Untruth.NO_SWITCH, axis=axis)
        if backward(earlier[axis], count):
            return lie(Untruth.EDGES_BACK, axis=axis, before=earlier[axis], after=count)
    return None


def backward(before: int, after: int) -> bool:
    """Whether a 32-bit counter that wraps to 0 went backward: by less than half of its span."""
    return (after - before) % ID_SPAN >= ID_SPAN // 2


def least_move_ns(distance: int, setting: AxisSetting) -> int:
    """The shortest time for a distance of one axis, in steps: the ramps of SetAxis, less one step."""
    return motion_ns(max(0, abs(distance) - 1), setting.speed_steps_s, setting.accel_steps_s2)


def _least_ns(asked: SentCommand, outcome: Outcome, program: Program, capabilities: Capability) -> int:
    """The shortest time from sending a command to receiving its end, less the tolerance."""
    request, axes = asked.request, {"pan": program.pan, "tilt": program.tilt}
    if isinstance(request, Expose):
        open_ms = request.focus_ms + request.press_ms
        least_ns = (open_ms if outcome is Outcome.EXPOSED_SYNC else open_ms + request.limit_ms) * MS
    elif isinstance(request, Reference):
        # A reference run leaves a switch and meets it again: at least a step off and a step on.
        switched = [setting for axis, setting in axes.items() if capabilities & SWITCHES[axis]]
        least_ns = max((2 * motion_ns(1, one.speed_steps_s, one.accel_steps_s2) for one in switched), default=0)
    elif asked.from_steps is None:
        least_ns = 0
    else:
        goals = (request.pan_steps, request.tilt_steps)
        ways = zip(goals, asked.from_steps, axes.values(), asked.shaped_ms, strict=True)
        least_ns = max(
            least_move_ns(goal - here, setting) + (shaped_ms * MS if goal != here else 0)
            for goal, here, setting, shaped_ms in ways
        )
    return max(0, round(least_ns * (1 - SHARE)) - MARGIN_NS)


def at_rest(status: Status) -> Place | None:
    """The position of the head as a board at rest reports it, None if the board does not know it."""
    return (status.pan_steps, status.tilt_steps) if status.flags & KNOWN == KNOWN else None
