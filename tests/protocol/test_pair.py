"""Both ends over a wire that drops, duplicates and damages: each command once, in order, and always progress."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from protocol.board_link import INBOX_FRAMES, OUTBOX_FRAMES
from protocol.framing import MAX_ENCODED
from protocol.host_link import Abandoned, Answered, HostLink, LinkEvent, Noticed, Restarted, Silent
from protocol.messages import Finished, GetStatus, Halt, Move, Request, Stop, Welcome
from protocol.units import BootId, Nanos
from tests.protocol.bad_wire import (
    RETRY_NS,
    TRIES,
    Board,
    cut,
    events_of,
    exchange,
    hello,
    move,
)

QUEUE_LIMIT = 4
WIRE_BYTES = 4096

DAMAGE = st.sampled_from(("none", "none", "drop", "double", "flip", "cut", "noise", "split"))
WHERE = st.integers(0, 2**16)


def damaged(data: bytes, how: str, where: int) -> list[bytes]:
    """The chunks that come out of the wire. A wire keeps the order of its bytes."""
    if not data or how == "none":
        return [data]
    at = where % len(data)
    last_frame = data[max(0, data.rstrip(b"\0").rfind(b"\0")) :]
    return {
        "drop": [],
        "double": [data + last_frame],
        "flip": [data[:at] + bytes((data[at] ^ 1 << where % 8,)) + data[at + 1 :]],
        "cut": [data[:at]],
        "noise": [bytes((where % 251 + 1,)) * 5 + data],
        "split": [data[:at], data[at:]],
    }[how]


class BadWire(RuleBasedStateMachine):
    """Bytes in flight are kept, so that old frames can arrive after new ones were sent."""

    def __init__(self) -> None:
        super().__init__()
        self.now = Nanos(0)
        self.host = HostLink(retry_ns=RETRY_NS, tries=TRIES, queue_limit=QUEUE_LIMIT)
        self.board = Board()
        self.down, self.up = b"", b""
        self.command = 0
        self.nonce = 0
        self.delivered_before: list[Request] = []  # to earlier boots
        self.asked: list[Request | None] = []  # requests without an end yet, in order; None marks a silence

    @initialize()
    def greet(self) -> None:
        self.nonce += 1
        self.host.send(hello(self.nonce))
        self.asked.append(hello(self.nonce))

    @precondition(lambda self: self.host.down)
    @rule()
    def greet_again(self) -> None:
        self.greet()

    @precondition(lambda self: not self.host.down and len(self.host._queue) < QUEUE_LIMIT)
    @rule(ask_status=st.booleans())
    def send(self, ask_status: bool) -> None:
        self.command += not ask_status
        request = GetStatus() if ask_status else move(self.command)
        self.host.send(request)
        self.asked.append(request)

    @rule(request=st.sampled_from((Stop(), Halt())))
    def send_urgent(self, request: Stop | Halt) -> None:
        self.host.send_urgent(request)
        self.asked.append(request)

    @rule(how=DAMAGE, where=WHERE, late=st.booleans())
    def downward(self, how: str, where: int, late: bool) -> None:
        """The host's bytes go down, now or together with the next ones."""
        self.down = (self.down + self.host.take(self.now))[-WIRE_BYTES:]
        if not late:
            for chunk in damaged(self.down, how, where):
                self.board.link.receive(chunk, self.now)
            self.down = b""
            self.board.work()

    @rule(how=DAMAGE | st.just("again"), where=WHERE, late=st.booleans())
    def upward(self, how: str, where: int, late: bool) -> None:
        """The board's bytes come up, now or later; "again" means now, and repeated later."""
        self.up = (self.up + self.board.link.take())[-WIRE_BYTES:]
        if not late:
            for chunk in damaged(self.up, "none" if how == "again" else how, where):
                self.host.receive(chunk, self.now)
            self.up = self.up if how == "again" else b""

    @rule(down=DAMAGE, up=DAMAGE | st.just("again"), where=WHERE)
    def there_and_back(self, down: str, up: str, where: int) -> None:
        self.downward(down, where, late=False)
        self.upward(up, where, late=False)
        self.host_looks()
        self.time_passes(early=False)

    @rule()
    def host_looks(self) -> None:
        self.look(list(events_of(self.host)))

    @rule(early=st.booleans())
    def time_passes(self, early: bool) -> None:
        deadline = self.host.next_deadline()
        if deadline is not None:
            self.now = Nanos(max(self.now, deadline - early))
        was_idle = self.host.idle
        self.host.handle_deadline(self.now)
        if self.host.idle and not was_idle:
            self.asked.append(None)

    @rule()
    def nobody_hears(self) -> None:
        for _ in range(TRIES + 1):
            self.downward("drop", 0, late=False)
            self.time_passes(early=False)

    @rule()
    def board_restarts(self) -> None:
        self.delivered_before += self.board.delivered
        self.board = Board(BootId(self.board.boot_id + 1))

    def look(self, events: list[LinkEvent]) -> None:
        for event in events:
            if isinstance(event, Answered | Abandoned):
                # every request ends once, in the order of the requests
                assert self.asked.pop(0) == event.request
                if isinstance(event, Answered) and isinstance(event.request, Move):
                    assert event.request in self.board.delivered + self.delivered_before
            elif isinstance(event, Silent):
                while self.asked.pop(0) is not None:
                    pass
            elif isinstance(event, Noticed):
                assert isinstance(event.message, Finished)
            else:
                assert isinstance(event, Restarted)

    @invariant()
    def each_command_once_and_in_order(self) -> None:
        numbers = [r.command_id for r in self.board.delivered if isinstance(r, Move)]
        assert numbers == sorted(set(numbers))
        assert all(1 <= number <= self.command for number in numbers)

    @invariant()
    def buffers_are_bounded(self) -> None:
        assert len(self.host._queue) <= QUEUE_LIMIT
        assert len(self.board.link._inbox) <= INBOX_FRAMES
        assert len(self.board.link._outbox) <= OUTBOX_FRAMES
        for link in (self.host, self.board.link):
            assert len(link._inbox._deframer._tail) <= MAX_ENCODED

    def teardown(self) -> None:
        """The damage stops: whatever has happened, the conversation continues."""
        self.host_looks()
        for _ in range(4 * TRIES * (QUEUE_LIMIT + 2)):
            self.look(exchange(self.host, self.board, self.now))
            self.time_passes(early=False)
            if self.host.idle and self.host.down:
                self.host_looks()
                self.greet()
            elif self.host.idle:
                break
        assert self.host.idle
        assert not self.host.down
        assert self.asked == []


