"""Clocks set back on cards whose names give no order: all possible ways count."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit
from controller.matching.pairing import pair_up
from controller.matching.rates import Rates
from controller.matching.set_back import Way, believed
from tests.controller.matching.cards import KINDS, card_of
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
