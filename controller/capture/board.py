"""Speaks to one board: requests in, events out. The only caller of the port's waiting call.

Whatever the board says unasked may get lost on the way, so nothing waits for it alone: when the end of a command
is due and has not been heard of, the status is asked for, and it says the same. The same question, asked whenever
the line has been quiet for a while, keeps the board's watchdog content.
"""

from collections import deque

from controller.capture.events import Event, Kind
from controller.capture.port import Port
from protocol.codec import PROTOCOL_VERSION
from protocol.host_link import Answered, HostLink, LinkEvent, Noticed, Restarted, Silent
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Expose,
    Finished,
    GetStatus,
    Halt,
    Held,
    Hello,
    Move,
    Outcome,
    Reference,
    Refused,
    Request,
    Status,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.units import NO_COMMAND, CommandId, Nanos

MS = 1_000_000
# How long a healthy board may take to answer, the latency of a USB adapter and a busy host included, and how often
# a request is repeated before the line counts as dead. Common practice, no source.
ANSWER_NS = Nanos(500 * MS)
TRIES = 8
# The board is asked at least three times within its patience, so one or two lost exchanges do no harm.
ASKS_PER_SILENCE = 3
LATE_NS = 20 * MS  # how long after its expected end a command is asked about

ENDINGS = {
    Outcome.ARRIVED: Kind.ARRIVED,
    Outcome.REFERENCED: Kind.REFERENCED,
    Outcome.EXPOSED_SYNC: Kind.EXPOSED,
    Outcome.EXPOSED_BLIND: Kind.EXPOSED,
    Outcome.NO_SYNC: Kind.NOT_CONFIRMED,
    Outcome.CUT_SHORT: Kind.CUT_SHORT,
}


class BoardClient:
    """One board on one port. `silence_ms` is the patience that the board is armed with."""

    def __init__(self, port: Port, silence_ms: int) -> None:
        self._port = port
        self._link = HostLink(retry_ns=ANSWER_NS, tries=TRIES)
        self._quiet_ns = silence_ms * MS // ASKS_PER_SILENCE
        self._ask_at: int | None = None
        self._running = NO_COMMAND
        self._armed = False
        self._coming_to_rest = False
        self._events: deque[Event] = deque()
        self.unknown_endings = 0

    def greet(self) -> None:
        """Open the conversation."""
        self.send(Hello(*PROTOCOL_VERSION, nonce=self._port.now() & 0xFFFFFFFF))

    def send(self, request: Request, expected_ns: int = 0) -> None:
        """Send a request; if it is a command whose end is awaited, `expected_ns` says when that is due."""
        if isinstance(request, Reference | Move | Expose):
            self._running = request.command_id
            self._ask_at = self._port.now() + min(expected_ns + LATE_NS, self._quiet_ns)
        self._link.send(request)
        self._write()

    def send_urgent(self, request: Stop | Halt) -> None:
        """Send a stop or a halt ahead of everything else, and find out when the head rests."""
        self._armed = False
        self._coming_to_rest = True
        self._link.send_urgent(request)
        self._write()

    def wait_event(self, deadline_ns: int | None) -> Event | None:
        """Wait for the next event until `deadline_ns`; None when it passes first."""
        while True:
            while (news := self._link.next_event()) is not None:
                self._take_in(news)
            if self._events:
                return self._events.popleft()
            self._write()
            now = self._port.now()
            if deadline_ns is not None and now >= deadline_ns:
                return None
            moments = (deadline_ns, self._link.next_deadline(), self._ask_at)
            data = self._port.wait_bytes(min((m for m in moments if m is not None), default=None))
            now = self._port.now()
            if data:
                self._link.receive(data, Nanos(now))
            self._link.handle_deadline(Nanos(now))
            if self._ask_at is not None and now >= self._ask_at:
                self._ask()

    def _ask(self) -> None:
        if self._link.idle and not self._link.down:
            self._link.send(GetStatus())
        self._ask_at = self._port.now() + self._quiet_ns

    def _write(self) -> None:
        data = self._link.take(Nanos(self._port.now()))
        if data:
            self._port.write(data)

    # From what the link says to events.

    def _take_in(self, news: LinkEvent) -> None:
        now = self._port.now()
        if isinstance(news, Answered):
            self._take_answer(news, now)
        elif isinstance(news, Noticed):
            if isinstance(news.message, Finished):
                self._take_ending(news.message.command_id, news.message.outcome, news.message.clock_ms, now)
            elif isinstance(news.message, Held):
                self._armed = False
                self._events.append(Event(Kind.HELD, now, cause=news.message.cause))
        elif isinstance(news, Restarted):
            self._events.append(Event(Kind.RESTARTED, now, boot_id=news.boot_id))
        elif isinstance(news, Silent):
            self._ask_at = None
            self._events.append(Event(Kind.LINK_LOST, now))

    def _take_answer(self, answer: Answered, now: int) -> None:
        reply = answer.reply
        if isinstance(reply, Status):
            self._take_status(reply, now)
        elif isinstance(reply, Refused):
            self._events.append(Event(Kind.REFUSED, now, reason=reply.reason))
        elif isinstance(reply, Welcome):
            self._events.append(
                Event(
                    Kind.WELCOMED,
                    now,
                    command_id=reply.last_command_id,
                    boot_id=reply.boot_id,
                    capabilities=reply.capabilities,
                )
            )
        elif isinstance(answer.request, Arm) and isinstance(reply, Accepted):
            self._armed = True
            self._ask_at = now + self._quiet_ns
            self._events.append(Event(Kind.ARMED, now))
        elif isinstance(answer.request, Stop):
            self._ask()  # is it at rest already?

    def _take_status(self, status: Status, now: int) -> None:
        self._take_ending(status.finished_id, status.finished_outcome, status.finished_clock_ms, now, asked=True)
        at_rest = status.state is BoardState.DISARMED
        if self._coming_to_rest:
            if at_rest:
                self._coming_to_rest, self._ask_at = False, None
                self._events.append(Event(Kind.AT_REST, now))
            else:
                self._ask_at = now + LATE_NS
        elif self._armed and not status.flags & StatusFlag.ARMED:
            self._armed = False
            self._events.append(Event(Kind.HELD, now, cause=status.cause))

    def _take_ending(
        self, command_id: CommandId, outcome: Outcome, clock_ms: int, now: int, *, asked: bool = False
    ) -> None:
        """Turn the end of the command under way into an event. The end of any other is nobody's business."""
        if command_id != self._running or command_id == NO_COMMAND:
            self.unknown_endings += not asked
            return
        self._running = NO_COMMAND
        self._ask_at = now + self._quiet_ns
        self._events.append(
            Event(ENDINGS[outcome], now, command_id=command_id, outcome=outcome, board_clock_ms=clock_ms)
        )
