"""The rules without motion: what every board must do with its motors at rest."""

from binascii import crc_hqx

from controller.capture.line import OtherVersion
from controller.conformance.expectations import ACCEL, CLOCK_MS, SILENCE_MS, arm, describe, expect, must, status
from controller.conformance.reach import CREEP_DIVISOR, SPEED
from controller.conformance.talk import Talk
from protocol.codec import PROTOCOL_VERSION, kind_of
from protocol.framing import CHECK, CRC_START, LEAD, MAX_FRAME, check_bytes, encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Cause,
    Expose,
    GetStatus,
    Halt,
    Held,
    Hello,
    Move,
    Reason,
    Reference,
    Refused,
    SetAxis,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.units import ID_SPAN, MS, AxisId, BootId, CommandId, Steps

QUIET_MS = 150
LEAP = ID_SPAN // 2 - 1
"""The farthest that an id may be ahead of the last one."""


def hello_again(talk: Talk) -> None:
    """Welcome returns the nonce and the same boot id, and its figures are plausible."""
    for minor in (0, PROTOCOL_VERSION.minor):  # ours last, because the last one stays in effect
        for nonce in (0, 1, 0xFFFFFFFF):
            reply = expect(talk, Hello(PROTOCOL_VERSION.major, minor, nonce), Welcome)
            assert isinstance(reply, Welcome)
            must(talk, reply.nonce == nonce, "Welcome does not bring back the nonce")
            must(talk, reply.boot_id == talk.boot_id, "the boot id changed without a restart")
            version = (reply.version_major, reply.version_minor)
            must(talk, version == talk.version, f"Welcome says version {version}, said {talk.version} before")
            room = reply.receive_bytes
            must(talk, room >= MAX_FRAME, f"receive_bytes is {room}; the longest frame has {MAX_FRAME} bytes")
            must(talk, reply.max_step_rate > 0, "max_step_rate is 0: such a board can make no step")


def other_version(talk: Talk) -> None:
    """Another major version is refused."""
    try:
        expect(talk, Hello(PROTOCOL_VERSION.major + 1, 0, 1), Reason.VERSION)
    except OtherVersion:
        raise talk.broken("a Hello of another major version was welcomed; it should be refused with VERSION") from None


def one_boot(talk: Talk) -> None:
    """Status is consistent and names one boot, and its clock keeps time."""
    read = []
    for _ in range(12):
        talk.wait_quiet(100)
        asked = talk.port.now()
        clock_ms = status(talk).clock_ms
        read.append((asked, clock_ms, talk.port.now()))
    (asked, first_ms, heard), (asked_later, last_ms, heard_later) = read[0], read[-1]
    went_ms = (last_ms - first_ms) % 2**32
    least_ms, most_ms = (asked_later - heard) / MS, (heard_later - asked) / MS  # it was read between these two
    right = least_ms - CLOCK_MS <= went_ms <= most_ms + CLOCK_MS
    must(talk, right, f"the board's clock went on by {went_ms} ms in {least_ms:.0f} to {most_ms:.0f} ms")


def repeat(talk: Talk) -> None:
    """A repeated frame gets the same reply again."""
    request = SetAxis(talk.next_id(), AxisId.PAN, Steps(-5), Steps(5), SPEED, ACCEL)
    seq = talk.send(request)
    first = talk.wait_reply(seq)
    talk.send(request, seq=seq)
    second = talk.wait_reply(seq)
    must(talk, isinstance(first, Accepted) and second == first, "a repeated frame must get the same reply again")


def _set_pan(command_id: CommandId, half: int = 5) -> SetAxis:
    return SetAxis(command_id, AxisId.PAN, Steps(-half), Steps(half), SPEED, ACCEL)


def stale(talk: Talk) -> None:
    """An id is accepted once; older ids are stale, and 0 is no id."""
    old = talk.next_id()
    new = talk.next_id()
    expect(talk, _set_pan(new), Accepted)
    expect(talk, _set_pan(new, 9), Accepted)
    expect(talk, _set_pan(old), Reason.STALE_ID)
    expect(talk, _set_pan(CommandId(0)), Reason.BAD_VALUE)


