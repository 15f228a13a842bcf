"""The rules that may move something: both axes by a few degrees, and the camera's contacts."""

from controller.conformance.expectations import (
    ACCEL,
    Ended,
    arm,
    bring_to_rest,
    expect,
    move,
    must,
    refer,
    status,
    wait_end,
)
from controller.conformance.reach import SMALL_STEPS, SPEED
from controller.conformance.talk import Talk
from controller.program.timing import motion_ns
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Capability,
    Cause,
    Expose,
    Finished,
    GetIndex,
    Held,
    Index,
    Move,
    Outcome,
    Reason,
    Stop,
)
from protocol.units import MS, Steps

HALF = SMALL_STEPS // 2
FOCUS_MS, PRESS_MS, LIMIT_MS = 200, 300, 400
REST_MS = 300


def _arrived(talk: Talk, command: Move, ended: Ended) -> None:
    must(talk, ended.outcome is Outcome.ARRIVED, f"Move ended as {ended.outcome.name}")
    there = (ended.status.pan_steps, ended.status.tilt_steps)
    target = (command.pan_steps, command.tilt_steps)
    must(talk, there == target, f"ARRIVED at {there[0]}, {there[1]}; the target was {target[0]}, {target[1]}")


def move_exactly(talk: Talk) -> None:
    """Targets are reached to the step, no faster than the ramps allow; targets outside the limits are refused."""
    refer(talk)
    for pan, tilt in ((HALF, -HALF // 2), (0, 0)):
        _arrived(talk, *move(talk, pan, tilt))
    expect(talk, Move(talk.next_id(), Steps(SMALL_STEPS + 1), Steps(0)), Reason.OUT_OF_LIMITS)


def at_rest(talk: Talk) -> None:
    """A moving board reports it, and a board that reports READY does not move."""
    refer(talk)
    for pan, tilt in ((HALF, HALF), (0, 0)):
        begin, before = talk.port.now(), status(talk)
        ways = abs(pan - before.pan_steps), abs(tilt - before.tilt_steps)
        ends_ms = max(motion_ns(way, SPEED, ACCEL) for way in ways) / MS
        command = Move(talk.next_id(), Steps(pan), Steps(tilt))
        expect(talk, command, Accepted)
        while (found := status(talk)).state is BoardState.MOVING:
            late = (talk.port.now() - begin) / MS > 2 * ends_ms + 1000
            must(talk, not late, f"a Move that takes {ends_ms / 1000:.1f} s did not end: {found}")
            talk.wait_message(lambda *_: False, 20)
        must(talk, found.state is BoardState.READY, f"after a Move the board should be READY, is {found.state.name}")
        talk.wait_message(lambda *_: False, REST_MS)
        later = status(talk)
        still = (found.pan_steps, found.tilt_steps) == (later.pan_steps, later.tilt_steps)
        went = f"from {found.pan_steps}, {found.tilt_steps} to {later.pan_steps}, {later.tilt_steps}"
        must(talk, still, f"the board said READY and went on {went}")
        talk.wait_quiet(20)


def index(talk: Talk) -> None:
    """A change of a switch during a move is recorded with its position."""
    refer(talk)
    before = expect(talk, GetIndex(), Index)
    assert isinstance(before, Index)
    for steps in (HALF, -HALF):
        move(talk, steps, steps)
    after = expect(talk, GetIndex(), Index)
    assert isinstance(after, Index)
    for name, bit in (("pan", Capability.PAN_SWITCH), ("tilt", Capability.TILT_SWITCH)):
        edges = getattr(after, f"{name}_edges") - getattr(before, f"{name}_edges")
        at = getattr(after, f"{name}_steps")
        fitted = bool(talk.capabilities & bit)
        must(talk, (edges > 0) == fitted, f"{name} passed zero and noted {edges} changes of its switch")
        must(talk, not fitted or abs(at) < SMALL_STEPS // 4, f"{name} noted its switch at step {at}, far from zero")


def busy(talk: Talk) -> None:
    """The board runs one command at a time; Stop ends it early."""
    refer(talk)
    command = Move(talk.next_id(), Steps(SMALL_STEPS), Steps(SMALL_STEPS))
    expect(talk, command, Accepted)
    expect(talk, Move(talk.next_id(), Steps(0), Steps(0)), Reason.BUSY)
    expect(talk, Stop(), Accepted)
    talk.wait_notice(Finished, 2000)
    bring_to_rest(talk)
    found = status(talk)
    ended = (found.finished_id, found.finished_outcome)
    right = ended == (command.command_id, Outcome.CUT_SHORT)
    must(talk, right, f"a stopped Move should end CUT_SHORT as command {command.command_id}, ended {ended}")
    expect(talk, Move(talk.next_id(), Steps(0), Steps(0)), Reason.NOT_ARMED)


def silent_move(talk: Talk) -> None:
    """Silence of the host stops a move, and nothing moves afterwards."""
    refer(talk)
    bring_to_rest(talk)
    expect(talk, Arm(talk.next_id(), talk.boot_id, 300), Accepted)
    expect(talk, Move(talk.next_id(), Steps(SMALL_STEPS), Steps(SMALL_STEPS)), Accepted)
    held = talk.wait_notice(Held, 5000)
    must(talk, isinstance(held, Held) and held.cause is Cause.HOST_SILENCE, "silence must stop a move")
    found = status(talk)
    must(talk, found.state is BoardState.DISARMED, "after silence the board should be disarmed")
    first = (found.pan_steps, found.tilt_steps)
    talk.wait_quiet(500)
    later = status(talk)
    must(talk, (later.pan_steps, later.tilt_steps) == first, "the board moved after it had stopped")


def exposes(talk: Talk) -> None:
    """An exposure ends, no earlier than its contacts open, and reports its outcome."""
    arm(talk)
    command = Expose(talk.next_id(), 1, 2, FOCUS_MS, PRESS_MS, LIMIT_MS)
    ended = wait_end(talk, command, FOCUS_MS + PRESS_MS, FOCUS_MS + PRESS_MS + LIMIT_MS)
    known = {Outcome.EXPOSED_BLIND}
    if talk.capabilities & Capability.SYNC_CONTACT:
        known = {Outcome.EXPOSED_SYNC, Outcome.NO_SYNC}
    must(talk, ended.outcome in known, f"Expose ended as {ended.outcome.name}")
