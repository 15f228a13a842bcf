"""What the rules share: a request and its correct answer, a plausible Status, the end of a command.

Every wait is limited by the time that the motion can take, and all waits of a rule by the time in `Talk`.
"""

from dataclasses import dataclass

from controller.conformance.reach import CREEP_DIVISOR, SMALL_STEPS, SPEED, AxisReach
from controller.conformance.talk import NotChecked, Talk
from controller.program.timing import motion_ns
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Cause,
    Expose,
    Finished,
    GetStatus,
    Move,
    Outcome,
    Reason,
    Reference,
    Refused,
    Reply,
    Request,
    SetAxis,
    Status,
    StatusFlag,
    Stop,
)
from protocol.units import MS, NO_COMMAND, NS, AxisId, Steps

SILENCE_MS = 1500
ACCEL = 2 * SPEED
LATE_SHARE, LATE_MS = 1.25, 1000.0
"""How much later than expected a command may end: a quarter, and a second."""
EARLY_SHARE, EARLY_MS = 0.95, 30.0
"""How much earlier: steps and clocks are whole numbers, and the request needed a moment to arrive."""
CLOCK_MS = 5.0
"""How far the board's clock and ours may differ over a second or two, besides the time on the line."""
RESTING = {BoardState.DISARMED, BoardState.READY}
RUNNING = {BoardState.MOVING, BoardState.REFERENCING, BoardState.EXPOSING}


@dataclass(frozen=True, slots=True)
class Ended:
    """The end of a command: its outcome, the status, and how long it took by our clock."""

    outcome: Outcome
    status: Status


def must(talk: Talk, holds: bool, what: str) -> None:
    """Raise RuleBroken with `what` unless `holds`."""
    if not holds:
        raise talk.broken(what)


def expect(talk: Talk, request: Request, wanted: type[Reply] | Reason) -> Reply:
    """Send a request and return its reply, which must be of that type or a refusal for that reason."""
    reply = talk.wait_answer(request)
    refused_so = isinstance(reply, Refused) and isinstance(wanted, Reason) and reply.reason is wanted
    if not refused_so and (isinstance(wanted, Reason) or not isinstance(reply, wanted)):
        name = wanted.name if isinstance(wanted, Reason) else wanted.__name__
        raise talk.broken(f"{type(request).__name__} should give {name}, gave {reply}")
    return reply


def status(talk: Talk) -> Status:
    """Ask for a Status. It must belong to the greeted boot and be consistent, and its clock must not run backward."""
    reply = expect(talk, GetStatus(), Status)
    assert isinstance(reply, Status)
    if reply.boot_id != talk.boot_id:
        why = "the board has restarted" if reply.boot_id == talk.rebooted else "no restart was told"
        raise talk.broken(f"the boot id changed in a Status from {talk.boot_id:08x} to {reply.boot_id:08x}: {why}")
    wrong = contradiction(reply)
    must(talk, wrong is None, f"a Status contradicts itself: {wrong}: {reply}")
    if talk.clock_ms is not None:
        went_ms = (reply.clock_ms - talk.clock_ms + 2**31) % 2**32 - 2**31
        must(talk, went_ms >= 0, f"the board's clock went backward by {-went_ms} ms, to {reply.clock_ms}")
    talk.clock_ms = reply.clock_ms
    return reply


def contradiction(found: Status) -> str | None:
    """The contradiction in a Status, None if there is none (protocol/SPEC.md, sections 3.2 and 6)."""
    name, armed, runs = found.state.name, bool(found.flags & StatusFlag.ARMED), found.running_id != NO_COMMAND
    if armed != (found.state is BoardState.READY or found.state in RUNNING):
        return f"{name} and {'armed' if armed else 'not armed'}"
    if armed != (found.cause is Cause.NONE):
        return f"{'armed' if armed else 'not armed'} with cause {found.cause.name}"
    if found.state in RUNNING and not runs:
        return f"{name} without a command that runs"
    if found.state in RESTING and runs:
        return f"{name} while command {found.running_id} runs"
    return None


def bring_to_rest(talk: Talk) -> None:
    """Stop, and wait until the board is disarmed and at rest."""
    expect(talk, Stop(), Accepted)
    begin = talk.port.now()
    while talk.port.now() - begin < 10 * NS:
        if status(talk).state is BoardState.DISARMED:
            return
        talk.wait_quiet(50)
    raise talk.broken("the board does not come to rest within 10 s after Stop")


