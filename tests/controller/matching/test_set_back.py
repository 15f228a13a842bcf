"""Clocks set back on cards whose names give no order: all possible ways count."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.alignment import believe
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, clocks_of
from controller.matching.pairing import pair_up
from controller.matching.rates import Rates
from controller.matching.set_back import Way, believed, ways_back
from tests.controller.matching.cards import KINDS, card_of
from tests.controller.matching.test_clocks_found import run_of, shown
from tests.controller.matching.test_pairing import wrong


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 10_000), st.floats(2, 60), st.floats(0.1, 0.9), st.booleans())
def test_no_pair_is_wrong_and_sure_whatever_the_clock_was_set_back_by(
    seed: int, by_s: float, where: float, whole: bool
) -> None:
    one = card_of(KINDS["sound, whole seconds" if whole else "sound, fractions"], seed, 12)
    change = int(where * len(one.files))
    moved = [
        replace(file, at_s=file.at_s - (n >= change) * (float(round(by_s)) if whole else by_s), number=None)
        for n, file in enumerate(one.files)
    ]
    pairing = pair_up(moved, one.exposures)
    assert not [match for match in wrong(pairing.matches, one.truth) if match.sure]
    chosen = [pairing.matches[file].exposure for file in pairing.order]
    given_out = [exposure for exposure in chosen if exposure is not None]
    assert given_out == sorted(set(given_out))  # in the order of shooting


def test_of_two_changes_that_explain_a_card_neither_is_sure() -> None:
    """One every 7 s, with the last 14 s early; or the last two 7 s early."""
    exposures = [ExposureStamp(7.0 * n, 0.1) for n in range(16)]
    files = [FileStamp(e.at_s + 900.0 - 14.0 * (n == 15)) for n, e in enumerate(exposures)]
    matches = pair_up(files, exposures).matches
    assert not any(match.sure for match in matches[13:])


def test_files_that_came_between_others_are_told_by_the_fractions_of_their_seconds() -> None:
    one = card_of(KINDS["sound, fractions"], 21, 30)
    change = len(one.files) - 20
    moved = [replace(f, at_s=f.at_s - 9.3 * (n >= change), number=None) for n, f in enumerate(one.files)]
    pairing = pair_up(moved, one.exposures)
    assert not wrong(pairing.matches, one.truth)
    assert not any(match.sure for match in pairing.matches)  # this would need names
    ((before, after, by_s),) = pairing.changes()
    assert (before, after) == (change - 1, change)
    assert by_s == pytest.approx(-9.3, abs=0.1)


@pytest.mark.parametrize("early", [False, True])
def test_exposures_of_either_side_shown_at_one_moment_may_have_changed_places(early: bool) -> None:
    """Two files 10 ms apart by a clock with a scatter of 50 ms, the others far apart."""
    planned = [0.0, 5.0, 11.0, 18.0, 26.0]
    shown = [0.0, 5.0, 11.0, 18.0, 10.99]
    exposures = [ExposureStamp(at, 0.1) for at in planned]
    evidence = evidence_of([FileStamp(at) for at in shown], exposures)
    fit = ClockFit(-15.01, 0.0, 0.05) if early else ClockFit(0.0, 0.0, 0.05)
    _, belief = believed(evidence, Way(fit, 4, -15.01, early), Rates())
    assert sorted(belief.partner.tolist()) == [0, 1, 2, 3, 4]
    near = np.isin(belief.partner, [2, 4])
    assert (belief.against[near] > 0.2).all()
    assert (belief.against[~near] < 0.01).all()


@st.composite
def changes_back(draw: st.DrawFn) -> tuple[Evidence, Way]:
    """A few files, and one way in which the clock may have been set back before some exposure."""
    planned = sorted(draw(st.lists(st.floats(0, 60), min_size=2, max_size=6, unique=True)))
    exposures = [
        ExposureStamp(round(at, 2), draw(st.sampled_from([0.01, 0.16])), draw(st.booleans()), draw(st.booleans()))
        for at in planned
    ]
    times = draw(st.lists(st.floats(90, 160).map(lambda at: round(at, 2)), min_size=1, max_size=5))
    files = [FileStamp(at, draw(st.sampled_from([0.0, 0.01, 0.16]))) for at in sorted(times)]
    by_s, early = draw(st.sampled_from([-7.0, -31.5])), draw(st.booleans())
    return evidence_of(files, exposures), Way(
        ClockFit(100.0, 1e-4, 0.2), draw(st.integers(1, len(planned) - 1)), by_s, early
    )


@settings(max_examples=40)
@given(changes_back())
def test_each_exposure_is_expected_by_the_clock_of_its_side(change: tuple[Evidence, Way]) -> None:
    evidence, way = change
    before, after = way.fits
    assert after.offset_s - before.offset_s == pytest.approx(way.by_s)
    assert (after if way.early else before) == way.fit
    for number, at in enumerate(way.expected_s(evidence)):
        by = before if number < way.change else after
        since = evidence.planned_s[number] - evidence.planned_s[0]
        assert at == pytest.approx(by.offset_s + since * (1 + by.drift))


@settings(max_examples=40)
@given(changes_back())
def test_a_card_with_a_clock_set_back_is_that_of_a_run_in_the_order_that_it_shows(change: tuple[Evidence, Way]) -> None:
    """One whose exposures were made when the camera's clock shows them, by a clock that is right."""
    evidence, way = change
    expected = way.expected_s(evidence)
    order = np.argsort(expected, kind="stable")
    shutters, made, sure = evidence.shutter_s, np.diff(evidence.made_before) > 0, np.diff(evidence.sure_before) > 0
    run = [ExposureStamp(float(expected[n]), float(shutters[n]), bool(made[n]), bool(sure[n])) for n in order]
    plain = replace(
        evidence_of([FileStamp(float(at)) for at in evidence.at_s], run),
        alike=evidence.alike, own=evidence.own, usual=evidence.usual, tick_s=evidence.tick_s,
    )  # fmt: skip
    as_shown = believe(plain, clocks_of([ClockFit(run[0].at_s, 0.0, 0.2)], np.zeros(1), evidence.tick_s), Rates())
    clocks, belief = believed(evidence, way, Rates())
    assert clocks.fits == way.fits
    assert belief.log_total == pytest.approx(as_shown.log_total + float(clocks.jumps[0, 1]))
    assert belief.nobody == pytest.approx(as_shown.nobody)
    assert (belief.against >= as_shown.against - 1e-12).all()
    for file, exposure in enumerate(as_shown.partner.tolist()):
        assert belief.partner[file] == (order[exposure] if exposure >= 0 else -1)
        assert belief.maybe[file] == (order[as_shown.maybe[file]] if as_shown.maybe[file] >= 0 else -1)
        assert belief.clock[file] == (belief.partner[file] >= way.change)


