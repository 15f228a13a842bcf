"""The time limit of a search."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.planning.effort import TELL_EVERY_S, Effort, Sign, SpentError


class Clock:
    """A clock that advances on request."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def run(effort: Effort, clock: Clock, each_s: float) -> int:
    """The number of clock checks until the search must end."""
    looks = 0
    with suppress(SpentError):
        while looks < 100_000:
            effort.spend(9, 8)
            looks += 1
            clock.now_s += each_s
    return looks


@given(seconds=st.floats(0, 50), each_s=st.floats(0.01, 3))
def test_it_ends_within_one_look_of_its_time(seconds: float, each_s: float) -> None:
    clock = Clock()
    effort = Effort(seconds, clock)
    began_s = clock.now_s
    run(effort, clock, each_s)
    assert clock.now_s - began_s <= seconds + each_s + 1e-9
    assert not effort.cut_short


@given(shares=st.lists(st.floats(0.05, 1), min_size=1, max_size=5), each_s=st.floats(0.01, 1))
def test_parts_together_never_take_more_than_all(shares: list[float], each_s: float) -> None:
    clock = Clock()
    effort, began_s = Effort(20.0, clock), clock.now_s
    for share in shares:
        before_s = clock.now_s
        with effort.part(share):
            run(effort, clock, each_s)
        assert clock.now_s - before_s <= share * 20 + each_s + 1e-9
    assert clock.now_s - began_s <= 20 + each_s + 1e-9


def test_the_clock_starts_with_the_first_search() -> None:
    clock = Clock()
    effort = Effort(10.0, clock)
    clock.now_s += 500
    with effort.part(0.5):
        assert run(effort, clock, 1.0) == 5
    with effort.part(0.5):
        assert run(effort, clock, 1.0) == 5
    assert effort.elapsed_s == 10.0


def test_stopped_at_the_next_look_and_for_good() -> None:
    clock = Clock()
    effort = Effort(10.0, clock)
    effort.spend(9, 8)
    effort.stop()
    assert not effort.cut_short
    for _ in range(2):
        with pytest.raises(SpentError):
            effort.spend(9, 8)
    assert effort.cut_short


@given(each_s=st.floats(0.001, 0.4))
def test_signs_of_life_come_steadily(each_s: float) -> None:
    clock, signs = Clock(), list[Sign]()
    run(Effort(8.0, clock, signs.append), clock, each_s)
    times = [sign.elapsed_s for sign in signs]
    gaps = [later - earlier for earlier, later in zip([0.0, *times], [*times, 8.0], strict=True)]
    assert times[0] == 0.0
    assert max(gaps) <= TELL_EVERY_S + each_s + 1e-9
    assert {(sign.best, sign.trying, sign.effort_s) for sign in signs} == {(9, 8, 8.0)}