def describe(talk: Talk, reach: dict[AxisId, AxisReach] | None = None) -> None:
    """Describe both axes: for small moves, or with the reach in which to search for zero."""
    for axis in AxisId:
        command = SetAxis(talk.next_id(), axis, Steps(-SMALL_STEPS), Steps(SMALL_STEPS), SPEED, ACCEL)
        if reach is not None:
            one = reach[axis]
            limits = Steps(one.min_steps), Steps(one.max_steps)
            command = SetAxis(command.command_id, axis, *limits, one.search_steps_s, one.accel_steps_s2)
        expect(talk, command, Accepted)


def arm(talk: Talk, silence_ms: int = SILENCE_MS) -> None:
    """Describe both axes for small moves and arm."""
    describe(talk)
    expect(talk, Arm(talk.next_id(), talk.boot_id, silence_ms), Accepted)


def refer(talk: Talk) -> None:
    """Find zero from any position. Afterwards the board is armed for small moves, and its position is known."""
    reach = {AxisId.PAN: talk.reach.pan, AxisId.TILT: talk.reach.tilt}
    describe(talk, reach)
    expect(talk, Arm(talk.next_id(), talk.boot_id, SILENCE_MS), Accepted)
    command = Reference(
        talk.next_id(), reach[AxisId.PAN].search_steps_s, reach[AxisId.TILT].search_steps_s, CREEP_DIVISOR
    )
    ended = wait_end(talk, command, 0.0, talk.reach.search_s * 1000)
    if ended.status.cause is Cause.ZERO_NOT_FOUND:
        known = {AxisId.PAN: StatusFlag.PAN_KNOWN, AxisId.TILT: StatusFlag.TILT_KNOWN}
        missing = " and ".join(axis.name.lower() for axis in AxisId if not ended.status.flags & known[axis])
        talk.zero_is_missing = True
        searched = (
            f"no switch of {missing} was met: pan was searched {talk.reach.pan.words()}, tilt {talk.reach.tilt.words()}"
        )
        if not talk.reach.pan.known:
            raise NotChecked(
                f"{searched}. Use --kit KIT, so that zero is searched within the kit's limits; or support "
                "the camera, cut the motor power and turn the head to it by hand"
            )
        raise talk.broken(f"{searched}. Check the switch and its wire")
    must(talk, ended.outcome is Outcome.REFERENCED, f"Reference ended as {ended.outcome.name}")
    at_zero = (ended.status.pan_steps, ended.status.tilt_steps) == (0, 0)
    must(talk, at_zero, f"after REFERENCED the board is at {ended.status.pan_steps}, {ended.status.tilt_steps}")
    talk.zero_is_found = True
    bring_to_rest(talk)
    arm(talk)


def move(talk: Talk, pan_steps: int, tilt_steps: int) -> tuple[Move, Ended]:
    """Move from the current position, and return the command with its end."""
    before = status(talk)
    ways = abs(pan_steps - before.pan_steps), abs(tilt_steps - before.tilt_steps)
    expected_ms = max(motion_ns(way, SPEED, ACCEL) for way in ways) / MS
    command = Move(talk.next_id(), Steps(pan_steps), Steps(tilt_steps))
    return command, wait_end(talk, command, expected_ms, expected_ms)


def wait_end(talk: Talk, command: Reference | Move | Expose, least_ms: float, most_ms: float) -> Ended:
    """Send a command and wait for its end, asking often enough to keep the board from going silent.

    It must end within `most_ms` plus a tolerance, not before `least_ms`, and under its own id.
    """
    begin = talk.port.now()
    expect(talk, command, Accepted)
    name, patience_ms = type(command).__name__, most_ms * LATE_SHARE + LATE_MS
    while True:
        notice = talk.wait_notice(Finished, SILENCE_MS // 4)
        heard_ms = (talk.port.now() - begin) / MS
        if isinstance(notice, Finished):
            other = notice.command_id != command.command_id
            must(talk, not other, f"Finished names command {notice.command_id}; {name} was command {command.command_id}")
        found = status(talk)
        if found.running_id != command.command_id:
            break
        must(talk, notice is None, f"Finished was told of {name} while Status says that it runs")
        must(talk, heard_ms < patience_ms, f"{name} did not end within {patience_ms / 1000:.1f} s: {found}")
    notice = notice or talk.wait_notice(Finished, 0)
    right = found.finished_id == command.command_id
    must(
        talk, right, f"{name} was command {command.command_id}; Status says that {found.finished_id} was the last to end"
    )
    if isinstance(notice, Finished):
        told = (notice.command_id, notice.outcome)
        must(talk, told == (found.finished_id, found.finished_outcome), f"{notice} and {found} do not agree")
    early_ms = least_ms * EARLY_SHARE - EARLY_MS
    soon = found.finished_outcome is not Outcome.CUT_SHORT and heard_ms < early_ms
    must(talk, not soon, f"{name} took {heard_ms:.0f} ms; it cannot take less than {least_ms:.0f} ms")
    return Ended(found.finished_outcome, found)
