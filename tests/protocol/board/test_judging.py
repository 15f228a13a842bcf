"""What the core refuses and why, and the rule of the command ids (protocol/SPEC.md, sections 3 to 5)."""

from __future__ import annotations

from collections.abc import Callable
from ctypes import CDLL
from dataclasses import replace

import pytest

from protocol.codec import PROTOCOL_VERSION, encode_message, frame_of, kind_of
from protocol.framing import encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    Command,
    Expose,
    GetStatus,
    Halt,
    Hello,
    Move,
    Outcome,
    Reason,
    Reference,
    Refused,
    Request,
    SetAxis,
    SetShaper,
    StatusFlag,
    Stop,
)
from protocol.units import AxisId, BootId, CommandId, Steps, next_id
from tests.protocol.board.core import BOOT_ID, STOP_OPEN, SUPPLY_LOW, Core
from tests.protocol.board.talker import ACCEL, LIMIT, SPEED, Talker
from tests.refusals import REFUSALS, Refusal, arm, axis, expose, move, moving, reference, shaper

MAX_RATE = 20_000
Make = Callable[[Talker], Request]


def referencing(talker: Talker) -> None:
    talker.make_ready()
    talker.order(reference(talker))
    talker.run(50)


def exposing(talker: Talker) -> None:
    talker.make_ready()
    talker.order(expose(talker))
    talker.run(70)


def stopping(talker: Talker) -> None:
    moving(talker)
    talker.run(300)
    talker.order(Stop())


BUSY_STATES = (moving, referencing, exposing)


def refused(talker: Talker, request: Request, reason: Reason) -> None:
    """The request is refused, and only the time has changed."""
    before = talker.status()
    assert talker.ask(request) == Refused(reason)
    after = talker.status()
    assert after == replace(before, clock_ms=after.clock_ms, pan_steps=after.pan_steps, tilt_steps=after.tilt_steps)


@pytest.mark.parametrize("cause", [Cause.POWER_ON, Cause.SUPPLY_LOW])
def test_a_new_board_is_disarmed_and_knows_nothing(library: CDLL, cause: Cause) -> None:
    talker = Talker(Core(library, cause=cause))
    status = talker.status()
    assert (status.state, status.cause, status.flags) == (BoardState.DISARMED, cause, StatusFlag(0))
    assert (status.running_id, status.finished_id, status.finished_outcome) == (0, 0, Outcome.NONE)
    assert talker.notices == [Booted(BootId(BOOT_ID), cause)]


@pytest.mark.parametrize("refusal", REFUSALS, ids=lambda refusal: refusal.name)
def test_refuses(talker: Talker, refusal: Refusal) -> None:
    talker.greet()
    refusal.check(talker)


def test_greets_with_what_is_fitted(library: CDLL) -> None:
    talker = Talker(Core(library, fitted=5))
    welcome = talker.greet()
    assert welcome.capabilities == Capability.SYNC_CONTACT | Capability.TILT_SWITCH | Capability.SHAPER
    assert (welcome.nonce, welcome.boot_id, welcome.last_command_id) == (99, BOOT_ID, 0)
    talker.configure()
    assert talker.greet().last_command_id == 2


@pytest.mark.parametrize("begin", BUSY_STATES)
@pytest.mark.parametrize("command", [move, expose, reference, arm, axis, shaper])
def test_busy(talker: Talker, begin: Callable[[Talker], None], command: Make) -> None:
    begin(talker)
    assert talker.status().state > BoardState.READY
    refused(talker, command(talker), Reason.BUSY)


@pytest.mark.parametrize("command", [arm, axis, shaper])
def test_busy_while_stopping(talker: Talker, command: Make) -> None:
    stopping(talker)
    assert talker.status().state is BoardState.STOPPING
    refused(talker, command(talker), Reason.BUSY)


@pytest.mark.parametrize("command", [move, expose, reference])
def test_not_armed_while_stopping(talker: Talker, command: Make) -> None:
    stopping(talker)
    refused(talker, command(talker), Reason.NOT_ARMED)


@pytest.mark.parametrize("bit", [STOP_OPEN, SUPPLY_LOW])
def test_cannot_be_armed_with_the_switch_open_or_the_supply_low(core: Core, talker: Talker, bit: int) -> None:
    talker.greet()
    talker.configure()
    core.set_input(bit, on=True)
    refused(talker, arm(talker), Reason.BUSY)
    core.set_input(bit, on=False)
    talker.order(arm(talker))


BAD_AXES = (
    SetAxis(CommandId(1), AxisId.PAN, Steps(5), Steps(5), SPEED, ACCEL),
    SetAxis(CommandId(1), AxisId.PAN, Steps(5), Steps(-5), SPEED, ACCEL),
    SetAxis(CommandId(1), AxisId.TILT, Steps(-5), Steps(5), 0, ACCEL),
    SetAxis(CommandId(1), AxisId.TILT, Steps(-5), Steps(5), MAX_RATE + 1, ACCEL),
    SetAxis(CommandId(1), AxisId.PAN, Steps(-5), Steps(5), SPEED, 0),
    SetAxis(CommandId(0), AxisId.PAN, Steps(-5), Steps(5), SPEED, ACCEL),
)
BAD_OTHERS = (
    Arm(CommandId(9), BootId(BOOT_ID), 0),
    Arm(CommandId(0), BootId(BOOT_ID), 100),
    Expose(CommandId(9), 0, 0, 50, 0, 100),
    Expose(CommandId(0), 0, 0, 50, 10, 100),
    Move(CommandId(0), Steps(0), Steps(0)),
    Reference(CommandId(9), 0, 500, 10),
    Reference(CommandId(9), 500, 0, 10),
    Reference(CommandId(9), SPEED + 1, 500, 10),
    Reference(CommandId(9), 500, SPEED + 1, 10),
    Reference(CommandId(9), 500, 500, 0),
)


