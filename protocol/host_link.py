"""The host's end of the conversation: stop and wait, with retries. No I/O and no clock in here.

Bytes and `now` go in; bytes for the wire, events and the next deadline come out. One request is outstanding at a time and
the others wait in a bounded queue. Each call of `next_event` returns one event, so the link never runs ahead of what its
user has seen.

    link.receive(data, now)       bytes that arrived
    link.handle_deadline(now)     when next_deadline() has passed
    link.next_event()             until it returns None
    link.take(now)                bytes to write
    link.next_deadline()          how long to wait at most

Every queued request ends in exactly one Answered, Unreadable or Abandoned, or in the one Silent that ends them all. An
abandoned or unanswered request may still have been executed: ask for a Status.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

from protocol.codec import decode_message, encode_message, kind_of
from protocol.errors import BadFrame, WrongUse
from protocol.framing import CheckedFrame, encode_frame
from protocol.inbox import Inbox
from protocol.messages import (
    Accepted,
    Booted,
    Finished,
    GetIndex,
    GetStatus,
    Halt,
    Held,
    Hello,
    Index,
    Message,
    Notice,
    Refused,
    Reply,
    Request,
    Status,
    Stop,
    Welcome,
)
from protocol.statistics import LinkStatistics, Trouble
from protocol.units import BootId, Nanos

INBOX_FRAMES: Final = 64
"""Frames kept until their events are asked for; a board that floods us loses the rest."""
EVENTS: Final = 256
"""Events kept until they are asked for; beyond that the oldest are lost."""


@dataclass(frozen=True, slots=True)
class Answered:
    """The board replied to a request."""

    request: Request
    reply: Reply


@dataclass(frozen=True, slots=True)
class Abandoned:
    """A more urgent request replaced this one; whether it was executed is unknown."""

    request: Request


@dataclass(frozen=True, slots=True)
class Noticed:
    """The board sent a notice."""

    message: Notice


@dataclass(frozen=True, slots=True)
class Restarted:
    """The board has restarted since we greeted it: it is disarmed and knows neither its axes nor its position."""

    boot_id: BootId


@dataclass(frozen=True, slots=True)
class Unreadable:
    """The board sent a reply that this version does not know: `kind` and `payload` of that frame.

    Repeating the request would bring the same bytes again. In all versions of the protocol, the first two bytes of a
    Welcome's payload are the board's version.
    """

    request: Request
    kind: int
    payload: bytes


@dataclass(frozen=True, slots=True)
class Silent:
    """The retries are used up: the outstanding request and the queue are dropped until a new Hello.

    `trouble` describes what arrived while the outstanding request waited.
    """

    trouble: Trouble = Trouble.NOTHING


LinkEvent: TypeAlias = Answered | Unreadable | Abandoned | Noticed | Restarted | Silent


class _Queued(NamedTuple):
    request: Request
    kind: int
    payload: bytes


class _Outstanding(NamedTuple):
    request: Request
    seq: int
    wire: bytes


class HostLink:
    """One end of one serial line.

    `retry_ns` is how long to wait for a reply after a frame was taken. `tries` is how often a frame is sent in total, and
    `hello_tries` the same for a Hello: opening a port restarts many boards, and that takes a while. `first_seq` is the
    sequence number of the first request. A link starts out `down`: it must send Hello first.
    """

    def __init__(
        self, *, retry_ns: Nanos, tries: int, hello_tries: int | None = None, queue_limit: int = 16, first_seq: int = 0
    ) -> None:
        if retry_ns <= 0 or tries < 1 or queue_limit < 1 or (hello_tries is not None and hello_tries < 1):
            raise WrongUse("retry_ns, tries and queue_limit must be positive")
        self._retry_ns = retry_ns
        self._tries = tries
        self._hello_tries = tries if hello_tries is None else hello_tries
        self._queue_limit = queue_limit
        self._next_seq = first_seq & 0xFF
        self._queue: deque[_Queued] = deque()
        self._outstanding: _Outstanding | None = None
        self._tries_used = 0
        self._to_send = False  # the outstanding frame has not been taken yet
        self._deadline: Nanos | None = None  # runs from take() to the reply
        self._inbox = Inbox(INBOX_FRAMES, of_board=True)
        self._events: deque[LinkEvent] = deque(maxlen=EVENTS)
        self._boot_id: BootId | None = None
        self._down = True
        self._sent = self._retransmitted = 0
        self._bytes_since = self._frames_since = 0  # received since the outstanding request was first sent

    # Requests of the user.

    def send(self, request: Request) -> None:
        """Queue a request.

        Raises WrongUse if a value does not fit, if the queue is full, or if the link is down and the request is no Hello.
        """
        is_hello = isinstance(request, Hello)
        if self._down and not is_hello:
            raise WrongUse("the link is down: send Hello first")
        if len(self._queue) >= self._queue_limit:
            raise WrongUse(f"{self._queue_limit} requests are waiting already")
        self._queue.append(_Queued(request, *encode_message(request)))
        if is_hello:
            self._down = False

    def send_urgent(self, request: Stop | Halt) -> None:
        """Send this next, in place of everything outstanding or queued; also if the link is down.

        If a Hello is among the requests that it replaces, the link is down again.
        """
        entry = _Queued(request, *encode_message(request))
        abandoned = [waiting.request for waiting in self._queue]
        if self._outstanding is not None:
            abandoned.insert(0, self._outstanding.request)
        self._events.extend(map(Abandoned, abandoned))
        self._down = self._down or any(isinstance(request, Hello) for request in abandoned)
        self._drop_all()
        self._queue.append(entry)

    # Input from the wire and the clock.

    def receive(self, data: bytes, now: Nanos) -> None:
        """Take in bytes from the wire, in chunks of any size. Never raises."""
        self._bytes_since += len(data)
        self._frames_since += self._inbox.feed(data, now)

    def take(self, now: Nanos) -> bytes:
        """Return the bytes to put on the wire now, possibly none, and start to wait for their reply."""
        if self._outstanding is None and self._queue:
            entry = self._queue.popleft()
            wire = encode_frame(entry.kind, self._next_seq, entry.payload)
            self._outstanding = _Outstanding(entry.request, self._next_seq, wire)
            self._next_seq = (self._next_seq + 1) & 0xFF
            self._tries_used = self._bytes_since = self._frames_since = 0
            self._to_send = True
        if self._outstanding is None or not self._to_send:
            return b""
        self._to_send = False
        self._deadline = Nanos(now + self._retry_ns)
        self._sent += 1
        self._retransmitted += self._tries_used > 0
        self._tries_used += 1
        return self._outstanding.wire

    def next_deadline(self) -> Nanos | None:
        """Return when to call `handle_deadline`, or None.

        Also None while events wait to be taken: bytes that arrived but were not processed may contain the reply.
        """
        return None if self._inbox else self._deadline

    def handle_deadline(self, now: Nanos) -> None:
        """Repeat the outstanding request, or give up, if its time is over; otherwise do nothing."""
        deadline = self.next_deadline()
        if deadline is None or now < deadline:
            return
        self._deadline = None
        greeting = self._outstanding is not None and isinstance(self._outstanding.request, Hello)
        if self._tries_used < (self._hello_tries if greeting else self._tries):
            self._to_send = True
            return
        trouble = self._trouble()
        self._drop_all()
        self._down = True
        self._events.append(Silent(trouble))

    def next_event(self) -> LinkEvent | None:
        """Return the next event, or None if there is none. Any exception from here is a bug."""
        while not self._events and self._inbox:
            self._look_at(self._inbox.next_frame())
        return self._events.popleft() if self._events else None

    # State for the user.

    @property
    def down(self) -> bool:
        """Whether only a Hello may be sent: at the start, and after Silent."""
        return self._down

    @property
    def idle(self) -> bool:
        """Whether no request is outstanding or queued."""
        return self._outstanding is None and not self._queue

    @property
    def boot_id(self) -> BootId | None:
        """The board's latest known boot id, None before the first Welcome."""
        return self._boot_id

    @property
    def last_heard(self) -> Nanos | None:
        """When the last undamaged frame of the board arrived. Frames that we sent do not count."""
        return self._inbox.last_heard

    @property
    def statistics(self) -> LinkStatistics:
        """A snapshot of the counters."""
        return self._inbox.statistics(self._sent, self._retransmitted)

    # Internals.

    def _drop_all(self) -> None:
        self._queue.clear()
        self._settle()

    def _settle(self) -> None:
        """Forget the outstanding request."""
        self._outstanding = None
        self._to_send = False
        self._deadline = None

    def _trouble(self) -> Trouble:
        """Classify what arrived: whole frames at half of the tries or more cannot be chance on a line that damages
        them.
        """
        if 2 * self._frames_since >= self._tries_used:
            return Trouble.NO_ANSWER
        return Trouble.NOISE if self._bytes_since else Trouble.NOTHING

    def _look_at(self, frame: CheckedFrame) -> None:
        try:
            message = decode_message(frame.kind, frame.payload)
        except BadFrame:
            self._look_at_unreadable(frame)
            return
        if isinstance(message, (Booted, Finished, Held)):
            if isinstance(message, Booted):
                self._compare_boot(message.boot_id)
            self._events.append(Noticed(message))
            return
        waiting = self._outstanding
        if waiting is None or frame.seq != waiting.seq or not _answers(waiting.request, message):
            self._inbox.dropped += 1
            return
        assert isinstance(message, (Welcome, Accepted, Refused, Status, Index))  # the only types that _answers accepts
        if isinstance(message, Welcome) and self._boot_id is None:
            self._boot_id = message.boot_id
        if isinstance(message, (Welcome, Status)):
            self._compare_boot(message.boot_id)
        self._settle()
        self._events.append(Answered(waiting.request, message))

    def _look_at_unreadable(self, frame: CheckedFrame) -> None:
        waiting = self._outstanding
        if waiting is None or frame.seq != waiting.seq or frame.kind not in _reply_kinds(waiting.request):
            self._inbox.dropped += 1
            return
        self._settle()
        self._events.append(Unreadable(waiting.request, frame.kind, frame.payload))

    def _compare_boot(self, boot_id: BootId) -> None:
        if self._boot_id is not None and boot_id != self._boot_id:
            self._boot_id = boot_id
            self._events.append(Restarted(boot_id))


def _answers(request: Request, message: Message) -> bool:
    """Whether a message can be the reply to this request, not one left over from an earlier exchange."""
    if isinstance(message, Welcome) and isinstance(request, Hello):
        return message.nonce == request.nonce
    return isinstance(message, (Refused, _REPLIES.get(type(request), Accepted)))


_REPLIES: Final[dict[type[Request], type[Reply]]] = {Hello: Welcome, GetStatus: Status, GetIndex: Index}
"""The reply to a request that is not refused; all others get Accepted."""


def _reply_kinds(request: Request) -> tuple[int, int]:
    return kind_of(Refused), kind_of(_REPLIES.get(type(request), Accepted))
