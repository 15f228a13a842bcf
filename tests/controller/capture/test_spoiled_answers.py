"""Answers that are of another version, make no sense or contradict what was said: what the client makes of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from controller.capture.board import BoardClient
from controller.capture.events import Event, EventKind
from controller.capture.line import BoardLine, OtherVersion
from protocol.codec import PROTOCOL_VERSION, decode_message, encode_message, kind_of
from protocol.framing import CheckedFrame, Deframer, encode_frame
from protocol.host_link import HostLink
from protocol.messages import (
    BoardState,
    GetIndex,
    GetStatus,
    Halt,
    Hello,
    Message,
    Outcome,
    Reason,
    Refused,
    Request,
    SetAxis,
    Status,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.units import MS, NS, AxisId, CommandId, Nanos, Steps
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.controller.capture.test_board_client import armed
from tests.end_to_end.whole_runs import World, kit_of, world_of

Spoil = Callable[[Message], tuple[int, bytes] | None]
REFUSED, STATUS, WELCOME = kind_of(Refused), kind_of(Status), kind_of(Welcome)


class SpoilingPort(VirtualPort):
    """What the board says goes through `spoil`, which may put another kind and other bytes in its place."""

    def __init__(self, rig: Rig) -> None:
        super().__init__(rig)
        self.spoil: Spoil = lambda _: None

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        data = super().wait_bytes(deadline_ns)
        return b"".join(self._spoiled(frame) for frame in Deframer().feed(data))

    def _spoiled(self, frame: CheckedFrame) -> bytes:
        kind, payload = self.spoil(decode_message(frame.kind, frame.payload)) or (frame.kind, frame.payload)
        return encode_frame(kind, frame.seq, payload)


def spoiled(spoil: Spoil) -> tuple[World, BoardClient]:
    """An armed board from now on spoilt."""
    world = world_of(kit_of(), port_of=SpoilingPort)
    client = armed(world)
    assert isinstance(world.port, SpoilingPort)
    world.port.spoil = spoil
    return world, client


def greeted_with(kind: int, payload: bytes) -> Event:
    world, client = spoiled(lambda _: (kind, payload))
    client.greet()
    event = client.wait_event(world.port.now() + NS)
    assert event is not None
    return event


@pytest.mark.parametrize(
    ("kind", "payload", "theirs"),
    [
        (REFUSED, bytes([Reason.VERSION]), "another major version"),
        (REFUSED, bytes([Reason.VERSION, 3, 7]), "another major version"),  # longer in a later version
        (WELCOME, bytes([7, 3]), "version 7.x"),
        (WELCOME, bytes([0, 3, 1, 1]), "version 0.x"),
    ],
)
def test_a_greeting_in_another_version_is_named(kind: int, payload: bytes, theirs: str) -> None:
    event = greeted_with(kind, payload)
    assert (event.kind, event.reason) == (EventKind.REFUSED, Reason.VERSION)
    ours = PROTOCOL_VERSION.major
    assert event.sentence == (f"This board speaks {theirs} of the protocol, this program {ours}.x; update one of them.")


def test_a_whole_welcome_of_another_version_is_named_too() -> None:
    def other(message: Message) -> tuple[int, bytes] | None:
        return encode_message(replace(message, version_major=9)) if isinstance(message, Welcome) else None

    world, client = spoiled(other)
    client.greet()
    event = client.wait_event(world.port.now() + NS)
    assert event is not None
    assert (event.kind, event.reason) == (EventKind.REFUSED, Reason.VERSION)
    assert "version 9.x" in event.sentence


@pytest.mark.parametrize("payload", [bytes([PROTOCOL_VERSION.major, 0]), bytes([PROTOCOL_VERSION.major])])
def test_a_welcome_of_our_version_that_cannot_be_read_is_a_fault(payload: bytes) -> None:
    event = greeted_with(WELCOME, payload)
    assert event.kind is EventKind.CONTRADICTED
    assert (
        f"answers Hello with what this program cannot read (kind {WELCOME:02X}, bytes {payload.hex(' ')})"
        in event.sentence
    )
    assert not event.place


OBEYED: tuple[Request, ...] = (
    Hello(*PROTOCOL_VERSION, 1), GetStatus(), GetIndex(), Stop(), Halt(),
)  # fmt: skip


@pytest.mark.parametrize("reason", [bytes([Reason.BUSY]), bytes([99]), b""])
@pytest.mark.parametrize("request_", OBEYED)
def test_what_a_board_must_always_obey_it_cannot_refuse(request_: Request, reason: bytes) -> None:
    world, client = spoiled(lambda _: (REFUSED, reason))
    if isinstance(request_, Stop | Halt):
        client.send_urgent(request_)
    else:
        client.send(request_)
    event = client.wait_event(world.port.now() + NS)
    assert event is not None
    assert event.kind is EventKind.CONTRADICTED
    name = "BUSY" if reason == bytes([Reason.BUSY]) else f"reason {reason[0] if reason else 0}"
    assert f"refuses {type(request_).__name__} ({name}), which it must always obey; support the camera" in event.sentence


def test_a_refusal_for_an_unknown_reason_is_told_with_its_number() -> None:
    world, client = spoiled(lambda _: (REFUSED, bytes([99])))
    client.send(SetAxis(CommandId(4), AxisId.PAN, Steps(-1), Steps(1), 1, 1))
    event = client.wait_event(world.port.now() + NS)
    assert event is not None
    assert (event.kind, event.reason) == (EventKind.REFUSED, None)
    assert "refused SetAxis for reason 99, which this program does not know" in event.sentence


def test_an_answer_that_nobody_can_read_is_told_with_its_bytes() -> None:
    world, client = spoiled(lambda _: (STATUS, bytes([0xAB, 1])))
    client.send(GetStatus())
    event = client.wait_event(world.port.now() + NS)
    assert event is not None
    assert event.kind is EventKind.CONTRADICTED
    assert f"answers GetStatus with what this program cannot read (kind {STATUS:02X}, bytes ab 01)" in event.sentence


def test_of_several_contradictions_the_first_is_told_and_nothing_is_believed_after_it() -> None:
    def backward(message: Message) -> tuple[int, bytes] | None:
        return encode_message(replace(message, clock_ms=message.clock_ms - 5000)) if isinstance(message, Status) else None

    world, client = spoiled(lambda _: None)
    client.wait_event(world.port.now() + 6 * NS)
    client.send(GetStatus())
    assert client.wait_event(world.port.now() + NS // 2) is None
    assert isinstance(world.port, SpoilingPort)
    world.port.spoil = backward
    for _ in range(3):
        client.send(GetStatus())
    client.send(GetIndex())  # what it says of the switches does not count either
    found = []
    while (event := client.wait_event(world.port.now() + NS)) is not None:
        found.append(event)
    assert [event.kind for event in found] == [EventKind.CONTRADICTED]
    assert "clock ran backward" in found[0].sentence
    client.send_urgent(Stop())
    world.port.spoil = lambda _: None
    rest = client.wait_event(world.port.now() + NS)
    assert rest is not None
    assert (rest.kind, rest.command_id, rest.outcome) == (EventKind.AT_REST, CommandId(0), Outcome.NONE)
    client.greet()  # from here on it is believed again
    welcome = client.wait_event(world.port.now() + NS)
    assert welcome is not None
    assert welcome.kind is EventKind.WELCOMED


def test_a_board_that_brakes_for_ever_is_found_out() -> None:
    """It says that it is stopping by itself, and never that it rests."""

    def braking(message: Message) -> tuple[int, bytes] | None:
        if not isinstance(message, Status):
            return None
        return encode_message(replace(message, state=BoardState.STOPPING, flags=message.flags & ~StatusFlag.ARMED))

    world, client = spoiled(braking)
    begin_ns = world.port.now()
    client.send(GetStatus())
    event = client.wait_event(begin_ns + 60 * NS)
    assert event is not None
    assert event.kind is EventKind.CONTRADICTED
    assert "still stopping, longer than it can take; support the camera, cut the motor power" in event.sentence
    allowed_ns = world.program.stop_deadline_ns
    assert allowed_ns < event.at_ns - begin_ns < allowed_ns + 100 * MS


def line_answered(answers: dict[int, tuple[int, bytes]], asked: list[int]) -> BoardLine:
    """A line to a board that answers a greeting in a major version as told, and refuses every other."""

    class Port(VirtualPort):
        def write(self, data: bytes) -> None:
            for frame in Deframer().feed(data):
                hello = decode_message(frame.kind, frame.payload)
                assert isinstance(hello, Hello)
                asked.append(hello.version_major)
                kind, payload = answers.get(hello.version_major, encode_message(Refused(Reason.VERSION)))
                self._rig.to_host.send(self._now_ns, encode_frame(kind, frame.seq, payload))

    world = world_of(kit_of(), port_of=Port)
    return BoardLine(world.port, lambda: HostLink(retry_ns=Nanos(NS // 5), tries=3))


@pytest.mark.parametrize("major", [0, 2, 15])
def test_a_board_that_refuses_our_version_is_asked_for_others(major: int) -> None:
    asked: list[int] = []
    line = line_answered({major: (WELCOME, bytes([major, 4, 0]))}, asked)
    with pytest.raises(OtherVersion, match=rf"speaks version {major}\.4 of the protocol, and this program "):
        line.wait_welcome(NS)
    assert asked == [PROTOCOL_VERSION.major, *(one for one in range(major + 1) if one != PROTOCOL_VERSION.major)]


def test_a_board_that_refuses_every_version_is_told_after_sixteen() -> None:
    asked: list[int] = []
    with pytest.raises(OtherVersion, match="another one that it does not name"):
        line_answered({}, asked).wait_welcome(NS)
    assert sorted(asked) == list(range(16))