def test_a_refused_command_does_not_use_up_its_id(talker: Talker) -> None:
    talker.make_ready()
    command = talker.move(LIMIT + 1, 0)
    assert talker.ask(command) == Refused(Reason.OUT_OF_LIMITS)
    assert talker.greet().last_command_id == command.command_id - 1
    talker.order(replace(command, pan_steps=Steps(7)))


def test_an_equal_id_is_accepted_and_not_done_again(core: Core, talker: Talker) -> None:
    talker.make_ready()
    command = talker.move(50, -50)
    talker.order(command)
    talker.finish()
    steps = core.steps
    for again in (command, replace(command, pan_steps=Steps(2 * LIMIT))):
        talker.order(again)
        talker.run(500)
    assert core.steps == steps
    assert talker.ask(replace(command, command_id=CommandId(command.command_id - 1))) == Refused(Reason.STALE_ID)


@pytest.mark.parametrize("other", [axis, shaper, move, expose, reference, arm])
@pytest.mark.parametrize("last", [move, reference, arm, shaper])
def test_an_id_belongs_to_one_kind(core: Core, talker: Talker, last: Make, other: Make) -> None:
    """The last command's id in another type, with any values, is stale, and nothing is done."""
    talker.make_ready()
    command = last(talker)
    assert isinstance(command, Command)
    talker.order(command)
    talker.run(10_000)
    talker.status()
    steps = core.steps
    again = other(talker)
    assert isinstance(again, Command)
    again = replace(again, command_id=command.command_id)
    if type(again) is type(command):
        talker.order(again)
    else:
        refused(talker, again, Reason.STALE_ID)
    talker.run(1000)
    assert core.steps == steps


@pytest.mark.parametrize("begin", [2**31 - 1, 2**32 - 3])
def test_ids_go_on_past_the_last_one(talker: Talker, begin: int) -> None:
    talker.greet()
    for leap in (2**31 - 1, begin):
        talker.order(replace(axis(talker), command_id=CommandId(leap)))
    at = CommandId(begin)
    for _ in range(6):
        at = next_id(at)
        talker.order(replace(axis(talker), command_id=at))
        stale = CommandId((at - 1) % 2**32 or 2**32 - 1)
        refused(talker, replace(axis(talker), command_id=stale), Reason.STALE_ID)
        assert talker.greet().last_command_id == at


def test_the_id_is_looked_at_before_anything_else(talker: Talker) -> None:
    talker.make_ready()
    old = CommandId(talker.last_id - 1)
    for request in (replace(request, command_id=old) for request in (*BAD_AXES, *BAD_OTHERS)):
        assert talker.ask(request) == Refused(Reason.STALE_ID)


def test_a_repeated_frame_gets_the_same_bytes_and_is_not_done_again(core: Core, talker: Talker) -> None:
    talker.make_ready()
    wire = frame_of(GetStatus(), 200)
    core.feed(wire)
    first = core.take()
    core.run(100)
    core.feed(wire)
    assert core.take() == first
    core.feed(frame_of(GetStatus(), 201))
    assert core.take() not in (first, b"")


def test_hello_is_carried_out_each_time_and_forgets_the_last_frame(core: Core) -> None:
    hello, status = frame_of(Hello(*PROTOCOL_VERSION, 5), 1), frame_of(GetStatus(), 7)
    core.take()
    core.feed(status)
    first = core.take()
    core.run(10)
    core.feed(hello)
    core.feed(hello)
    welcome = core.take()
    assert welcome[: len(welcome) // 2] == welcome[len(welcome) // 2 :]
    core.feed(status)
    assert core.take() not in (first, b"")


def test_an_unknown_kind_and_a_wrong_length_are_refused_by_name(core: Core, talker: Talker) -> None:
    talker.listen()
    for kind, payload, reason in (
        (0x56, b"", Reason.UNKNOWN_KIND),
        (0x7E, b"1", Reason.UNKNOWN_KIND),
        (kind_of(GetStatus), b"1", Reason.BAD_VALUE),
        (kind_of(Hello), b"", Reason.BAD_VALUE),
        (kind_of(SetAxis), encode_message(BAD_AXES[0])[1][:4] + b"\x02" + bytes(16), Reason.BAD_VALUE),
        (kind_of(SetShaper), b"\0\0\0\x01\x02" + bytes(20), Reason.BAD_VALUE),
        (kind_of(SetShaper), b"\0\0\0\x01\0" + bytes(19), Reason.BAD_VALUE),
        (kind_of(SetShaper), b"\0\0\0\x01\0" + bytes(24), Reason.BAD_VALUE),  # six impulses
    ):
        core.feed(encode_frame(kind, 3, payload))
        assert talker.listen() == [(3, Refused(reason))]


@pytest.mark.parametrize("kind", [0xC0, 0xC5, 0xE2, 0xFF])
def test_the_voice_of_a_board_is_not_answered_and_is_no_sign_of_a_host(core: Core, talker: Talker, kind: int) -> None:
    talker.greet()
    talker.configure()
    talker.arm(100)
    for _ in range(12):
        core.feed(encode_frame(kind, 3, b""))
        talker.run(10)
    assert talker.status().cause is Cause.HOST_SILENCE


@pytest.mark.parametrize("request_", [Stop(), Halt()])
def test_stop_and_halt_are_always_accepted(talker: Talker, request_: Request) -> None:
    for begin in (Talker.greet, Talker.make_ready, moving, referencing, exposing, stopping):
        begin(talker)
        for _ in range(2):
            assert talker.ask(request_) == Accepted()
        talker.await_disarmed()
