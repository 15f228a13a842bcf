"""The host's end, as short stories with literal times."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.codec import frame_of
from protocol.errors import WrongUse
from protocol.framing import LEAD, CheckedFrame, Deframer
from protocol.host_link import (
    EVENTS,
    INBOX_FRAMES,
    Abandoned,
    Answered,
    HostLink,
    Noticed,
    Restarted,
    Silent,
)
from protocol.messages import (
    Accepted,
    Booted,
    Cause,
    GetStatus,
    Halt,
    Held,
    Message,
    Reason,
    Refused,
    Status,
    Stop,
)
from protocol.units import BootId, Nanos, Steps
from tests.protocol.bad_wire import RETRY_NS, TRIES, Board, events_of, exchange, hello, move, status, welcome

BOOT = BootId(7)
T0 = Nanos(1000)


def fresh() -> HostLink:
    return HostLink(retry_ns=RETRY_NS, tries=TRIES)


def greeted() -> HostLink:
    """A link that has sent Hello (seq 0) and got its Welcome."""
    link = fresh()
    link.send(hello(1))
    link.take(T0)
    link.receive(frame_of(welcome(1, BOOT), 0), T0)
    assert list(events_of(link)) == [Answered(hello(1), welcome(1, BOOT))]
    return link


def hear(link: HostLink, message: Message, seq: int, now: Nanos = T0) -> None:
    link.receive(frame_of(message, seq), now)


def sent(link: HostLink, now: Nanos) -> list[CheckedFrame]:
    return Deframer().feed(link.take(now))


def test_starts_down_and_opens_with_hello() -> None:
    link = fresh()
    assert link.down
    assert link.idle
    with pytest.raises(WrongUse):
        link.send(GetStatus())
    link.send(hello(1))
    assert not link.down
    assert not link.idle
    link.send(GetStatus())


def test_one_request_at_a_time_in_order() -> None:
    link, board = greeted(), Board()
    requests = [move(n) for n in range(1, 6)]
    for request in requests:
        link.send(request)
    for number, request in enumerate(requests, start=1):
        assert board.delivered == requests[: number - 1]
        answered, noticed = exchange(link, board, T0)
        assert answered == Answered(request, Accepted())
        assert isinstance(noticed, Noticed)
    assert link.idle
    assert link.take(T0) == b""


def test_seq_counts_modulo_256() -> None:
    link, board = fresh(), Board()
    seen = []
    link.send(hello(1))
    for number in range(300):
        (frame,) = sent(link, T0)
        seen.append(frame.seq)
        board.link.receive(frame_of(move(number) if number else hello(1), frame.seq), T0)
        board.work()
        link.receive(board.link.take(), T0)
        assert any(isinstance(event, Answered) for event in events_of(link))
        link.send(move(number + 1))
    assert seen == [number % 256 for number in range(300)]
    assert sent(HostLinkFrom(200), T0)[0].seq == 200


def HostLinkFrom(first_seq: int) -> HostLink:  # noqa: N802
    link = HostLink(retry_ns=RETRY_NS, tries=TRIES, first_seq=first_seq)
    link.send(hello(1))
    return link


def test_retry_repeats_the_bytes() -> None:
    link = greeted()
    link.send(move(1))
    assert link.next_deadline() is None  # nothing is on the wire yet
    first = link.take(T0)
    assert first
    assert link.take(T0) == b""
    assert link.next_deadline() == T0 + RETRY_NS
    link.handle_deadline(Nanos(T0 + RETRY_NS - 1))  # a timer that fires slightly early does nothing
    assert link.take(T0) == b""
    later = Nanos(T0 + RETRY_NS)
    link.handle_deadline(later)
    assert link.next_deadline() is None
    assert link.take(later) == first
    assert link.next_deadline() == later + RETRY_NS
    assert (link.statistics.sent, link.statistics.retransmitted) == (3, 1)


def test_silence_after_all_tries() -> None:
    link = greeted()
    link.send(move(1))
    link.send(move(2))
    now = T0
    frames = []
    while not link.down:
        frames.append(link.take(now))
        now = Nanos(now + RETRY_NS)
        link.handle_deadline(now)
    assert len(frames) == TRIES
    assert len(set(frames)) == 1
    assert list(events_of(link)) == [Silent()]
    assert link.idle
    assert link.next_deadline() is None
    assert link.take(now) == b""
    with pytest.raises(WrongUse):
        link.send(move(3))
    link.send(hello(2))
    hear(link, Accepted(), 1, now)  # the answer to the abandoned request
    (frame,) = sent(link, now)
    hear(link, welcome(2, BOOT), frame.seq, now)
    assert list(events_of(link)) == [Answered(hello(2), welcome(2, BOOT))]


def test_late_and_double_replies_are_dropped() -> None:
    link = greeted()
    link.send(move(1))
    link.take(T0)
    for seq in (0, 2, 255):
        hear(link, Accepted(), seq)
        assert list(events_of(link)) == []
    hear(link, Accepted(), 1)
    hear(link, Accepted(), 1)
    assert list(events_of(link)) == [Answered(move(1), Accepted())]
    assert link.statistics.dropped == 4


def test_a_reply_before_the_request_was_taken_is_dropped() -> None:
    link = greeted()
    link.send(move(1))
    hear(link, Accepted(), 1)
    assert list(events_of(link)) == []
    assert sent(link, T0)


def test_a_reply_of_the_wrong_sort_is_dropped() -> None:
    link = greeted()
    for request, wrong, right in (
        (move(1), status(BOOT), Accepted()),
        (GetStatus(), Accepted(), status(BOOT)),
        (hello(5), welcome(4, BOOT), welcome(5, BOOT)),
        (hello(6), Accepted(), Refused(Reason.VERSION)),
    ):
        link.send(request)
        (frame,) = sent(link, T0)
        hear(link, wrong, frame.seq)
        assert list(events_of(link)) == []
        hear(link, right, frame.seq)
        assert list(events_of(link)) == [Answered(request, right)]


def test_stop_takes_the_place_of_everything() -> None:
    link = greeted()
    for number in (1, 2, 3):
        link.send(move(number))
    link.take(T0)
    link.send_urgent(Stop())
    (frame,) = sent(link, T0)
    assert frame == Deframer().feed(frame_of(Stop(), 2))[0]
    hear(link, Accepted(), 1)  # the move was accepted after all; its answer comes too late
    hear(link, Accepted(), 2)
    abandoned = [Abandoned(move(number)) for number in (1, 2, 3)]
    assert list(events_of(link)) == [*abandoned, Answered(Stop(), Accepted())]
    assert link.idle


def test_halt_overtakes_stop() -> None:
    link = greeted()
    link.send_urgent(Stop())
    link.take(T0)
    link.send_urgent(Halt())
    (frame,) = sent(link, T0)
    hear(link, Accepted(), frame.seq)
    assert list(events_of(link)) == [Abandoned(Stop()), Answered(Halt(), Accepted())]


def test_stop_goes_out_even_when_the_link_is_down() -> None:
    link = fresh()
    link.send_urgent(Stop())
    assert len(sent(link, T0)) == 1
    assert link.down


def test_stop_in_place_of_hello_leaves_the_link_down() -> None:
    link = fresh()
    link.send(hello(1))
    link.send(move(1))
    link.take(T0)
    link.send_urgent(Stop())
    assert link.down
    assert list(events_of(link)) == [Abandoned(hello(1)), Abandoned(move(1))]


def test_stop_is_retried_too() -> None:
    link = greeted()
    link.send_urgent(Stop())
    first = link.take(T0)
    link.handle_deadline(Nanos(T0 + RETRY_NS))
    assert link.take(Nanos(T0 + RETRY_NS)) == first


def test_another_boot_is_told_once() -> None:
    link, other = greeted(), BootId(8)
    assert link.boot_id == BOOT
    hear(link, Booted(other, Cause.POWER_ON), 0)
    assert list(events_of(link)) == [Restarted(other), Noticed(Booted(other, Cause.POWER_ON))]
    link.send(GetStatus())
    (frame,) = sent(link, T0)
    hear(link, status(other), frame.seq)
    assert list(events_of(link)) == [Answered(GetStatus(), status(other))]
    assert link.boot_id == other


def test_another_boot_shows_in_status_and_welcome() -> None:
    link = greeted()
    link.send(GetStatus())
    (frame,) = sent(link, T0)
    hear(link, status(BootId(8)), frame.seq)
    assert list(events_of(link)) == [Restarted(BootId(8)), Answered(GetStatus(), status(BootId(8)))]
    link.send(hello(2))
    (frame,) = sent(link, T0)
    hear(link, welcome(2, BootId(9)), frame.seq)
    assert list(events_of(link)) == [Restarted(BootId(9)), Answered(hello(2), welcome(2, BootId(9)))]


def test_boots_before_the_first_welcome_are_no_restart() -> None:
    link = fresh()
    hear(link, Booted(BOOT, Cause.POWER_ON), 0)
    assert list(events_of(link)) == [Noticed(Booted(BOOT, Cause.POWER_ON))]
    assert link.boot_id is None


def test_events_are_lazy_and_hold_back_the_deadline() -> None:
    link = greeted()
    link.send(move(1))
    link.send(move(2))
    link.take(T0)
    late = Nanos(T0 + 10 * RETRY_NS)
    hear(link, Accepted(), 1, late)
    assert link.next_deadline() is None
    link.handle_deadline(late)  # the reply has arrived, though unread: no repeat, no silence
    assert link.take(late) == b""
    assert link.next_event() == Answered(move(1), Accepted())
    assert len(sent(link, late)) == 1


def test_liveness_counts_what_was_received() -> None:
    link = fresh()
    assert link.last_heard is None
    link.send(hello(1))
    wire = link.take(T0)
    link.receive(wire, Nanos(2000))  # an echo
    link.receive(LEAD + b"garbage\0", Nanos(2001))
    assert link.last_heard is None
    hear(link, Accepted(), 77, Nanos(3000))  # useless, but a sign of life
    assert link.last_heard == 3000
    link.take(Nanos(4000))
    assert link.last_heard == 3000
    assert link.statistics.damaged == 1


def test_our_own_mistakes() -> None:
    for wrong in ({"retry_ns": Nanos(0), "tries": 1}, {"retry_ns": Nanos(1), "tries": 0}):
        with pytest.raises(WrongUse):
            HostLink(**wrong)  # type: ignore[arg-type]
    link = greeted()
    with pytest.raises(WrongUse):
        link.send(move(2**32))
    assert link.idle
    for number in range(16):
        link.send(move(number))
    with pytest.raises(WrongUse):
        link.send(move(17))


def test_a_mistake_in_hello_leaves_the_link_down() -> None:
    link = fresh()
    with pytest.raises(WrongUse):
        link.send(hello(2**32))
    assert link.down


def test_buffers_are_bounded() -> None:
    link = greeted()
    held = Held(Cause.STALL, Steps(1), Steps(2), 3)
    for _ in range(3 * INBOX_FRAMES):
        hear(link, held, 0)
    assert list(events_of(link)) == [Noticed(held)] * INBOX_FRAMES
    assert link.statistics.dropped == 2 * INBOX_FRAMES
    for _ in range(2 * EVENTS):
        link.send_urgent(Stop())
        link.take(T0)
    assert len(list(events_of(link))) == EVENTS


def test_a_frame_that_means_nothing_is_dropped() -> None:
    link = greeted()
    link.receive(bytes.fromhex("00") + frame_of(Refused(Reason.BUSY), 0)[:-1] + b"\0", T0)
    wrong = bytearray(frame_of(Refused(Reason.BUSY), 0))
    wrong[4] ^= 1
    link.receive(bytes(wrong), T0)
    assert list(events_of(link)) == []
    assert link.statistics.damaged == 1
    assert link.statistics.dropped == 1


def test_statistics_are_a_snapshot() -> None:
    link = greeted()
    before = link.statistics
    hear(link, Accepted(), 9)
    assert before.received == 1
    assert link.statistics.received == 2
    with pytest.raises(FrozenInstanceError):
        before.sent = 0  # type: ignore[misc]


@given(st.lists(st.binary(max_size=80), max_size=10))
def test_garbage_never_raises(pieces: list[bytes]) -> None:
    link = greeted()
    link.send(GetStatus())
    link.take(T0)
    for piece in pieces:
        link.receive(piece, T0)
        list(events_of(link))
    hear(link, status(BOOT), 1)
    (event,) = [event for event in events_of(link) if isinstance(event, Answered)]
    assert isinstance(event.reply, Status)


def test_a_hello_is_said_for_as_long_as_a_board_may_take_to_start() -> None:
    link = HostLink(retry_ns=RETRY_NS, tries=2, hello_tries=5)
    link.send(hello(1))
    now, said = T0, 0
    while not link.down or said == 0 or link.next_deadline() is not None:
        said += bool(link.take(now))
        now = Nanos(now + RETRY_NS)
        link.handle_deadline(now)
    assert said == 5
    assert isinstance(link.next_event(), Silent)
