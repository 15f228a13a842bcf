"""The lines between the page and the child: what is written is read back, and rubbish is refused."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.page.messages import (
    LONGEST_LINE,
    AskedAloud,
    FromChild,
    PlaceTold,
    Rung,
    Said,
    ShownPlace,
    TalkEnded,
    WithdrawnQuestion,
    as_line,
    message_from_child,
    message_to_child,
)
from controller.page.pipes import UNREAD_BYTES, PipeEnds

OUT: list[FromChild] = [
    Said(say="Zero is found.\n“Here”"),
    Rung(),
    AskedAloud(ask="Is all clear?", number=3, kind="yesno"),
    WithdrawnQuestion(withdraw=3),
    PlaceTold(place=ShownPlace(yaw_deg=-0.5, pitch_deg=12.25, pan_steps=-160, tilt_steps=3920, known=True)),
    TalkEnded(end="Done.", status=0),
]
IN: tuple[bytes, ...] = (
    b'{"answer": 1, "yes": true}',
    b'{"answer": 2, "text": "12.5"}',
    b'{"lease": {"press": 1, "number": 2, "pan": 1, "tilt": 0, "speed": 0, "renewed_ns": 5}}',
    b'{"release": 1}',
    b'{"stop": true}',
    b'{"halt": true}',
    b'{"here": 5}',
    b'{"do": "zero", "sent_ns": 5}',
    b'{"do": "step", "pan": 0, "tilt": -1, "size": 3, "sent_ns": 5}',
    b'{"do": "pose", "yaw_deg": 10, "pitch_deg": -5.5, "sent_ns": 5}',
)


@pytest.mark.parametrize("message", OUT, ids=lambda message: type(message).__name__)
def test_what_the_child_says_is_read_back(message: FromChild) -> None:
    line = as_line(message)
    assert line.count(b"\n") == 1
    assert message_from_child(line) == message
    with pytest.raises(InputError):
        message_to_child(line)


def test_what_the_page_says_is_read_back() -> None:
    found = [message_to_child(line) for line in IN]
    assert len({type(message) for message in found}) == len(IN) - 1
    assert [message_to_child(as_line(message)) for message in found] == found


@given(st.one_of(st.binary(max_size=60), st.sampled_from(IN).flatmap(lambda line: st.just(line[:-1] + b', "more": 1}'))))
def test_rubbish_is_refused_in_a_sentence(line: bytes) -> None:
    for read in (message_to_child, message_from_child):
        with pytest.raises(InputError, match=r"dropped\. It was not understood"):
            read(line)


@pytest.mark.parametrize("number", [b"NaN", b"1e999", b"-1", b"1.5", b'"1"', b"true", b"null", b"9" * 40])
def test_a_time_is_a_whole_number_of_a_sound_size(number: bytes) -> None:
    with pytest.raises(InputError):
        message_to_child(b'{"here": ' + number + b"}")


def test_lines_come_whole_however_they_arrive_and_the_end_is_noticed() -> None:
    (there, to), (back, here) = os.pipe(), os.pipe()
    ends = PipeEnds(there, here)
    os.write(to, b'{"stop"')
    assert ends.read_lines() == []
    os.write(to, b': true}\n{"here": 1}\n{')
    assert ends.read_lines() == [b'{"stop": true}', b'{"here": 1}']
    ends.write(b"line\n")
    assert os.read(back, 100) == b"line\n"
    os.close(to)
    assert ends.read_lines() == []
    assert ends.gone
    for descriptor in (there, back, here):
        os.close(descriptor)


def test_a_page_that_does_not_read_or_sends_without_end_counts_as_gone() -> None:
    (there, to), (back, here) = os.pipe(), os.pipe()
    ends = PipeEnds(there, here)
    for _ in range(2 * UNREAD_BYTES // 1000):
        ends.write(b"x" * 1000)  # never waits
    assert ends.gone
    other = PipeEnds(there, here)
    os.write(to, b"x" * (LONGEST_LINE + 1))
    assert other.read_lines() == []
    assert other.gone
    for descriptor in (there, to, back, here):
        os.close(descriptor)


def test_a_page_that_closed_its_end_counts_as_gone() -> None:
    (there, to), (back, here) = os.pipe(), os.pipe()
    ends = PipeEnds(there, here)
    os.close(back)
    ends.write(b"line\n")
    assert ends.gone
    for descriptor in (there, to, here):
        os.close(descriptor)
