"""The time of day of exposures from the best that a session knew of the clock."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from controller.session.clock import SURE, UNSURE, SessionClock
from controller.session.rows import ClockRow, Intent, Moment, RunReason, RunRow, ShotRow
from controller.system.clock_trust import MADE, ClockSigns, ClockTrust, trust_in
from protocol.units import NS

RIGHT, WRONG = datetime.fromisoformat("2026-06-21T05:00:00+00:00"), datetime.fromisoformat("1970-01-01T00:00:30+00:00")
SYNCHRONISED, KEPT, NOT, BAD = ClockTrust.SYNCHRONISED, ClockTrust.KEPT, ClockTrust.UNSURE, ClockTrust.WRONG


def row(run: int, at_s: float, utc: datetime, trust: ClockTrust, boot: str = "a") -> ClockRow:
    return ClockRow(run, round(at_s * NS), utc.isoformat(), trust, boot)


def run(first: int, at_s: float = 0.0, utc: datetime = WRONG) -> RunRow:
    return RunRow(first, RunReason.BEGUN, Moment(round(at_s * NS), utc.isoformat()))


def shot(number: int, at_s: float) -> ShotRow:
    return ShotRow(number, Intent(0, 0, 1, number, 0.0, 0.0, 0.1), round(at_s * NS), None, None, None)


def test_a_clock_that_is_set_right_later_dates_what_was_shot_before() -> None:
    clocks = [row(1, 0, WRONG, BAD), row(1, 600, RIGHT + timedelta(seconds=600), SYNCHRONISED)]
    clock = SessionClock([run(1)], 40.0, clocks)
    assert clock.opened(shot(1, 5.0)) == (RIGHT + timedelta(seconds=5.04)).isoformat(timespec="milliseconds")
    assert clock.words(1) == SURE
    assert not clock.is_unsure


def test_an_earlier_run_of_the_same_start_is_dated_by_a_later_one_but_not_one_before_a_power_cut() -> None:
    clocks = [
        row(1, 0, WRONG, BAD, "a"), row(2, 900, WRONG + timedelta(seconds=900), BAD, "b"),
        row(3, 2000, RIGHT, SYNCHRONISED, "b"),
    ]  # fmt: skip
    clock = SessionClock([run(1), run(11, 900), run(21, 2000, RIGHT)], 0.0, clocks)
    assert [clock.words(number) for number in (5, 15, 25)] == [UNSURE, SURE, SURE]
    assert clock.opened(shot(15, 1000)) == (RIGHT - timedelta(seconds=1000)).isoformat(timespec="milliseconds")
    assert clock.opened(shot(5, 10)) == (WRONG + timedelta(seconds=10)).isoformat(timespec="milliseconds")
    assert clock.is_unsure


@pytest.mark.parametrize(("by_s", "words"), [(0.0, SURE), (1.5, SURE), (3600.0, UNSURE), (-3600.0, UNSURE)])
def test_of_two_times_of_day_without_a_time_server_neither_is_sure(by_s: float, words: str) -> None:
    clocks = [row(1, 0, RIGHT, KEPT), row(1, 100, RIGHT + timedelta(seconds=100 + by_s), KEPT)]
    assert SessionClock([run(1)], 0.0, clocks).words(1) == words
    right = row(1, 200, RIGHT + timedelta(seconds=200), SYNCHRONISED)
    assert SessionClock([run(1)], 0.0, [*clocks, right]).words(1) == SURE


def test_a_session_of_an_older_version_says_nothing_of_its_clock() -> None:
    clock = SessionClock([run(1, 0, RIGHT)], 0.0)
    assert (clock.words(1), clock.is_unsure, clock.is_set) == ("", False, True)
    assert not SessionClock([RunRow(1, RunReason.BEGUN, None)], 0.0).is_set


@pytest.mark.parametrize(
    ("signs", "moment", "latest", "trust"),
    [
        ((True, False), RIGHT, None, SYNCHRONISED),
        ((False, True), RIGHT, None, KEPT),
        ((None, None), RIGHT, None, KEPT),  # systems that say nothing of it run on computers with a battery clock
        ((False, False), RIGHT, None, NOT),
        ((None, False), RIGHT, None, NOT),
        ((True, True), MADE - timedelta(seconds=1), None, BAD),
        ((False, True), RIGHT, RIGHT + timedelta(seconds=1), BAD),
        ((True, True), RIGHT, RIGHT + timedelta(seconds=1), SYNCHRONISED),  # the other was wrong
    ],
)
def test_how_far_a_time_of_day_can_be_believed(
    signs: tuple[bool | None, bool | None], moment: datetime, latest: datetime | None, trust: ClockTrust
) -> None:
    assert trust_in(ClockSigns(*signs), moment, latest) is trust


def test_trust_has_an_order() -> None:
    assert sorted(ClockTrust, key=lambda each: each.rank) == [BAD, NOT, KEPT, SYNCHRONISED]
    assert [each.is_sure for each in (BAD, NOT, KEPT, SYNCHRONISED)] == [False, False, True, True]
