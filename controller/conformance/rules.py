"""The rules, each a function of a Talk that raises RuleBroken. Most need no motor power.

A rule leaves the board disarmed and quiet, whatever it did before.
"""

from binascii import crc_hqx
from collections.abc import Callable
from dataclasses import dataclass

from controller.conformance.talk import Talk
from protocol.codec import PROTOCOL_VERSION, kind_of
from protocol.framing import CHECK, CRC_START, LEAD, check_bytes, encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Capability,
    Cause,
    Expose,
    Finished,
    GetIndex,
    GetStatus,
    Halt,
    Held,
    Hello,
    Index,
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
    Welcome,
)
from protocol.units import MS, Axis, BootId, CommandId, Steps

SILENCE_MS = 1500
QUIET_MS = 150
STEPS = 400  # how far a moving rule turns either axis: a few degrees at most on any usual head
SPEED, ACCEL = 400, 800
REFERENCE_MS = 120_000


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its name, what it demands in a sentence, and whether anything may move."""

    name: str
    demands: str
    check: Callable[[Talk], None]
    moves: bool = False


def _expect(talk: Talk, request: Request, wanted: type[Reply] | Reason) -> Reply:
    reply = talk.wait_answer(request)
    good = (
        isinstance(reply, Refused) and reply.reason is wanted if isinstance(wanted, Reason) else isinstance(reply, wanted)
    )
    if not good:
        name = wanted.name if isinstance(wanted, Reason) else wanted.__name__
        raise talk.broken(f"{type(request).__name__} should give {name}, gave {reply}")
    return reply


def _status(talk: Talk) -> Status:
    reply = _expect(talk, GetStatus(), Status)
    assert isinstance(reply, Status)
    return reply


def _must(talk: Talk, holds: bool, what: str) -> None:
    if not holds:
        raise talk.broken(what)


def _quieten(talk: Talk) -> None:
    _expect(talk, Stop(), Accepted)
    for _ in range(200):
        if _status(talk).state is BoardState.DISARMED:
            return
        talk.wait_quiet(50)
    raise talk.broken("the board does not come to rest after Stop")


def _describe(talk: Talk, limit: int = STEPS) -> None:
    for axis in Axis:
        _expect(talk, SetAxis(talk.next_id(), axis, Steps(-limit), Steps(limit), SPEED, ACCEL), Accepted)


def _arm(talk: Talk, silence_ms: int = SILENCE_MS) -> None:
    _describe(talk)
    _expect(talk, Arm(talk.next_id(), talk.boot_id, silence_ms), Accepted)


def _refer(talk: Talk) -> None:
    command = Reference(talk.next_id(), SPEED, SPEED, 10)
    _expect(talk, command, Accepted)
    ended = _wait_end(talk, command.command_id, REFERENCE_MS)
    _must(talk, ended is Outcome.REFERENCED, f"Reference ended as {ended.name}")


def _wait_end(talk: Talk, command_id: CommandId, patience_ms: int) -> Outcome:
    """How a command ended, asked for often enough to keep the board patient."""
    begin = talk.port.now()
    while talk.port.now() - begin < patience_ms * MS:
        notice = talk.wait_notice(Finished, SILENCE_MS // 4)
        if isinstance(notice, Finished) and notice.command_id == command_id:
            return notice.outcome
        status = _status(talk)
        if status.finished_id == command_id:
            return status.finished_outcome
    raise talk.broken(f"command {command_id} did not end within {patience_ms} ms")


# What every board must do without moving.


def _hello_again(talk: Talk) -> None:
    for nonce in (0, 1, 0xFFFFFFFF):
        reply = _expect(talk, Hello(*PROTOCOL_VERSION, nonce), Welcome)
        assert isinstance(reply, Welcome)
        _must(talk, reply.nonce == nonce, "Welcome does not bring back the nonce")
        _must(talk, reply.boot_id == talk.boot_id, "the boot id changed without a restart")


def _other_version(talk: Talk) -> None:
    _expect(talk, Hello(PROTOCOL_VERSION.major + 1, 0, 1), Reason.VERSION)


def _repeat(talk: Talk) -> None:
    request = SetAxis(talk.next_id(), Axis.PAN, Steps(-5), Steps(5), SPEED, ACCEL)
    seq = talk.send(request)
    first = talk.wait_reply(seq)
    talk.send(request, seq=seq)
    second = talk.wait_reply(seq)
    _must(talk, isinstance(first, Accepted) and second == first, "a repeated frame must get the same reply again")


def _stale(talk: Talk) -> None:
    old = talk.next_id()
    new = talk.next_id()
    _expect(talk, SetAxis(new, Axis.PAN, Steps(-5), Steps(5), SPEED, ACCEL), Accepted)
    _expect(talk, SetAxis(new, Axis.PAN, Steps(-9), Steps(9), SPEED, ACCEL), Accepted)
    _expect(talk, SetAxis(old, Axis.PAN, Steps(-5), Steps(5), SPEED, ACCEL), Reason.STALE_ID)
    _expect(talk, SetAxis(CommandId(0), Axis.PAN, Steps(-5), Steps(5), SPEED, ACCEL), Reason.BAD_VALUE)


def _nonsense(talk: Talk) -> None:
    _expect(talk, SetAxis(talk.next_id(), Axis.PAN, Steps(5), Steps(-5), SPEED, ACCEL), Reason.BAD_VALUE)
    _expect(talk, SetAxis(talk.next_id(), Axis.PAN, Steps(-5), Steps(5), 0, ACCEL), Reason.BAD_VALUE)
    too_fast = talk.max_step_rate + 1
    _expect(talk, SetAxis(talk.next_id(), Axis.PAN, Steps(-5), Steps(5), too_fast, ACCEL), Reason.BAD_VALUE)
    _expect(talk, Arm(talk.next_id(), talk.boot_id, 0), Reason.BAD_VALUE)


def _unarmed(talk: Talk) -> None:
    _describe(talk)
    _expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.NOT_ARMED)
    _expect(talk, Reference(talk.next_id(), SPEED, SPEED, 10), Reason.NOT_ARMED)
    _expect(talk, Expose(talk.next_id(), 0, 0, 0, 50, 50), Reason.NOT_ARMED)
    _expect(talk, Arm(talk.next_id(), BootId(talk.boot_id ^ 1), SILENCE_MS), Reason.WRONG_BOOT)


def _unknown_kind(talk: Talk) -> None:
    talk.seq = (talk.seq + 1) & 0xFF
    talk.send_bytes(encode_frame(0x7E, talk.seq, b""))
    reply = talk.wait_reply(talk.seq)
    _must(talk, reply == Refused(Reason.UNKNOWN_KIND), f"an unknown kind should give UNKNOWN_KIND, gave {reply}")


def _junk(talk: Talk) -> None:
    for lead in (b"", LEAD):
        talk.send_bytes(lead + bytes(range(1, 256)) * 8)
        talk.wait_quiet(300)
        _status(talk)


def _no_frame(talk: Talk) -> None:
    good = encode_frame(kind_of(GetStatus), 0x55, b"")
    stuffed = good[len(LEAD) : -1 - CHECK]
    odd_length = bytes((stuffed[0], stuffed[1] ^ 0x80, *stuffed[2:]))
    odd_kind = bytes((*stuffed[:2], stuffed[2] ^ 1, *stuffed[3:]))
    for what, wire in (
        ("a wrong check", good[: -1 - CHECK] + check_bytes(0) + b"\0"),
        ("two zeros in front", b"\1" + good[1:]),
        ("a length of odd parity", _checked(odd_length)),
        ("a kind of odd parity", _checked(odd_kind)),
    ):
        talk.send_bytes(wire)
        _must(talk, talk.wait_reply(0x55, QUIET_MS) is None, f"a frame with {what} must not be answered")
    _status(talk)


def _checked(stuffed: bytes) -> bytes:
    return LEAD + stuffed + check_bytes(crc_hqx(stuffed, CRC_START)) + b"\0"


def _silence(talk: Talk) -> None:
    _arm(talk, 300)
    held = talk.wait_notice(Held, 2000)
    _must(talk, isinstance(held, Held) and held.cause is Cause.HOST_SILENCE, "silence must be told by Held")
    status = _status(talk)
    disarmed = status.state is BoardState.DISARMED and not status.flags & StatusFlag.ARMED
    _must(talk, disarmed and status.cause is Cause.HOST_SILENCE, f"after silence the board should be disarmed: {status}")
    _expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.NOT_ARMED)


def _stop_twice(talk: Talk) -> None:
    _arm(talk)
    for _ in range(2):
        _expect(talk, Stop(), Accepted)
    status = _status(talk)
    _must(
        talk, status.state is BoardState.DISARMED, f"a board at rest should be disarmed by Stop, is {status.state.name}"
    )
    _expect(talk, Expose(talk.next_id(), 0, 0, 0, 50, 50), Reason.NOT_ARMED)


def _unknown_position(talk: Talk) -> None:
    _expect(talk, Halt(), Accepted)
    _arm(talk)
    _expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.UNKNOWN_POSITION)


# What may move: a few steps around zero, and the camera's release.


def _move_exactly(talk: Talk) -> None:
    _arm(talk)
    _refer(talk)
    for pan, tilt in ((STEPS // 2, -STEPS // 4), (0, 0)):
        command = Move(talk.next_id(), Steps(pan), Steps(tilt))
        _expect(talk, command, Accepted)
        ended = _wait_end(talk, command.command_id, 20_000)
        status = _status(talk)
        _must(talk, ended is Outcome.ARRIVED, f"Move ended as {ended.name}")
        there = (status.pan_steps, status.tilt_steps) == (pan, tilt)
        _must(talk, there, f"the board stands at {status.pan_steps}, {status.tilt_steps} and not at {pan}, {tilt}")
    _expect(talk, Move(talk.next_id(), Steps(STEPS + 1), Steps(0)), Reason.OUT_OF_LIMITS)


def _index(talk: Talk) -> None:
    _arm(talk)
    _refer(talk)
    before = _expect(talk, GetIndex(), Index)
    assert isinstance(before, Index)
    for steps in (STEPS // 2, -STEPS // 2):
        command = Move(talk.next_id(), Steps(steps), Steps(steps))
        _expect(talk, command, Accepted)
        _wait_end(talk, command.command_id, 20_000)
    after = _expect(talk, GetIndex(), Index)
    assert isinstance(after, Index)
    for name, bit in (("pan", Capability.PAN_SWITCH), ("tilt", Capability.TILT_SWITCH)):
        edges = getattr(after, f"{name}_edges") - getattr(before, f"{name}_edges")
        at = getattr(after, f"{name}_steps")
        fitted = bool(talk.capabilities & bit)
        _must(talk, (edges > 0) == fitted, f"{name} passed zero and noted {edges} changes of its switch")
        _must(talk, not fitted or abs(at) < STEPS // 4, f"{name} noted its switch at step {at}, far from zero")


def _busy(talk: Talk) -> None:
    _arm(talk)
    _refer(talk)
    command = Move(talk.next_id(), Steps(STEPS), Steps(STEPS))
    _expect(talk, command, Accepted)
    _expect(talk, Move(talk.next_id(), Steps(0), Steps(0)), Reason.BUSY)
    _expect(talk, Stop(), Accepted)
    ended = _wait_end(talk, command.command_id, 10_000)
    _must(talk, ended is Outcome.CUT_SHORT, f"a stopped Move should end CUT_SHORT, ended {ended.name}")
    _quieten(talk)
    _expect(talk, Move(talk.next_id(), Steps(0), Steps(0)), Reason.NOT_ARMED)


def _silent_move(talk: Talk) -> None:
    _arm(talk)
    _refer(talk)
    _quieten(talk)
    _expect(talk, Arm(talk.next_id(), talk.boot_id, 300), Accepted)
    _expect(talk, Move(talk.next_id(), Steps(STEPS), Steps(STEPS)), Accepted)
    held = talk.wait_notice(Held, 5000)
    _must(talk, isinstance(held, Held) and held.cause is Cause.HOST_SILENCE, "silence must stop a move")
    status = _status(talk)
    _must(talk, status.state is BoardState.DISARMED, "after silence the board should be disarmed")
    first = (status.pan_steps, status.tilt_steps)
    talk.wait_quiet(500)
    later = _status(talk)
    _must(talk, (later.pan_steps, later.tilt_steps) == first, "the board moved after it had stopped")


def _exposes(talk: Talk) -> None:
    _arm(talk)
    command = Expose(talk.next_id(), 1, 2, 0, 100, 400)
    _expect(talk, command, Accepted)
    ended = _wait_end(talk, command.command_id, 5000)
    known = {Outcome.EXPOSED_SYNC, Outcome.EXPOSED_BLIND, Outcome.NO_SYNC}
    _must(talk, ended in known, f"Expose ended as {ended.name}")


RULES: tuple[Rule, ...] = (
    Rule("hello", "Welcome brings back the nonce and the same boot id, however often it is asked.", _hello_again),
    Rule("version", "Another major version is refused.", _other_version),
    Rule("repeat", "A repeated frame is answered again, not executed again.", _repeat),
    Rule("command-id", "An id is taken once; older ones are stale, 0 is none.", _stale),
    Rule("values", "Values that make no sense are refused.", _nonsense),
    Rule("unarmed", "Nothing is done before arming, and arming is for one boot only.", _unarmed),
    Rule("unknown-kind", "An unknown request is refused by name.", _unknown_kind),
    Rule("junk", "Junk of any length never blocks the board.", _junk),
    Rule("no-frame", "What is not quite a frame is not answered.", _no_frame),
    Rule("silence", "A host that falls silent disarms the board.", _silence),
    Rule("stop", "Two Stops are harmless, and after them nothing is done.", _stop_twice),
    Rule("position", "After Halt the position is unknown and moves are refused.", _unknown_position),
    Rule("move", "Targets are reached to the step; those outside the limits are refused.", _move_exactly, moves=True),
    Rule("index", "A switch that changes in a move is noted, and where.", _index, moves=True),
    Rule("busy", "One command at a time; Stop cuts it short.", _busy, moves=True),
    Rule("silent-move", "Silence stops a move, and nothing moves afterwards.", _silent_move, moves=True),
    Rule("expose", "An exposure ends and says how.", _exposes, moves=True),
)


def wait_verdict(talk: Talk, rule: Rule) -> None:
    """Check one rule on a fresh start: greeted, disarmed, quiet. Raises RuleBroken."""
    if talk.wait_welcome(nonce=0x5EED) is None:
        raise talk.broken("the board does not answer Hello")
    _quieten(talk)
    talk.wait_quiet(20)
    rule.check(talk)
    _quieten(talk)
