"""Speaks to one board: requests in, events out. The only caller of the port's waiting call.

Whatever the board says unasked may get lost on the way, so nothing waits for it alone: when the end of a command
is due and has not been heard of, the status is asked for, and it says the same. The same question, asked whenever
the line has been quiet for a while, keeps the board's watchdog content.
"""

from collections import deque
from collections.abc import Callable

from controller.capture.events import Event, Kind, Wanted
from controller.capture.gate import Gate
from controller.capture.port import Port
from controller.program.program import Program
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
    Index,
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
from protocol.statistics import LinkStatistics
from protocol.units import MS, NO_COMMAND, CommandId, Nanos

# The board is asked when half of its patience is over: there is as much again to repeat the question in.
ASKS_PER_SILENCE = 2
LATE_NS = 20 * MS  # how long after its expected end a command is first asked about; then after twice that, and so on

Wish = Callable[[], Wanted | None]
"""What the operator wants next, or None."""

ENDINGS = {
    Outcome.ARRIVED: Kind.ARRIVED,
    Outcome.REFERENCED: Kind.REFERENCED,
    Outcome.EXPOSED_SYNC: Kind.EXPOSED,
    Outcome.EXPOSED_BLIND: Kind.EXPOSED,
    Outcome.NO_SYNC: Kind.NOT_CONFIRMED,
    Outcome.CUT_SHORT: Kind.CUT_SHORT,
}


class BoardClient:
    """One board on one port, spoken to as `program` says; what can start motion passes the `gate`."""

    def __init__(self, port: Port, program: Program, gate: Gate) -> None:
        self._port, self._gate = port, gate
        self._program = program
        self._link = self._new_link()
        self._quiet_ns = program.silence_ms * MS // ASKS_PER_SILENCE
        self._ask_at: int | None = None
        self._due_at: int | None = None  # when the end of the command under way should have been heard of
        self._running = NO_COMMAND
        self._armed = False
        self._coming_to_rest = self._listening = False
        self._events: deque[Event] = deque()
        self.unknown_endings = 0

    @property
    def line(self) -> LinkStatistics:
        """What the link has counted since it was last greeted."""
        return self._link.statistics

    def greet(self) -> None:
        """Open the conversation, with nothing left of an earlier one."""
        self._link = self._new_link()
        self._running, self._due_at = NO_COMMAND, None
        self._armed = self._coming_to_rest = self._listening = False
        self.send(Hello(*PROTOCOL_VERSION, nonce=self._port.now() & 0xFFFFFFFF))

    def _new_link(self) -> HostLink:
        program = self._program
        return HostLink(retry_ns=Nanos(program.retry_ns), tries=program.tries, hello_tries=program.hello_tries)

    def send(self, request: Request, expected_ns: int = 0) -> None:
        """Send a request; if it is a command whose end is awaited, `expected_ns` says when that is due."""
        self._gate.check(request)
        if isinstance(request, Reference | Move | Expose):
            self._running = request.command_id
            self._due_at = self._port.now() + expected_ns
            self._plan_question()
        self._link.send(request)
        self._write()

    def listen(self) -> None:
        """Ask how the wind blows."""
        self._listening = True
        self.send(GetStatus())

    def send_urgent(self, request: Stop | Halt) -> None:
        """Send a stop or a halt ahead of everything else, and find out when the head rests."""
        self._armed = False
        self._coming_to_rest = True
        self._link.send_urgent(request)
        self._write()

    def wait_event(self, deadline_ns: int | None, wish: Wish = lambda: None) -> Event | None:
        """Wait for the next event until `deadline_ns`; None when it passes first.

        `wish` is asked whenever the port returns; what it wants is an event like any other.
        """
        while True:
            while (news := self._link.next_event()) is not None:
                self._take_in(news)
            now = self._port.now()
            if self._events:  # before any wish: what has happened must not meet a state that no longer expects it
                return self._events.popleft()
            if (wanted := wish()) is not None:
                return Event(wanted.kind, now, frames=wanted.frames, text=wanted.text)
            self._write()
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

    def wait_stopped(self, request: Stop | Halt, patience_ns: int) -> bool:
        """Send a stop or a halt and wait until the board says that the head rests; whether it did in time."""
        self.send_urgent(request)
        deadline_ns = self._port.now() + patience_ns
        while (event := self.wait_event(deadline_ns)) is not None:
            if event.kind is Kind.AT_REST:
                return True
            if event.kind is Kind.LINK_LOST:
                return False
        return False

    def _ask(self) -> None:
        if self._link.idle and not self._link.down:
            self._link.send(GetStatus())
        self._plan_question()

    def _plan_question(self) -> None:
        """When to ask next: before the board loses patience, and soon after an end that was not heard of."""
        now = self._port.now()
        self._ask_at = now + (LATE_NS if self._coming_to_rest else self._quiet_ns)
        if self._due_at is not None:
            late_ns = max(LATE_NS, now - self._due_at)  # doubles the time since it was due
            self._ask_at = min(self._ask_at, max(now, self._due_at) + late_ns)

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
        elif isinstance(reply, Index):
            self._events.append(Event(Kind.CHECKED, now, index=reply))
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
            self._plan_question()
            self._events.append(Event(Kind.ARMED, now))
        elif isinstance(answer.request, Stop | Halt):
            self._ask()  # is it at rest already?

    def _take_status(self, status: Status, now: int) -> None:
        self._take_ending(status.finished_id, status.finished_outcome, status.finished_clock_ms, now, asked=True)
        if self._listening and status.state is BoardState.READY:
            self._listening = False
            self._events.append(Event(Kind.GUSTY if status.flags & StatusFlag.GUSTY else Kind.CALM, now))
        at_rest = status.state is BoardState.DISARMED
        if self._coming_to_rest:
            if at_rest:
                self._coming_to_rest, self._ask_at = False, None
                self._events.append(_at_rest(status, now))
            else:
                self._ask_at = now + LATE_NS
        elif self._armed and not status.flags & StatusFlag.ARMED:
            if at_rest:
                self._armed = False
                self._events.append(Event(Kind.HELD, now, cause=status.cause))
            else:  # it has lost patience and is still braking
                self._ask_at = now + LATE_NS

    def _take_ending(
        self, command_id: CommandId, outcome: Outcome, clock_ms: int, now: int, *, asked: bool = False
    ) -> None:
        """Turn the end of the command under way into an event. The end of any other is nobody's business."""
        if command_id != self._running or command_id == NO_COMMAND:
            self.unknown_endings += not asked
            return
        self._running, self._due_at = NO_COMMAND, None
        self._plan_question()
        self._events.append(Event(ENDINGS[outcome], now, command_id=command_id, outcome=outcome, board_clock_ms=clock_ms))


def _at_rest(status: Status, now: int) -> Event:
    both = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN
    return Event(
        Kind.AT_REST,
        now,
        command_id=status.finished_id,
        outcome=status.finished_outcome,
        board_clock_ms=status.finished_clock_ms,
        cause=status.cause,
        known=status.flags & both == both,
        at_steps=(status.pan_steps, status.tilt_steps),
    )
