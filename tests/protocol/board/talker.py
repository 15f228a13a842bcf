"""A host for any board in virtual time: it asks, sends commands, and keeps the notices."""

from __future__ import annotations

from typing import Protocol, TypeVar

from protocol.codec import PROTOCOL_VERSION, decode_message, frame_of
from protocol.framing import Deframer
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Booted,
    Finished,
    GetIndex,
    GetStatus,
    Held,
    Hello,
    Index,
    Message,
    Move,
    Notice,
    Reference,
    Refused,
    Reply,
    Request,
    SetAxis,
    Status,
    Welcome,
)
from protocol.units import AxisId, BootId, CommandId, Steps

M = TypeVar("M")
SPEED, ACCEL = 1000, 2000
LIMIT = 9000
SILENCE_MS = 5000
REPLY_MS = 30
"""The longest time for a reply, on the line at 115200 baud and in the board (20 ms)."""


class Machine(Protocol):
    """Any board: bytes in, time on, bytes out."""

    now_ms: int

    def feed(self, data: bytes) -> None: ...
    def run(self, milliseconds: int) -> None: ...
    def take(self) -> bytes: ...


class Talker:
    """Talks to one board."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.notices: list[Notice] = []
        self.replies: list[Reply] = []
        self.seq = 0
        self.last_id = 0
        self.boot_id = BootId(0)
        self._deframer = Deframer()

    def listen(self) -> list[tuple[int, Message]]:
        """The messages received since the last call."""
        came: list[tuple[int, Message]] = []
        for frame in self._deframer.feed(self.machine.take()):
            message = decode_message(frame.kind, frame.payload)
            came.append((frame.seq, message))
            if isinstance(message, Booted | Finished | Held):
                self.notices.append(message)
        assert self._deframer.counters.damaged == 0
        return came

    def next_id(self) -> CommandId:
        self.last_id += 1
        return CommandId(self.last_id)

    def greet(self) -> Welcome:
        welcome = self.ask(Hello(*PROTOCOL_VERSION, 99))
        assert isinstance(welcome, Welcome)
        self.boot_id = welcome.boot_id
        return welcome

    def ask(self, request: Request) -> Reply:
        """Send a request and return its reply, which must come in time."""
        self.seq = (self.seq + 1) % 256
        self.machine.feed(frame_of(request, self.seq))
        for _ in range(REPLY_MS):
            for seq, message in self.listen():
                if isinstance(message, Welcome | Accepted | Refused | Status | Index):
                    assert seq == self.seq
                    return message
            self.machine.run(1)
        raise AssertionError(f"no reply to {request}")

    def order(self, request: Request) -> None:
        """Send a request that must be accepted."""
        assert self.ask(request) == Accepted()

    def status(self) -> Status:
        reply = self.ask(GetStatus())
        assert isinstance(reply, Status)
        return reply

    def index(self) -> Index:
        reply = self.ask(GetIndex())
        assert isinstance(reply, Index)
        return reply

    def run(self, milliseconds: int) -> None:
        self.machine.run(milliseconds)
        self.listen()

    def of(self, kind: type[M]) -> list[M]:
        """The notices of one kind so far."""
        return [notice for notice in self.notices if isinstance(notice, kind)]

    def finish(self, most_ms: int = 200_000, look_ms: int = 500) -> Finished:
        """Let the current command end, keeping the host from falling silent. Returns its Finished."""
        known, begun = len(self.of(Finished)), self.machine.now_ms
        while len(self.of(Finished)) == known:
            assert self.machine.now_ms - begun < most_ms, "the command never ended"
            self.run(look_ms)
            self.status()
        return self.of(Finished)[-1]

    def configure(self, speed: int = SPEED, accel: int = ACCEL, limit: int = LIMIT) -> None:
        for axis in AxisId:
            self.order(SetAxis(self.next_id(), axis, Steps(-limit), Steps(limit), speed, accel))

    def arm(self, silence_ms: int = SILENCE_MS) -> None:
        self.order(Arm(self.next_id(), self.boot_id, silence_ms))

    def reference(self, search: int = 500, creep_divisor: int = 10) -> Finished:
        self.order(Reference(self.next_id(), search, search, creep_divisor))
        return self.finish()

    def make_ready(self, speed: int = SPEED, accel: int = ACCEL, limit: int = LIMIT) -> None:
        """Greet, describe, arm and reference."""
        self.greet()
        self.configure(speed, accel, limit)
        self.arm()
        self.reference(min(speed, 500))

    def move(self, pan: int, tilt: int) -> Move:
        """A move with a new id, for `order` or to be refused."""
        return Move(self.next_id(), Steps(pan), Steps(tilt))

    def await_disarmed(self, most_ms: int = 5000) -> Status:
        for _ in range(most_ms // 10):
            status = self.status()
            if status.state is BoardState.DISARMED:
                return status
            self.run(10)
        raise AssertionError("the board never came to rest")