def in_order(talk: Talk) -> None:
    """Ids compare as serial numbers and belong to one type of command. Before version 1.1 this was not specified."""
    if talk.version < (1, 1):
        return
    expect(talk, _set_pan(talk.next_id()), Accepted)
    for _ in range(3):  # once round, past 2^32 - 1
        before = talk.last_id
        talk.last_id = CommandId((before + LEAP) % ID_SPAN or 1)
        expect(talk, _set_pan(talk.last_id), Accepted)
        expect(talk, _set_pan(before), Reason.STALE_ID)
        expect(talk, Arm(talk.last_id, talk.boot_id, SILENCE_MS), Reason.STALE_ID)


def nonsense(talk: Talk) -> None:
    """Meaningless values are refused."""
    expect(talk, SetAxis(talk.next_id(), AxisId.PAN, Steps(5), Steps(-5), SPEED, ACCEL), Reason.BAD_VALUE)
    expect(talk, SetAxis(talk.next_id(), AxisId.PAN, Steps(-5), Steps(5), 0, ACCEL), Reason.BAD_VALUE)
    too_fast = talk.max_step_rate + 1
    expect(talk, SetAxis(talk.next_id(), AxisId.PAN, Steps(-5), Steps(5), too_fast, ACCEL), Reason.BAD_VALUE)
    expect(talk, Arm(talk.next_id(), talk.boot_id, 0), Reason.BAD_VALUE)


def unarmed(talk: Talk) -> None:
    """The board executes nothing before arming, and arming applies to one boot only."""
    describe(talk)
    expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.NOT_ARMED)
    expect(talk, Reference(talk.next_id(), SPEED, SPEED, CREEP_DIVISOR), Reason.NOT_ARMED)
    expect(talk, Expose(talk.next_id(), 0, 0, 0, 50, 50), Reason.NOT_ARMED)
    expect(talk, Arm(talk.next_id(), BootId(talk.boot_id ^ 1), SILENCE_MS), Reason.WRONG_BOOT)


def unknown_kind(talk: Talk) -> None:
    """An unknown request is refused by name."""
    talk.seq = (talk.seq + 1) & 0xFF
    talk.send_bytes(encode_frame(0x7E, talk.seq, b""))
    reply = talk.wait_reply(talk.seq)
    must(talk, reply == Refused(Reason.UNKNOWN_KIND), f"an unknown kind should give UNKNOWN_KIND, gave {reply}")


def junk(talk: Talk) -> None:
    """Junk of any length never blocks the board."""
    for lead in (b"", LEAD):
        talk.send_bytes(lead + bytes(range(1, 256)) * 8)
        talk.wait_quiet(300)
        status(talk)


def no_frame(talk: Talk) -> None:
    """A malformed frame is not answered."""
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
        must(talk, talk.wait_reply(0x55, QUIET_MS) is None, f"a frame with {what} must not be answered")
    status(talk)


def _checked(stuffed: bytes) -> bytes:
    return LEAD + stuffed + check_bytes(crc_hqx(stuffed, CRC_START)) + b"\0"


def silence(talk: Talk) -> None:
    """A host that falls silent disarms the board."""
    arm(talk, 300)
    held = talk.wait_notice(Held, 2000)
    must(talk, isinstance(held, Held) and held.cause is Cause.HOST_SILENCE, "silence must be told by Held")
    found = status(talk)
    disarmed = found.state is BoardState.DISARMED and not found.flags & StatusFlag.ARMED
    must(talk, disarmed and found.cause is Cause.HOST_SILENCE, f"after silence the board should be disarmed: {found}")
    expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.NOT_ARMED)


def stop_twice(talk: Talk) -> None:
    """Two Stops do no harm, and after them the board executes nothing."""
    arm(talk)
    for _ in range(2):
        expect(talk, Stop(), Accepted)
    found = status(talk)
    must(talk, found.state is BoardState.DISARMED, f"a board at rest should be disarmed by Stop, is {found.state.name}")
    expect(talk, Expose(talk.next_id(), 0, 0, 0, 50, 50), Reason.NOT_ARMED)


def unknown_position(talk: Talk) -> None:
    """After Halt the position is unknown and moves are refused."""
    expect(talk, Halt(), Accepted)
    arm(talk)
    expect(talk, Move(talk.next_id(), Steps(1), Steps(1)), Reason.UNKNOWN_POSITION)