TestBadWire = BadWire.TestCase
TestBadWire.settings = settings(max_examples=400, stateful_step_count=60, deadline=None)


def test_a_command_whose_reply_is_lost_is_carried_out_once() -> None:
    host, board = HostLink(retry_ns=RETRY_NS, tries=TRIES), Board()
    host.send(hello(1))
    exchange(host, board, Nanos(0))
    host.send(move(1))
    assert exchange(host, board, Nanos(0), up=cut) == []
    for now in (Nanos(50), Nanos(100)):
        host.handle_deadline(now)
        assert exchange(host, board, now, up=cut) == []
    host.handle_deadline(Nanos(150))
    answered = exchange(host, board, Nanos(150))
    assert [type(event) for event in answered] == [Answered]
    assert board.delivered == [hello(1), move(1)]
    assert board.link.statistics.retransmitted == 3


def test_a_welcome_from_an_earlier_conversation_is_not_taken() -> None:
    board, first = Board(), HostLink(retry_ns=RETRY_NS, tries=TRIES)
    first.send(hello(1))
    board.link.receive(first.take(Nanos(0)), Nanos(0))
    board.work()
    late = board.link.take()
    second = HostLink(retry_ns=RETRY_NS, tries=TRIES)  # the program was restarted and counts from 0 again
    second.send(hello(2))
    wire = second.take(Nanos(1))
    second.receive(late, Nanos(1))
    assert second.next_event() is None
    board.link.receive(wire, Nanos(1))
    board.work()
    second.receive(board.link.take(), Nanos(1))
    event = second.next_event()
    assert isinstance(event, Answered)
    assert isinstance(event.reply, Welcome)
    assert event.reply.nonce == 2
