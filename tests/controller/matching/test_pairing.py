"""Files and exposures of simulated cards, paired, and what is sure held against the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import Match, pair_up
from tests.controller.matching.cards import Card, card

SEEDS = range(1000, 1036)


def wrong(matches: tuple[Match, ...], truth: list[int]) -> list[Match]:
    return [m for m, t in zip(matches, truth, strict=True) if (-1 if m.exposure is None else m.exposure) != t]


@pytest.mark.long
def test_nothing_wrong_is_called_sure_and_the_doubts_are_true_ones() -> None:
    """The bench has five hundred of these. The doubts add up to about as many as are wrong, so they mean what they
    say.
    """
    doubt, bad, files, sure = 0.0, 0, 0, 0
    for seed in SEEDS:
        one = card(seed, frames=60)
        matches = pair_up(one.files, one.exposures).matches
        off = wrong(matches, one.truth)
        assert not [match for match in off if match.sure], f"seed {seed}"
        doubt += sum(match.doubt for match in matches)
        bad += len(off)
        files += len(matches)
        sure += sum(match.sure for match in matches)
    assert bad < 0.01 * files
    assert doubt / 3 < bad + 3 < 3 * (doubt + 3)
    assert sure > 0.3 * files


@pytest.mark.parametrize("seed", range(2000, 2010))
def test_a_card_from_which_nothing_is_lost_is_paired_for_sure(seed: int) -> None:
    one = card(seed, frames=50, most_wrong=0.0)
    pairing = pair_up(one.files, one.exposures)
    assert not wrong(pairing.matches, one.truth)
    if one.nature.sub_seconds:
        assert np.mean([match.sure for match in pairing.matches]) > 0.8
        assert max(match.doubt for match in pairing.matches) < 1e-3


@pytest.mark.parametrize("seed", range(2020, 2026))
def test_the_clock_is_found(seed: int) -> None:
    one = card(seed, frames=100)
    fit = pair_up(one.files, one.exposures).fit
    assert fit.offset_s - one.exposures[0].at_s == pytest.approx(one.offset_s, abs=0.15)


def test_the_drift_of_a_clock_over_a_night_is_found() -> None:
    """Ten seconds a day, over nine hours: enough to mistake one exposure for the next without it."""
    random = np.random.default_rng(5)
    at = np.cumsum(random.uniform(18, 22, 1600))
    shown = np.floor(at * (1 + 10 / 86400) + 7200)
    exposures = [ExposureStamp(float(t), 2.0) for t in at]
    pairing = pair_up([FileStamp(float(t)) for t in shown], exposures)
    assert [match.exposure for match in pairing.matches] == list(range(1600))
    assert all(match.sure for match in pairing.matches)
    assert pairing.fit.drift * 86400 == pytest.approx(10, abs=0.2)


def test_a_camera_that_writes_down_the_end_of_an_exposure() -> None:
    random = np.random.default_rng(6)
    at, exposures, files = 0.0, [], []
    for n in range(90):
        shutter = (0.25, 1.0, 4.0)[n % 3]
        exposures.append(ExposureStamp(at, shutter))
        files.append(FileStamp(round(at + shutter + 50 + random.normal(0, 0.02), 2)))
        at += shutter + random.uniform(0.5, 3)
    pairing = pair_up(files, exposures)
    assert [match.exposure for match in pairing.matches] == list(range(90))
    assert pairing.fit.late == 1


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.floats(-1e6, 1e6))
def test_no_exposure_is_given_twice_and_order_is_kept(seed: int, shift: float) -> None:
    one: Card = card(seed, frames=8)
    if not one.files:
        return
    files = [replace(file, at_s=float(np.floor(file.at_s + shift))) for file in one.files]
    matches = pair_up(files, one.exposures).matches
    chosen = [match.exposure for match in matches if match.exposure is not None]
    assert chosen == sorted(set(chosen))
    assert all(0 <= match.doubt <= 1 + 1e-9 for match in matches)


def test_one_file_and_one_exposure() -> None:
    """Nothing can be sure of these two, and nothing fails."""
    (match,) = pair_up([FileStamp(5.0)], [ExposureStamp(0.0, 0.1)]).matches
    assert not match.sure


def test_a_bracket_that_fell_out_of_turn_is_paired_all_the_same() -> None:
    """A camera that made one exposure more than the run knows makes every one after it with another shutter time."""
    random = np.random.default_rng(8)
    times, at, exposures, files = (0.005, 0.02, 0.08), 0.0, [], []
    for n in range(90):
        exposures.append(ExposureStamp(at, times[n % 3]))
        files.append(FileStamp(round(at + 900 + random.normal(0, 0.01), 2), times[(n + (n > 4)) % 3]))
        at += 0.45 if n % 3 < 2 else 3.7
    pairing = pair_up(files, exposures)
    assert [match.exposure for match in pairing.matches] == list(range(90))


@pytest.mark.parametrize("seed", range(2060, 2063))
@pytest.mark.parametrize("shift_s", [3600.0, -7200.0])
def test_nothing_wrong_is_sure_of_a_clock_that_was_set_anew_in_the_middle(seed: int, shift_s: float) -> None:
    """By hours: half of the files then stand before or after everything, or where others should be."""
    one = card(seed, frames=60, most_wrong=0.01)
    middle = one.exposures[len(one.exposures) // 2].at_s + one.offset_s
    moved = [replace(file, at_s=file.at_s + (file.at_s >= middle) * shift_s) for file in one.files]
    order = sorted(range(len(moved)), key=lambda n: moved[n].at_s)
    off = wrong(pair_up([moved[n] for n in order], one.exposures).matches, [one.truth[n] for n in order])
    assert not [match for match in off if match.sure and match.exposure is not None]
