"""A planned pause comes when it is due, once, and counts from the beginning after it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.events import EventKind
from controller.capture.planned_pauses import PauseRule, PlannedPauses
from controller.capture.states import RunState
from controller.session.rows import Happening
from protocol.units import NS


def now_in(state: RunState) -> Happening:
    return Happening(0, state.value, EventKind.WAITED.value, None)


@given(
    every_s=st.one_of(st.none(), st.floats(1, 1e5)),
    every_wh=st.one_of(st.none(), st.floats(0.1, 1e3)),
    watts=st.floats(0, 200),
    used_s=st.floats(0, 1e6),
)
def test_it_is_due_by_whichever_comes_first(
    every_s: float | None, every_wh: float | None, watts: float, used_s: float
) -> None:
    rule = PauseRule(every_s, every_wh, watts)
    expected = (every_s is not None and used_s >= every_s) or (every_wh is not None and watts * used_s / 3600 >= every_wh)
    assert rule.is_due(used_s) == expected


@given(waits_s=st.lists(st.floats(0.1, 500), min_size=1, max_size=60), every_s=st.floats(10, 300))
def test_pauses_come_once_each_and_never_early(waits_s: list[float], every_s: float) -> None:
    now_ns, said, went_on_ns, asked = 0, list[str](), 0, 0
    pauses = PlannedPauses(PauseRule(every_s), lambda: now_ns, said.append)
    for wait_s in waits_s:
        now_ns += round(wait_s * NS)
        request = pauses.next_request()
        assert (request is not None) == ((now_ns - went_on_ns) / NS >= every_s)
        if request is not None:
            assert request.kind is EventKind.PAUSE
            assert pauses.next_request() is None
            pauses.change(now_in(RunState.PAUSED))
            now_ns += 7 * NS
            pauses.change(now_in(RunState.WARNING))
            went_on_ns = now_ns
            asked += 1
    assert len(said) == asked
    assert all(sentence.startswith("Planned pause after ") for sentence in said)


def test_a_pause_by_hand_does_not_count_as_a_change_of_the_battery() -> None:
    now_ns = 0
    pauses = PlannedPauses(PauseRule(every_s=100.0), lambda: now_ns, lambda _: None)
    now_ns = 60 * NS
    pauses.change(now_in(RunState.PAUSED))
    pauses.change(now_in(RunState.WARNING))
    now_ns = 100 * NS
    assert pauses.next_request() is not None


@pytest.mark.parametrize(("watts", "text"), [(22.0, "10:00 and about 3.7 Wh"), (0.0, "10:00")])
def test_it_says_what_was_used(watts: float, text: str) -> None:
    assert PauseRule(every_s=600.0, watts=watts).used_text(600.0) == text


@given(every_s=st.floats(1, 1e4), passed_s=st.floats(0, 2e4))
def test_what_is_left_and_what_is_used_make_the_whole(every_s: float, passed_s: float) -> None:
    now_ns = 0
    pauses = PlannedPauses(PauseRule(every_s=every_s), lambda: now_ns, lambda _: None)
    now_ns = round(passed_s * NS)
    assert pauses.battery_s == pytest.approx(passed_s, abs=1e-6)
    assert pauses.pause_in_s == pytest.approx(max(0.0, every_s - passed_s), abs=1e-6)
    none = PlannedPauses(PauseRule(), lambda: now_ns, lambda _: None)
    assert (none.battery_s, none.pause_in_s) == (None, None)