@pytest.mark.parametrize("tick_s", [0.01, 1.0])
@pytest.mark.parametrize("by_s", [-4.0, -47.0, -600.0])
@pytest.mark.parametrize("change", [3, 12, 20])
def test_the_way_in_which_a_clock_was_set_back_is_among_the_likeliest(change: int, by_s: float, tick_s: float) -> None:
    """Known from the clock before it as well as from the one after it."""
    exposures = run_of(24)
    files = [
        FileStamp(round(file.at_s + by_s * (n >= change), 2), file.shutter_s)
        for n, file in enumerate(shown(exposures, 4e6, tick_s=tick_s))
    ]
    evidence = evidence_of(files, exposures)
    before, after = ClockFit(4e6, 0.0, 0.05), ClockFit(4e6 + by_s, 0.0, 0.05)
    for main, early in ((before, False), (after, True)):
        ways = ways_back(evidence, [before, after], [main], Rates())
        assert 1 <= len(ways) <= 12
        right = [way for way in ways if way.change == change and way.early is early]
        assert min(abs(way.by_s - by_s) for way in right) < 0.02 + tick_s / 2
        likeliest = max(ways, key=lambda way: believed(evidence, way, Rates())[1].log_total)
        true = max(believed(evidence, way, Rates())[1].log_total for way in right)
        assert true > believed(evidence, likeliest, Rates())[1].log_total - 12
        for way in ways:
            alike = [one for one in ways if one.early == way.early and abs(one.by_s - way.by_s) < 1]
            assert len(alike) <= 3 + (tick_s == 1.0) * 3
            assert all(one is way or (one.change, one.by_s) != (way.change, way.by_s) for one in alike)


def test_a_clock_that_was_not_set_back_has_no_way_and_one_exposure_none() -> None:
    fit = ClockFit(100.0, 0.0, 0.05)
    one = evidence_of([FileStamp(100.0)], [ExposureStamp(0.0, 0.1)])
    assert ways_back(one, [fit], [fit], Rates()) == []
    assert ways_back(one, [fit], [], Rates()) == []
