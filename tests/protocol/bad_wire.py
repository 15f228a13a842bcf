"""Two links, a wire between them, and a board that follows orders. No clock: time is a number."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from protocol.board_link import BoardLink
from protocol.codec import PROTOCOL_VERSION
from protocol.host_link import HostLink, LinkEvent
from protocol.messages import (
    Accepted,
    BoardState,
    Capability,
    Cause,
    Finished,
    GetStatus,
    Hello,
    Move,
    Outcome,
    Reply,
    Request,
    Status,
    StatusFlag,
    Welcome,
)
from protocol.units import NO_COMMAND, BootId, CommandId, Nanos, Steps

RETRY_NS = Nanos(50)
TRIES = 4
FIRST_BOOT = BootId(7)
Wire = Callable[[bytes], bytes]


def perfect(data: bytes) -> bytes:
    return data


def cut(_data: bytes) -> bytes:
    return b""


def status(boot_id: BootId, clock_ms: int = 0) -> Status:
    return Status(
        boot_id,
        BoardState.READY,
        StatusFlag.ARMED,
        Cause.NONE,
        Steps(0),
        Steps(0),
        NO_COMMAND,
        NO_COMMAND,
        Outcome.NONE,
        0,
        clock_ms,
    )


def welcome(nonce: int, boot_id: BootId) -> Welcome:
    return Welcome(*PROTOCOL_VERSION, nonce, boot_id, NO_COMMAND, Capability(0), 64, 1000)


def hello(nonce: int) -> Hello:
    return Hello(*PROTOCOL_VERSION, nonce)


def move(number: int) -> Move:
    return Move(CommandId(number), Steps(number), Steps(-number))


@dataclass
class Board:
    """Accepts every request and records it."""

    boot_id: BootId = FIRST_BOOT
    link: BoardLink = field(default_factory=BoardLink)
    delivered: list[Request] = field(default_factory=list)

    def work(self) -> None:
        while (item := self.link.next_request()) is not None:
            seq, request = item
            self.delivered.append(request)
            self.link.reply(seq, self._answer(request))
            if isinstance(request, Move):
                self.link.notify(Finished(request.command_id, Outcome.ARRIVED, request.pan_steps, request.tilt_steps, 0))

    def _answer(self, request: Request) -> Reply:
        if isinstance(request, Hello):
            return welcome(request.nonce, self.boot_id)
        if isinstance(request, GetStatus):
            return status(self.boot_id)
        return Accepted()


def events_of(link: HostLink) -> Iterator[LinkEvent]:
    while (event := link.next_event()) is not None:
        yield event


def exchange(host: HostLink, board: Board, now: Nanos, down: Wire = perfect, up: Wire = perfect) -> list[LinkEvent]:
    """One round: the host's bytes go down, then the board's come up."""
    board.link.receive(down(host.take(now)), now)
    board.work()
    host.receive(up(board.link.take()), now)
    return list(events_of(host))
