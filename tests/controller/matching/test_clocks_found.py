"""The clocks that a card is tried with: the camera's own is among them, and fitted as well as its files allow."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.camera_clock import clocks_worth_trying, corrected_times_s, fitted_to, going_on
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, clocks_of, near_density
from controller.matching.pairing import pair_up
from tests.controller.matching.tick import near

DAY_S = 86_400.0


def run_of(count: int, every_s: float = 7.3, shutter_s: float = 0.25) -> list[ExposureStamp]:
    """A run whose exposures come irregularly enough to tell one from another."""
    random = np.random.default_rng(count)
    at_s = 1e6 + np.cumsum(every_s * random.uniform(0.6, 1.6, count))
    return [ExposureStamp(float(at), shutter_s) for at in at_s]


def shown(
    exposures: list[ExposureStamp],
    offset_s: float,
    *,
    drift: float = 0.0,
    late: int = 0,
    tick_s: float = 0.01,
    first: int = 1,
    scatter_s: float = 0.0,
) -> list[FileStamp]:
    """The files of all of them by a clock that showed `offset_s` at the first exposure."""
    random = np.random.default_rng(len(exposures))
    since = [one.at_s - exposures[0].at_s + late * one.shutter_s for one in exposures]
    true = [offset_s + t * (1 + drift) + random.normal(0, scatter_s) for t in since]
    ticks = [round(math.floor(t / tick_s + 1e-6) * tick_s, 3) for t in true]
    return [FileStamp(at, one.shutter_s, first + n) for n, (at, one) in enumerate(zip(ticks, exposures, strict=True))]


def closest(evidence: Evidence, offset_s: float) -> ClockFit:
    """Of all the clocks worth trying, the one nearest to a truth."""
    fits = [fit for fits in clocks_worth_trying(evidence) for fit in fits]
    return min(fits, key=lambda fit: abs(fit.offset_s - offset_s))


@settings(max_examples=25)
@given(
    st.integers(8, 60),
    st.floats(-40 * DAY_S, 40 * DAY_S),
    st.floats(-15, 15),
    st.sampled_from([0.01, 0.1, 1.0]),
)
def test_the_clock_of_a_sound_card_is_the_first(count: int, ahead_s: float, s_a_day: float, tick_s: float) -> None:
    exposures = run_of(count)
    offset_s = 2e6 + ahead_s
    evidence = evidence_of(shown(exposures, offset_s, drift=s_a_day / DAY_S, tick_s=tick_s), exposures)
    ways = clocks_worth_trying(evidence)
    assert len(ways) == 1  # shutter times that are all short do not tell the beginning from the end
    assert 1 <= len(ways[0]) <= 8
    first = ways[0][0]
    run_s = exposures[-1].at_s - exposures[0].at_s
    # Ticks scatter by tick / sqrt(12); the mean of n by sqrt(n) less; the scatter and drift at either end share the rest.
    assert first.offset_s == pytest.approx(offset_s, abs=0.02 + tick_s + 1e-4 * run_s)
    assert abs(first.drift) <= 2.5e-4
    assert first.spread_s <= 0.5
    apart = [abs(a.offset_s - b.offset_s) for n, a in enumerate(ways[0]) for b in ways[0][:n]]
    assert all(one > max(0.1, tick_s / 4) for one in apart)


@pytest.mark.parametrize("s_a_day", [-20.0, -8.0, 0.0, 8.0, 20.0])
@pytest.mark.parametrize("tick_s", [0.01, 1.0])
def test_a_nights_drift_is_in_the_clock(s_a_day: float, tick_s: float) -> None:
    """Over nine hours a drift shows to a twentieth of a second a hour, also by a clock of whole seconds."""
    exposures = run_of(120, every_s=270.0)
    evidence = evidence_of(shown(exposures, 5e6, drift=s_a_day / DAY_S, tick_s=tick_s), exposures)
    first = clocks_worth_trying(evidence)[0][0]
    assert first.drift * DAY_S == pytest.approx(s_a_day, abs=0.3 + 0.7 * tick_s)
    middle_s = (exposures[60].at_s - exposures[0].at_s) * (1 + first.drift) + first.offset_s
    true_s = 5e6 + (exposures[60].at_s - exposures[0].at_s) * (1 + s_a_day / DAY_S)
    assert middle_s == pytest.approx(true_s, abs=0.02 + tick_s / 4)


@pytest.mark.parametrize("late", [0, 1])
def test_long_exposures_tell_the_beginning_from_the_end(late: int) -> None:
    shutters = (0.5, 1.0, 8.0)
    exposures = [replace(one, shutter_s=shutters[n % 3]) for n, one in enumerate(run_of(45, 20.0))]
    evidence = evidence_of(shown(exposures, 7e6, late=late), exposures)
    first = clocks_worth_trying(evidence)[0][0]
    assert first.late == late
    assert first.offset_s == pytest.approx(7e6, abs=0.02)
    expected = first.expected_s(evidence)
    assert np.abs(evidence.at_s + 0.005 - expected).max() < 0.05


@pytest.mark.parametrize("by_s", [-3600.0, 7200.0, 900.0, -37.0, 12.0, 86_400.0])
@pytest.mark.parametrize("change", [6, 20, 34])
def test_a_clock_that_was_set_anew_is_there_before_and_after(by_s: float, change: int) -> None:
    exposures = run_of(40)
    files = shown(exposures, 3e6)
    files = [replace(file, at_s=round(file.at_s + by_s * (n >= change), 2)) for n, file in enumerate(files)]
    evidence = evidence_of(files, exposures)
    for offset_s in (3e6, 3e6 + by_s):
        assert closest(evidence, offset_s).offset_s == pytest.approx(offset_s, abs=0.1)


def test_what_explains_no_file_is_not_worth_trying() -> None:
    exposures = run_of(40)
    (fits,) = clocks_worth_trying(evidence_of(shown(exposures, 3e6), exposures))
    by_itself = [fit for fit in fits if abs(fit.offset_s - 3e6) > 100]
    assert by_itself == []


PAIRS = st.integers(40, 60)


@settings(max_examples=30)
@given(PAIRS, st.floats(-3, 3), st.floats(-20, 20), st.sampled_from([0.0, 0.02, 0.1]), st.sampled_from([0.01, 1.0]))
def test_a_clock_fitted_to_pairs_is_the_least_squares_line(
    count: int, off_s: float, s_a_day: float, scatter_s: float, tick_s: float
) -> None:
    """With a drift that is believed from what is usual, 10 s a day, as a prior (ridge regression)."""
    exposures = run_of(count, every_s=600.0)
    drift = s_a_day / DAY_S
    files = shown(exposures, 4e6 + off_s, drift=drift, tick_s=tick_s, scatter_s=scatter_s)
    evidence = evidence_of(files, exposures)
    everything = np.arange(count)
    found = fitted_to(evidence, ClockFit(4e6, 0.8 * drift, 0.5), everything, everything)
    since = np.array([one.at_s - exposures[0].at_s for one in exposures])
    at = np.array([file.at_s for file in files]) + tick_s / 2
    left = at - found.offset_s - since * (1 + found.drift)
    run_s = float(since[-1])
    assert abs(left.mean()) < 0.05 * max(tick_s, scatter_s, 0.05)  # nothing is left over but scatter
    error = (scatter_s + tick_s / math.sqrt(12)) * math.sqrt(12 / count) / run_s  # of a slope, by least squares
    assert abs(found.drift - drift) <= 4 * error + 2e-6
    assert 0.02 <= found.spread_s <= 0.5
    assert found.spread_s >= min(0.5, 0.7 * scatter_s)
    assert (found.late, found.turn) == (0, 0)


def test_pairs_that_are_far_off_do_not_bend_a_clock_and_few_do_not_make_one() -> None:
    exposures = run_of(30)
    files = shown(exposures, 4e6)
    files = [replace(file, at_s=file.at_s + 5.0 * (n in {7, 8, 20})) for n, file in enumerate(files)]
    evidence = evidence_of(files, exposures)
    everything = np.arange(30)
    found = fitted_to(evidence, ClockFit(4e6 - 0.05, 0.0, 0.1), everything, everything)
    assert found.offset_s == pytest.approx(4e6, abs=0.01)
    assert found.spread_s < 0.05
    start = ClockFit(4e6 - 0.05, 0.0, 0.1)
    assert fitted_to(evidence, start, everything[:2], everything[:2]) is start
    far = np.array([4, 5, 20])  # of which two are close to one another
    assert fitted_to(evidence, start, far, far) is start
    assert fitted_to(evidence, start, everything[:3], everything[:3]).offset_s == pytest.approx(4e6, abs=0.01)


@pytest.mark.parametrize("by_s", [-20.0, -7.0, 5.0, 21.0])
@pytest.mark.parametrize("change", [5, 15, 26])
def test_where_the_numbers_go_on_a_clock_is_found_that_nobody_tried(by_s: float, change: int) -> None:
    """Set anew by about the time between two exposures, later files look like those of other exposures."""
    exposures = run_of(30)
    files = shown(exposures, 4e6)
    files = [replace(file, at_s=round(file.at_s + by_s * (n >= change), 2)) for n, file in enumerate(files)]
    evidence = evidence_of(files, exposures)
    order = evidence.files
    partner = np.where(order < change, order, -1)
    more = going_on(evidence, [ClockFit(4e6, 0.0, 0.05)], partner, np.zeros(30, dtype=np.int64))
    assert 1 <= len(more) <= 6
    assert min(abs(fit.offset_s - (4e6 + by_s)) for fit in more) < 0.05
    # The same from the other end: the later part is known, and what came before it is not.
    partner = np.where(order >= change, order, -1)
    more = going_on(evidence, [ClockFit(4e6 + by_s, 0.0, 0.05)], partner, np.zeros(30, dtype=np.int64))
    assert min(abs(fit.offset_s - 4e6) for fit in more) < 0.05
    # Where all go by one clock there is nothing to be found.
    assert (
        going_on(evidence_of(shown(exposures, 4e6), exposures), [ClockFit(4e6, 0.0, 0.05)], np.arange(30), order * 0)
        == []
    )


@pytest.mark.parametrize("lost", [(4,), (9, 10, 11), (0, 29)])
def test_numbers_left_out_are_counted_when_they_go_on(lost: tuple[int, ...]) -> None:
    exposures = run_of(30)
    files = [
        replace(file, at_s=round(file.at_s + 9.0 * (n >= 15), 2))
        for n, file in enumerate(shown(exposures, 4e6))
        if n not in lost
    ]
    evidence = evidence_of(files, exposures)
    left = [n for n in range(30) if n not in lost]
    mine = np.array(left)[evidence.files]
    partner = np.where(mine < 15, mine, -1)
    more = going_on(evidence, [ClockFit(4e6, 0.0, 0.05)], partner, np.zeros(len(files), dtype=np.int64))
    assert min(abs(fit.offset_s - (4e6 + 9.0)) for fit in more) < 0.05


@pytest.mark.parametrize("by_s", [-3000.0, -700.0, 500.0])
def test_times_are_put_right_by_the_clock_of_the_files_around(by_s: float) -> None:
    exposures = run_of(40)
    files = shown(exposures, 4e6)
    files = [replace(file, at_s=round(file.at_s + by_s * (n >= 25), 2), number=None) for n, file in enumerate(files)]
    evidence = evidence_of(files, exposures)
    since = corrected_times_s(evidence, [ClockFit(4e6, 0.0, 0.05), ClockFit(4e6 + by_s, 0.0, 0.05)])
    true = np.array([one.at_s - exposures[0].at_s for one in exposures])
    assert np.abs(since - true).max() < 0.05


# Prices of setting a clock anew: a whole hour is likelier than another zone, and that than anything. Our own choice, no
# source; a zone is a quarter of an hour from another (tz database).
@given(st.floats(-90_000, 90_000), st.sampled_from([0.01, 1.0]), st.integers(-1, 1))
def test_what_a_change_of_the_clock_costs(by_s: float, tick_s: float, turn: int) -> None:
    clocks = clocks_of([ClockFit(0.0, 0.0, 0.1), ClockFit(by_s, 0.0, 0.1, turn=turn)], np.zeros(2), tick_s)
    near = 1.0 + tick_s

    def off(unit_s: float) -> float:
        return abs(abs(by_s) - round(abs(by_s) / unit_s) * unit_s)

    if abs(by_s) > near and min(abs(off(3600) - near), abs(off(900) - near)) > 1e-6:
        price = 1e-5 if off(3600) <= near else 3e-6 if off(900) <= near else 1e-6
        price *= 1e-4 if turn else 1.0
        assert math.exp(clocks.jumps[0, 1]) == pytest.approx(price)
    elif abs(by_s) < near - 1e-6:
        assert math.exp(clocks.jumps[1, 0]) == pytest.approx(1e-4 if turn else 1e-6)
    assert clocks.jumps.diagonal().tolist() == [0.0, 0.0]
    assert clocks.jumps[0, 1] == clocks.jumps[1, 0]


@given(st.floats(-30, 30), st.floats(0.02, 0.5), st.sampled_from([0.01, 0.1, 1.0]))
def test_the_density_of_a_tick_is_that_of_the_normal_distribution(apart_s: float, spread_s: float, tick_s: float) -> None:
    """The share of a normal distribution within the tick, a second: by erf (NIST DLMF 7.2.1), and it sums to one."""
    (found,) = near_density(np.array([apart_s]), spread_s, tick_s)
    assert found == pytest.approx(near(apart_s, spread_s, tick_s), rel=1e-6, abs=1e-12)
    ticks = np.arange(math.floor(-8 * spread_s / tick_s) - 1, 9 * spread_s / tick_s) * tick_s
    assert near_density(ticks, spread_s, tick_s).sum() * tick_s == pytest.approx(1.0, abs=1e-6)


def test_how_far_a_file_may_be_from_its_exposure() -> None:
    """Six times the scatter and a tick, and a second for what nobody knows."""
    assert ClockFit(0.0, 0.0, 0.25).gate_s(1.0) == 3.5
    evidence = evidence_of([FileStamp(0.0)], [ExposureStamp(100.0, 2.0), ExposureStamp(110.0, 4.0)])
    assert ClockFit(50.0, 0.5, 0.1).expected_s(evidence).tolist() == [50.0, 65.0]
    assert ClockFit(50.0, 0.5, 0.1, late=1).expected_s(evidence).tolist() == [53.0, 71.0]


@pytest.mark.parametrize("hours", [-14.0, -5.0, -0.5, 0.5, 3.0, 12.5, 14.0])
@pytest.mark.parametrize("end", ["first", "last"])
def test_two_files_are_enough_for_a_clock_of_another_zone(hours: float, end: str) -> None:
    """Zones are whole half hours but for a few, up to 14 hours from UTC (tz database)."""
    exposures = run_of(30)
    files = shown(exposures, 4e6)
    moved = {0, 1} if end == "first" else {28, 29}
    files = [replace(file, at_s=round(file.at_s + 3600 * hours * (n in moved), 2)) for n, file in enumerate(files)]
    evidence = evidence_of(files, exposures)
    assert closest(evidence, 4e6 + 3600 * hours).offset_s == pytest.approx(4e6 + 3600 * hours, abs=0.1)
    assert closest(evidence, 4e6).offset_s == pytest.approx(4e6, abs=0.1)


@pytest.mark.parametrize("foreign", [1, 5, 12])
def test_files_of_nobody_do_not_hide_the_clock(foreign: int) -> None:
    """They are kept as clocks that might be, and the one that most files go by comes first."""
    exposures = run_of(30)
    random = np.random.default_rng(foreign)
    files = shown(exposures, 4e6)
    extra = [FileStamp(round(4e6 + random.uniform(0, 200), 2), 0.25) for _ in range(foreign)]
    ways = clocks_worth_trying(evidence_of(sorted([*files, *extra], key=lambda one: one.at_s), exposures))
    assert ways[0][0].offset_s == pytest.approx(4e6, abs=0.05)
    assert ways[0][0].spread_s < 0.1


@pytest.mark.parametrize("lost", [0.1, 0.3, 0.5])
def test_a_clock_is_found_though_many_files_are_lost(lost: float) -> None:
    exposures = run_of(60)
    random = np.random.default_rng(7)
    files = [file for file in shown(exposures, 4e6) if random.random() > lost]
    assert clocks_worth_trying(evidence_of(files, exposures))[0][0].offset_s == pytest.approx(4e6, abs=0.05)


def test_a_run_without_files_at_its_times_has_clocks_all_the_same() -> None:
    """Of shutter times that no exposure has: something to weigh is always there."""
    evidence = evidence_of(
        [FileStamp(0.0, 30.0), FileStamp(9.0, 30.0)], [ExposureStamp(0.0, 0.01), ExposureStamp(9.0, 0.01)]
    )
    ways = clocks_worth_trying(evidence)
    assert ways
    assert all(ways)


@pytest.mark.parametrize("known", [0, 1, 2])
def test_clocks_one_after_another_are_found_from_wherever_the_files_are_known(known: int) -> None:
    """Set anew twice: before a third of the files, and before the last third."""
    exposures = run_of(36)
    by_s = (0.0, 9.0, -23.0)
    files = [replace(file, at_s=round(file.at_s + by_s[n // 12], 2)) for n, file in enumerate(shown(exposures, 4e6))]
    evidence = evidence_of(files, exposures)
    order = evidence.files
    partner = np.where(order // 12 == known, order, -1)
    more = going_on(evidence, [ClockFit(4e6 + by_s[known], 0.0, 0.05)], partner, np.zeros(36, dtype=np.int64))
    assert len(more) <= 6
    for other in {0, 1, 2} - {known}:
        assert min(abs(fit.offset_s - (4e6 + by_s[other])) for fit in more) < 0.05
    apart = [abs(a.offset_s - b.offset_s) for n, a in enumerate(more) for b in more[:n]]
    assert all(one > 0.1 for one in apart)


@pytest.mark.parametrize("last", [1, 2, 3])
def test_the_last_files_of_a_card_may_go_by_a_clock_of_their_own_however_few(last: int) -> None:
    exposures = run_of(30)
    change = 30 - last
    files = [
        replace(file, at_s=round(file.at_s + 9.0 * (n >= change), 2)) for n, file in enumerate(shown(exposures, 4e6))
    ]
    evidence = evidence_of(files, exposures)
    partner = np.where(evidence.files < change, evidence.files, -1)
    more = going_on(evidence, [ClockFit(4e6, 0.0, 0.05)], partner, np.zeros(30, dtype=np.int64))
    assert min(abs(fit.offset_s - (4e6 + 9.0)) for fit in more) < 0.05
    # The first ones too.
    files = [replace(file, at_s=round(file.at_s - 9.0 * (n < last), 2)) for n, file in enumerate(shown(exposures, 4e6))]
    evidence = evidence_of(files, exposures)
    partner = np.where(evidence.files >= last, evidence.files, -1)
    more = going_on(evidence, [ClockFit(4e6, 0.0, 0.05)], partner, np.zeros(30, dtype=np.int64))
    assert min(abs(fit.offset_s - (4e6 - 9.0)) for fit in more) < 0.05


def test_two_files_in_the_middle_are_too_few_for_a_clock_of_their_own() -> None:
    exposures = run_of(30)
    odd = {14, 15}
    files = [replace(file, at_s=round(file.at_s + 3.3 * (n in odd), 2)) for n, file in enumerate(shown(exposures, 4e6))]
    evidence = evidence_of(files, exposures)
    partner = np.where(np.isin(evidence.files, list(odd)), -1, evidence.files)
    more = going_on(evidence, [ClockFit(4e6, 0.0, 0.05)], partner, np.zeros(30, dtype=np.int64))
    assert all(abs(fit.offset_s - (4e6 + 3.3)) > 0.1 for fit in more)


@pytest.mark.parametrize(("changes", "sure"), [(0, True), (1, True), (2, True), (3, False)])
def test_a_clock_set_anew_more_than_twice_is_as_suspicious_as_scatter(changes: int, sure: bool) -> None:
    """Every pair is still right, and none is called sure."""
    exposures = run_of(60)
    hours = (0, 1, -2, 5)
    files = [
        replace(file, at_s=round(file.at_s + 3600.0 * hours[min(changes, n // 15)], 2))
        for n, file in enumerate(shown(exposures, 4e6))
    ]
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    assert len(found.changes()) == changes
    assert {match.sure for match in found.matches} == {sure}
    for number, (before, after, by_s) in enumerate(found.changes()):
        assert (before, after) == (15 * number + 14, 15 * number + 15)
        assert by_s == pytest.approx(3600.0 * (hours[number + 1] - hours[number]), abs=0.1)
    assert found.related
    assert not found.any_shutter
    assert found.order == tuple(range(60))
    assert found.fit.offset_s == pytest.approx(4e6, abs=0.05)
    expected = [at for at, file in zip(found.expected_s, files, strict=True) if abs(at - file.at_s) > 0.1]
    assert expected == []


@pytest.mark.parametrize(("number", "missing", "least"), [(31, True, 1e-3), (31, False, 0.0), (35, True, 0.0)])
def test_a_stray_file_whose_number_goes_on_is_in_doubt_if_an_exposure_is_missing(
    number: int, missing: bool, least: float
) -> None:
    """A clock set anew before it leaves too little to be found by."""
    exposures = run_of(30)
    files = [file for n, file in enumerate(shown(exposures, 4e6)) if n != 10 or not missing]
    stray = FileStamp(files[-1].at_s + 20_123.4, 0.25, number)
    found = pair_up([*files, stray], exposures)
    assert [match.exposure for match in found.matches[:-1]] == [n for n in range(30) if n != 10 or not missing]
    assert all(match.sure for match in found.matches[:-1])
    last = found.matches[-1]
    assert last.exposure is None
    assert last.doubt >= least
    assert last.sure is (least == 0)


@pytest.mark.parametrize(("missing", "least"), [(True, 0.01), (False, 0.0)])
def test_without_numbers_any_stray_file_is_in_doubt_if_an_exposure_is_missing(missing: bool, least: float) -> None:
    exposures = run_of(30)
    files = [replace(file, number=None) for n, file in enumerate(shown(exposures, 4e6)) if n != 10 or not missing]
    found = pair_up([*files, FileStamp(files[-1].at_s + 20_123.4, 0.25)], exposures)
    assert found.matches[-1].exposure is None
    assert found.matches[-1].doubt >= least
    assert found.matches[-1].sure is (least == 0)
