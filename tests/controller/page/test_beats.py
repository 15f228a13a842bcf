"""How old what a browser sends is at most, whatever held it up on the way."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.page.beats import AHEAD_NS, LATE_NS, Beats
from controller.page.head_desk import LATE, HeadRequest, stamped
from controller.page.messages import LeaseSent, StopSent
from protocol.units import MS, NS

delays = st.integers(0, 2000)


@given(down_ms=delays, since_ms=delays, up_ms=delays)
def test_a_touch_counts_only_if_it_is_certainly_fresh(down_ms: int, since_ms: int, up_ms: int) -> None:
    """A beat takes `down_ms` to the browser, which touches `since_ms` later; that takes `up_ms` to the page."""
    beats, sent_ns = Beats(), 7 * NS
    beat = beats.new(sent_ns)
    touched_ns = sent_ns + (down_ms + since_ms) * MS
    now_ns = touched_ns + up_ms * MS
    done_ns = beats.done_ns(beat, since_ms, now_ns)
    if up_ms * MS > LATE_NS:
        assert done_ns is None
    if (down_ms + up_ms) * MS <= LATE_NS:
        assert done_ns is not None
    if done_ns is not None:
        assert now_ns - LATE_NS <= done_ns <= touched_ns


def test_an_unknown_beat_and_a_clock_that_runs_ahead_are_refused() -> None:
    beats = Beats()
    beat = beats.new(0)
    assert beats.done_ns(beat + 1, 0, 0) is None
    assert beats.done_ns(beat, 100, 100 * MS - AHEAD_NS) == 100 * MS - AHEAD_NS
    assert beats.done_ns(beat, 100, 100 * MS - AHEAD_NS - 1) is None
    for _ in range(1000):
        beats.new(1)
    assert beats.done_ns(beat, 0, 1) is None


def requested(message: dict[str, Any], beat: int = 1, since_ms: float = 0) -> HeadRequest:
    text = json.dumps({"talk": 1, "beat": beat, "since_ms": since_ms, "message": message})
    return HeadRequest.model_validate_json(text)


LEASE = {"press": 1, "number": 1, "pan": 1, "tilt": 0, "speed": 0}


def test_what_moves_is_refused_if_late_and_what_stops_never_is() -> None:
    beats = Beats()
    beats.new(NS)
    fresh = stamped(requested({"lease": LEASE}), beats, NS + LATE_NS)
    assert isinstance(fresh, LeaseSent)
    assert fresh.value.renewed_ns == NS
    for message in ({"lease": LEASE}, {"do": "zero"}, {"answer": 1, "yes": True}):
        with pytest.raises(InputError, match=LATE):
            stamped(requested(message), beats, 60 * NS)
    assert stamped(requested({"stop": True}), beats, 60 * NS) == StopSent(stop=True)
    stamped(requested({"release": 1}), beats, 60 * NS)
    stamped(requested({"halt": True}, beat=99), beats, 60 * NS)


@pytest.mark.parametrize(
    "message",
    [
        {"here": 10**18},
        {"lease": LEASE | {"renewed_ns": 1, "more": 2}},
        {"lease": "all"},
        {"lease": LEASE | {"press": 0}},
        {"do": "jump"},
        {"stop": False},
        {"answer": 1, "yes": "yes"},
        {},
    ],
)
def test_what_is_none_of_the_messages_is_refused(message: dict[str, Any]) -> None:
    beats = Beats()
    beats.new(NS)
    with pytest.raises(InputError):
        stamped(requested(message), beats, NS)


def test_a_browser_cannot_say_itself_when_it_touched() -> None:
    beats = Beats()
    beats.new(NS)
    sent = stamped(requested({"lease": LEASE | {"renewed_ns": 99 * NS}}), beats, NS)
    assert isinstance(sent, LeaseSent)
    assert sent.value.renewed_ns == NS
