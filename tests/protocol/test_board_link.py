"""The board's end: each request is delivered once, and replied to as often as it is repeated."""

from __future__ import annotations

from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.board_link import INBOX_FRAMES, OUTBOX_FRAMES, BoardLink
from protocol.codec import decode_message, frame_of, kind_of
from protocol.errors import WrongUse
from protocol.framing import LEAD, Deframer, encode_frame
from protocol.messages import (
    Accepted,
    Booted,
    Cause,
    GetStatus,
    Message,
    Move,
    Notice,
    Reason,
    Refused,
    Reply,
    Request,
    SetAxis,
    Stop,
)
from protocol.units import BootId, Nanos, Seq
from tests.protocol.bad_wire import hello, move, status, welcome

T0 = Nanos(1000)
BOOT = BootId(7)


def ask(link: BoardLink, message: Message, seq: int, now: Nanos = T0) -> tuple[Seq, Request] | None:
    link.receive(frame_of(message, seq), now)
    return link.next_request()


def said(link: BoardLink) -> list[tuple[int, Message]]:
    return [(f.seq, decode_message(f.kind, f.payload)) for f in Deframer().feed(link.take())]


def test_a_request_is_delivered_and_answered() -> None:
    link = BoardLink()
    assert ask(link, move(1), 9) == (9, move(1))
    link.reply(Seq(9), Accepted())
    assert said(link) == [(9, Accepted())]
    assert link.take() == b""


def test_a_repeat_gets_the_same_bytes_and_is_not_delivered() -> None:
    link = BoardLink()
    assert ask(link, GetStatus(), 9) is not None
    link.reply(Seq(9), status(BOOT, clock_ms=5))
    first = link.take()
    for _ in range(3):
        assert ask(link, GetStatus(), 9) is None
        assert link.take() == first
    assert link.statistics.retransmitted == 3
    assert link.statistics.dropped == 3


def test_same_seq_with_other_content_is_new() -> None:
    link = BoardLink()
    for request in (move(1), move(2), Stop()):
        assert ask(link, request, 9) == (9, request)
        link.reply(Seq(9), Accepted())


def test_hello_is_always_delivered_and_forgets() -> None:
    link = BoardLink()
    assert ask(link, move(1), 0) is not None
    link.reply(Seq(0), Accepted())
    for reply in (welcome(3, BOOT), Refused(Reason.VERSION), welcome(3, BOOT)):
        assert ask(link, hello(3), 0) == (0, hello(3))
        link.reply(Seq(0), reply)
    assert ask(link, move(1), 0) == (0, move(1))  # a new host that happens to count from there


def test_requests_are_answered_one_by_one() -> None:
    link = BoardLink()
    link.receive(frame_of(move(1), 1) + frame_of(Stop(), 2), T0)
    assert link.next_request() == (1, move(1))
    with pytest.raises(WrongUse):
        link.next_request()
    for wrong in (0, 2):
        with pytest.raises(WrongUse):
            link.reply(Seq(wrong), Accepted())
    link.reply(Seq(1), Accepted())
    with pytest.raises(WrongUse):
        link.reply(Seq(1), Accepted())
    assert link.next_request() == (2, Stop())
    with pytest.raises(WrongUse):
        link.reply(Seq(2), cast("Reply", move(1)))
    link.reply(Seq(2), Accepted())
    assert link.next_request() is None


def test_what_it_does_not_understand_it_refuses_itself() -> None:
    link = BoardLink()
    unknown = encode_frame(0x7E, 4, b"abc")
    short = encode_frame(kind_of(Move), 5, b"abc")
    no_such_axis = encode_frame(kind_of(SetAxis), 6, bytes((0, 0, 0, 1, 2)) + bytes(16))
    link.receive(unknown + short + no_such_axis + frame_of(GetStatus(), 7), T0)
    assert link.next_request() == (7, GetStatus())
    assert said(link) == [
        (4, Refused(Reason.UNKNOWN_KIND)),
        (5, Refused(Reason.BAD_VALUE)),
        (6, Refused(Reason.BAD_VALUE)),
    ]


def test_its_own_echo_is_nothing() -> None:
    link = BoardLink()
    link.receive(frame_of(Accepted(), 1) + frame_of(Booted(BOOT, Cause.POWER_ON), 0), T0)
    assert link.next_request() is None
    assert link.take() == b""
    assert link.last_heard is None
    assert link.statistics.dropped == 2


def test_every_frame_of_a_host_is_a_sign_of_life() -> None:
    link = BoardLink()
    assert link.last_heard is None
    ask(link, GetStatus(), 1, Nanos(5))
    assert link.last_heard == 5
    link.reply(Seq(1), status(BOOT))
    ask(link, GetStatus(), 1, Nanos(6))  # a repeat too
    assert link.last_heard == 6
    link.receive(encode_frame(0x7E, 2, b""), Nanos(7))
    assert link.last_heard == 7
    link.receive(LEAD + b"noise\0", Nanos(8))
    assert link.last_heard == 7


def test_notices() -> None:
    link = BoardLink()
    link.notify(Booted(BOOT, Cause.POWER_ON))
    assert said(link) == [(0, Booted(BOOT, Cause.POWER_ON))]
    with pytest.raises(WrongUse):
        link.notify(cast("Notice", Accepted()))


def test_buffers_are_bounded() -> None:
    link = BoardLink()
    for number in range(3 * INBOX_FRAMES):
        link.receive(frame_of(move(number), number), T0)
    for number in range(INBOX_FRAMES):
        assert link.next_request() == (number, move(number))
        link.reply(Seq(number), Accepted())
    assert link.next_request() is None
    for _ in range(3 * OUTBOX_FRAMES):
        link.notify(Booted(BOOT, Cause.POWER_ON))
    assert len(said(link)) == OUTBOX_FRAMES
    assert link.statistics.sent == OUTBOX_FRAMES
    assert link.statistics.dropped == 2 * INBOX_FRAMES + INBOX_FRAMES + 2 * OUTBOX_FRAMES


@given(st.lists(st.binary(max_size=80), max_size=10))
def test_garbage_never_raises(pieces: list[bytes]) -> None:
    link = BoardLink()
    for piece in pieces:
        link.receive(piece, T0)
        while (item := link.next_request()) is not None:
            link.reply(item[0], Accepted())
    link.take()
    ask(link, Stop(), 200)
    link.reply(Seq(200), Accepted())
    assert said(link) == [(200, Accepted())]
