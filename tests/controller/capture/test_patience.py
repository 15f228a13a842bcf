"""How long a run tolerates trouble."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from controller.capture.patience import (
    FIRST_PAUSE_NS,
    LONGEST_PAUSE_NS,
    PATIENCE_NS,
    PATIENCE_WITH_NONSENSE_NS,
    Patience,
)

T = 1_000_000_000


def test_the_board_is_greeted_later_and_later_up_to_a_bound() -> None:
    patience = Patience()
    pauses = [patience.suspend(T, refused=False) - T]
    pauses += [patience.wait_longer(T) - T for _ in range(8)]
    assert pauses[0] == FIRST_PAUSE_NS
    assert pauses == sorted(pauses)
    assert all(later in {2 * sooner, LONGEST_PAUSE_NS} for sooner, later in pairwise(pauses))
    assert pauses[-1] == LONGEST_PAUSE_NS
    assert patience.suspend(T, refused=False) - T == FIRST_PAUSE_NS


@given(st.integers(0, 10**15), st.booleans())
def test_a_suspended_run_waits_for_its_patience_and_no_longer(at_ns: int, nonsense: bool) -> None:
    patience = Patience()
    assert not patience.waits_on(at_ns, nonsense=nonsense)
    patience.suspend(at_ns, refused=False)
    least_ns = PATIENCE_WITH_NONSENSE_NS if nonsense else PATIENCE_NS
    assert patience.waits_on(at_ns + least_ns - 1, nonsense=nonsense)
    assert not patience.waits_on(at_ns + least_ns, nonsense=nonsense)
    assert patience.suspended_ns(at_ns + 7) == 7
    patience.rest(at_ns, supply_low=False)
    assert patience.suspended_ns(at_ns + 7) == 0


def test_an_exposure_forgives_interruptions_and_refusals() -> None:
    patience = Patience()
    patience.suspend(T, refused=True)
    patience.suspend(T, refused=False)
    assert (patience.interruptions, patience.refusals) == (2, 1)
    patience.count_exposure()
    assert (patience.interruptions, patience.refusals) == (0, 0)


def test_a_low_supply_counts_from_when_it_was_found_first() -> None:
    patience = Patience()
    assert not patience.waits_for_supply(T)
    patience.rest(T, supply_low=True)
    patience.rest(9 * T, supply_low=True)
    assert patience.waits_for_supply(T + PATIENCE_NS - 1)
    assert not patience.waits_for_supply(T + PATIENCE_NS)
    patience.rest(9 * T, supply_low=False)
    assert not patience.waits_for_supply(10 * T)


def test_wind_lasts_when_it_outlasts_the_patience() -> None:
    patience = Patience(windy_since_ns=T)
    assert not patience.is_windy_too_long(T + PATIENCE_NS)
    assert patience.is_windy_too_long(T + PATIENCE_NS + 1)


def test_a_rest_ends_vain_greetings_until_the_run_is_suspended_again() -> None:
    patience = Patience(greetings=3)
    patience.rest(T, supply_low=False)
    assert (patience.greetings, patience.rested) == (0, True)
    patience.suspend(T, refused=False)
    assert not patience.rested
