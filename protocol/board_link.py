"""The board's end of the conversation: each request is delivered once and replied to as often as it is repeated.

No I/O and no clock. A host repeats a request, unchanged, until the reply arrives. So a frame equal to the last one,
including its sequence number, is that request again: it gets the same reply bytes and is not delivered a second time.
Hello is the exception: it is always delivered and clears the last frame, because a host that has just started may count
from any number.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection
from typing import Final

from protocol.codec import decode_message, frame_of, is_known, kind_of
from protocol.errors import BadFrame, WrongUse
from protocol.framing import CheckedFrame
from protocol.inbox import Inbox
from protocol.messages import (
    Accepted,
    Booted,
    Finished,
    Held,
    Hello,
    Index,
    Notice,
    Reason,
    Refused,
    Reply,
    Request,
    Status,
    Welcome,
)
from protocol.statistics import LinkStatistics
from protocol.units import Nanos, Seq

INBOX_FRAMES: Final = 8
"""Requests kept until they are asked for; a host repeats those that did not fit."""
OUTBOX_FRAMES: Final = 32
"""Frames kept until they are taken; frames that do not fit are lost, as on the wire."""
HELLO_KIND: Final = kind_of(Hello)
NOTICE_SEQ: Final = 0
"""Notices are not replies, so their sequence number has no meaning."""


class BoardLink:
    """One end of one serial line; a board that restarts begins with a new one.

    The caller answers each request before it asks for the next.
    """

    def __init__(self, without: Collection[type[Request]] = ()) -> None:
        """A board that does not have the requests `without` refuses them like unknown ones."""
        self._unknown = {kind_of(request) for request in without}
        self._inbox = Inbox(INBOX_FRAMES, of_board=False)
        self._outbox: deque[bytes] = deque()
        self._last_frame: CheckedFrame | None = None  # the frame that `_last_reply` answers
        self._last_reply = b""
        self._unanswered: CheckedFrame | None = None
        self._sent = self._retransmitted = 0

    def receive(self, data: bytes, now: Nanos) -> None:
        """Take in bytes from the wire, in chunks of any size. Never raises."""
        self._inbox.feed(data, now)

    def next_request(self) -> tuple[Seq, Request] | None:
        """Return the next new request and its sequence number, or None.

        Repeated and unreadable requests are answered on the way. Raises WrongUse if the request delivered before has not
        been answered.
        """
        if self._unanswered is not None:
            raise WrongUse("the last request has not been answered")
        while self._inbox:
            frame = self._inbox.next_frame()
            if frame == self._last_frame:
                self._inbox.dropped += 1
                self._retransmitted += self._emit(self._last_reply)
                continue
            request = self._understand(frame)
            if request is not None:
                self._unanswered = frame
                return Seq(frame.seq), request
        return None

    def reply(self, seq: Seq, reply: Reply) -> None:
        """Answer the request delivered last. Raises WrongUse if `seq` is another's, or it was answered already."""
        frame = self._unanswered
        if frame is None or seq != frame.seq:
            raise WrongUse(f"request {seq} does not wait for an answer")
        if not isinstance(reply, (Welcome, Accepted, Refused, Status, Index)):
            raise WrongUse(f"{type(reply).__name__} is not a reply")
        self._answer(frame, reply)
        self._unanswered = None
        if frame.kind == HELLO_KIND:
            self._last_frame = None

    def notify(self, message: Notice) -> None:
        """Send a notice; it may be lost, here or on the wire."""
        if not isinstance(message, (Booted, Finished, Held)):
            raise WrongUse(f"{type(message).__name__} is not a notice")
        self._emit(frame_of(message, NOTICE_SEQ))

    def take(self) -> bytes:
        """Return the bytes to put on the wire now, possibly none."""
        wire = b"".join(self._outbox)
        self._sent += len(self._outbox)
        self._outbox.clear()
        return wire

    @property
    def last_heard(self) -> Nanos | None:
        """When the last undamaged frame of a host arrived, repeats included; the silence watchdog counts from here."""
        return self._inbox.last_heard

    @property
    def statistics(self) -> LinkStatistics:
        """A snapshot of the counters."""
        return self._inbox.statistics(self._sent, self._retransmitted)

    def _understand(self, frame: CheckedFrame) -> Request | None:
        """Return the request in a frame, or refuse it here and return None if it is not valid."""
        known = is_known(frame.kind) and frame.kind not in self._unknown
        try:
            if not known:
                raise BadFrame("an unknown kind")
            message = decode_message(frame.kind, frame.payload)
        except BadFrame:
            self._inbox.dropped += 1
            self._answer(frame, Refused(Reason.BAD_VALUE if known else Reason.UNKNOWN_KIND))
            return None
        # `receive` accepts no message type of a board.
        assert not isinstance(message, (Welcome, Accepted, Refused, Status, Index, Booted, Finished, Held))
        return message

    def _answer(self, frame: CheckedFrame, reply: Reply) -> None:
        wire = frame_of(reply, frame.seq)
        self._last_frame, self._last_reply = frame, wire
        self._emit(wire)

    def _emit(self, wire: bytes) -> bool:
        if len(self._outbox) >= OUTBOX_FRAMES:
            self._inbox.dropped += 1
            return False
        self._outbox.append(wire)
        return True
