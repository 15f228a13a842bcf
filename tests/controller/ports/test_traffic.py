"""Decoding the bytes on a line."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.ports.traffic import SHOWN_BYTES, Heard, Traffic
from protocol.codec import FROM_BOARD_BIT, encode_message, frame_of
from protocol.framing import KINDS, LEAD, Deframer, encode_frame
from protocol.messages import Booted, Cause, GetStatus, Message, Move
from protocol.units import BootId, CommandId, Steps
from tests.protocol.golden import EXCHANGE, REJECTED
from tests.protocol.strategies import MESSAGES, PAYLOADS, SEQS

PIECES = st.one_of(
    st.binary(max_size=90),
    st.binary(min_size=1, max_size=60).map(lambda data: LEAD + data + b"\0"),
    st.builds(encode_frame, st.sampled_from(sorted(KINDS)), SEQS, PAYLOADS),
    st.lists(st.integers(0, 3), max_size=60).map(bytes),
)


def heard(*chunks: bytes) -> tuple[Traffic, list[Heard]]:
    traffic = Traffic()
    found = [one for at, chunk in enumerate(chunks) for one in traffic.feed(chunk, float(at))]
    return traffic, [*found, *traffic.close()]


def test_the_worked_exchange_of_the_specification() -> None:
    traffic, found = heard(b"".join(frame_of(message, seq) for _, seq, message in EXCHANGE))
    assert [(one.speaker, one.seq, one.name) for one in found] == [
        (speaker, seq, type(message).__name__) for speaker, seq, message in EXCHANGE
    ]
    lines = [one.line() for one in found]
    assert lines[0] == "     0.000  board  seq   0  Booted(boot_id=5eed0b07, cause=POWER_ON)"
    assert "     0.000  host   seq   7  Move(command_id=6, pan_steps=1200, tilt_steps=-300)" in lines
    shares = "delay_1_ms=0, share_1=19056, delay_2_ms=63, share_2=32567, delay_3_ms=125, share_3=13913, delay_4_ms=0"
    assert any(
        line.startswith(f"     0.000  host   seq   3  SetShaper(command_id=3, axis=PAN, {shares}") for line in lines
    )
    assert "damaged runs: 0" in traffic.summary.sentence()
    assert traffic.summary.host.total() + traffic.summary.board.total() == len(EXCHANGE)


@given(MESSAGES, SEQS)
def test_every_message_by_its_name_from_its_end(message: Message, seq: int) -> None:
    _, (one,) = heard(frame_of(message, seq))
    from_board = encode_message(message)[0] & FROM_BOARD_BIT
    assert (one.speaker, one.name, one.seq, one.trouble) == (
        "board" if from_board else "host",
        type(message).__name__,
        seq,
        "",
    )
    assert json.loads(json.dumps(one.as_json()))["values"] == one.values


@given(st.lists(PIECES, max_size=8), st.data())
def test_counts_and_finds_what_the_link_does_in_any_chunks(pieces: list[bytes], data: st.DataObject) -> None:
    whole = b"".join(pieces)
    judge = Deframer()
    frames = judge.feed(whole)
    cut = data.draw(st.integers(0, len(whole)))
    for chunks in ([whole], [whole[:cut], whole[cut:]], [whole[at : at + 1] for at in range(len(whole))]):
        traffic, found = heard(*chunks)
        good = [one for one in found if one.seq is not None]
        assert [(one.seq, one.data) for one in good] == [(frame.seq, frame.payload) for frame in frames]
        open_ended = sum(one.trouble == "not ended" for one in found)
        assert open_ended <= 1
        ended = traffic.summary.damaged.total() - open_ended
        # The link counts a run that is too long or has no lead at its beginning, this one at its end.
        assert judge.counters.damaged - open_ended <= ended <= judge.counters.damaged
        assert traffic.summary.read_bytes == len(whole)


@pytest.mark.parametrize(("name", "wire", "counter"), REJECTED)
def test_a_damaged_run_is_shown_as_hex_with_what_is_wrong(name: str, wire: bytes, counter: str) -> None:
    del name
    words = {
        "bad_cobs": "does not unstuff",
        "bad_crc": "wrong check",
        "bad_head": "wrong length or kind",
        "oversize": "longer than any frame",
        "unled": "fewer than three zeros",
    }
    traffic, (one,) = heard(wire)
    assert one.seq is None
    assert one.trouble.startswith(words[counter])
    assert one.data == wire.strip(b"\0")[:SHOWN_BYTES]
    assert one.data.hex(" ") in one.line()
    assert traffic.summary.damaged.total() == 1


def test_a_run_without_end_takes_no_room() -> None:
    traffic, found = heard(*[b"\x55" * 1000] * 50, b"\0", frame_of(GetStatus(), 3))
    assert [one.name for one in found] == ["", "GetStatus"]
    assert len(found[0].data) == SHOWN_BYTES
    assert f"({50_000 - SHOWN_BYTES} more bytes)" in found[0].line()
    assert traffic.summary.read_bytes == 50_000 + 1 + len(frame_of(GetStatus(), 3))


@pytest.mark.parametrize("kind", [0x7E, 0xFF])
def test_a_kind_of_a_later_version_is_shown_by_its_number(kind: int) -> None:
    _, (one,) = heard(encode_frame(kind, 7, b"\x01\x02"))
    assert one.name == f"kind {kind:02X}"
    assert "unknown" in one.line()
    assert "01 02" in one.line()
    assert one.speaker == ("board" if kind & FROM_BOARD_BIT else "host")


def test_what_has_not_ended_is_shown_at_the_end() -> None:
    _, found = heard(
        frame_of(Booted(BootId(7), Cause.WATCHDOG), 0) + frame_of(Move(CommandId(1), Steps(0), Steps(9)), 2)[:9]
    )
    assert found[0].values["cause"] == "WATCHDOG"
    assert found[1].trouble == "not ended"
    assert found[1].line().startswith(f"{'-':>10}  ?")
