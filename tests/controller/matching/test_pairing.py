"""Files and exposures of simulated cards, paired; the sure pairs are compared with the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import Match, pair_up
from tests.controller.matching.cards import KINDS, Card, card, card_of

SEEDS = range(1000, 1012)


def wrong(matches: tuple[Match, ...], truth: list[int]) -> list[Match]:
    return [m for m, t in zip(matches, truth, strict=True) if (-1 if m.exposure is None else m.exposure) != t]


@pytest.mark.long
def test_nothing_wrong_is_called_sure_and_the_doubts_are_true_ones() -> None:
    """The bench has five hundred of these. The doubts add up to about the number of wrong pairs, so they are
    calibrated.
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
    """Ten seconds a day, over nine hours: enough to confuse consecutive exposures if ignored."""
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
    """Nothing can be sure about these two, and nothing fails."""
    (match,) = pair_up([FileStamp(5.0)], [ExposureStamp(0.0, 0.1)]).matches
    assert not match.sure


def test_a_bracket_that_fell_out_of_turn_is_paired_all_the_same() -> None:
    """If a camera makes one exposure more than the run knows, every later one has another shutter time."""
    random = np.random.default_rng(8)
    times, at, exposures, files = (0.005, 0.02, 0.08), 0.0, [], []
    for n in range(90):
        exposures.append(ExposureStamp(at, times[n % 3]))
        files.append(FileStamp(round(at + 900 + random.normal(0, 0.01), 2), times[(n + (n > 4)) % 3]))
        at += 0.45 if n % 3 < 2 else 3.7
    pairing = pair_up(files, exposures)
    assert [match.exposure for match in pairing.matches] == list(range(90))


SURE_SHARES = {
    "sound, whole seconds": 0.9,
    "sound, fractions": 0.9,
    "3 % lost, whole seconds": 0.6,
    "3 % lost, fractions": 0.6,
    "clock set by 2 to 20 s": 0.6,
    "clock set by hours": 0.6,
    "clock set to a zone": 0.6,
    "clock set, 3 % lost": 0.6,
    "some renamed or edited": 0.6,
}


@pytest.mark.parametrize("name", list(KINDS))
def test_no_pair_that_is_sure_is_wrong_whatever_happened_to_the_card(name: str) -> None:
    """The bench has five hundred of each kind."""
    sure = files = 0
    for seed in range(3000, 3006):
        one = card_of(KINDS[name], seed, 20)
        matches = pair_up(one.files, one.exposures).matches
        assert not [match for match in wrong(matches, one.truth) if match.sure], f"seed {seed}"
        sure += sum(match.sure for match in matches)
        files += len(matches)
    assert sure >= SURE_SHARES.get(name, 0.0) * files


@settings(max_examples=25)
@given(st.integers(0, 10_000), st.floats(2, 20_000), st.booleans(), st.floats(0.1, 0.9))
def test_a_sound_card_is_whole_whatever_its_clock_was_set_to_on_the_way(
    seed: int, by_s: float, back: bool, where: float
) -> None:
    """No file is surely extra, and nearly all are paired correctly."""
    one = card_of(KINDS["sound, fractions"], seed, 30)
    change = int(where * len(one.files))
    moved = [
        replace(file, at_s=file.at_s + (n >= change) * (-by_s if back else by_s)) for n, file in enumerate(one.files)
    ]
    pairing = pair_up(moved, one.exposures)
    off = wrong(pairing.matches, one.truth)
    assert not [match for match in off if match.sure]
    assert len(off) <= 0.05 * len(moved)


def test_the_change_of_a_clock_is_told_with_its_place_and_amount() -> None:
    one = card_of(KINDS["sound, fractions"], 5, 30)
    moved = [replace(file, at_s=file.at_s + 3600.0 * (n >= 40)) for n, file in enumerate(one.files)]
    ((before, after, by_s),) = pair_up(moved, one.exposures).changes()
    assert (before, after) == (39, 40)
    assert by_s == pytest.approx(3600, abs=0.1)


def test_files_of_one_second_in_any_order_are_told_by_their_shutter_times_or_doubtful() -> None:
    """Names without information do not mean a bracket out of step."""
    times = (0.005, 0.02, 0.08)
    exposures = [ExposureStamp(4.0 * (n // 3) + 0.1 * (n % 3), times[n % 3]) for n in range(60)]
    for known in (True, False):
        files = [FileStamp(float(np.floor(e.at_s + 900.3)), e.shutter_s if known else 0.0) for e in exposures]
        shuffled = np.random.default_rng(3).permutation(60)
        pairing = pair_up([files[n] for n in shuffled], exposures)
        assert not any(pairing.out_of_step(n) for n in range(60))
        right = [match.exposure == truth for match, truth in zip(pairing.matches, shuffled, strict=True)]
        assert all(right) or not known
        assert all(match.sure == known for match in pairing.matches)


def test_a_deleted_second_exposure_is_not_a_missing_first_one() -> None:
    """With a clock of whole seconds, of a camera without a sync contact."""
    random = np.random.default_rng(9)
    times, at, exposures, files = (0.005, 0.02, 0.08), 0.0, [], []
    for n in range(90):
        exposures.append(ExposureStamp(at, times[n % 3], True, False))
        files.append(FileStamp(float(np.floor(at + 900 + random.normal(0, 0.02))), times[n % 3], n + 1))
        at += 0.45 if n % 3 < 2 else 3.7
    gone = [4, 31, 58]  # of three brackets
    matches = pair_up([file for n, file in enumerate(files) if n not in gone], exposures).matches
    assert sorted(set(range(90)) - {match.exposure for match in matches}) == gone
    assert all(match.sure for match in matches)


def test_one_file_renamed_takes_no_certainty_from_the_others() -> None:
    one = card_of(KINDS["sound, fractions"], 7, 30)
    for name in (None, 9000):
        files = [replace(file, number=name) if n == 20 else file for n, file in enumerate(one.files)]
        matches = pair_up(files, one.exposures).matches
        assert sum(match.sure for match in matches) >= len(matches) - 3


@pytest.mark.parametrize("seed", range(4))
def test_the_card_of_another_run_is_not_related_and_no_pair_of_it_is_sure(seed: int) -> None:
    one = card_of(KINDS["of another run"], seed, 40)
    pairing = pair_up(one.files, one.exposures)
    assert not pairing.related
    assert not any(match.sure for match in pairing.matches)


def test_of_two_runs_of_one_plan_the_right_clock_tells_which_is_which() -> None:
    """The camera was off by two hours and some seconds; the first run ended twenty minutes before the second."""
    one = card_of(KINDS["sound, fractions"], 11, 20)
    begin = one.exposures[0].at_s
    mine = [replace(file, at_s=file.at_s - one.offset_s + 7204.0, number=n + 500) for n, file in enumerate(one.files)]
    first = [replace(file, at_s=file.at_s - 1234.5, number=n + 100) for n, file in enumerate(mine)]
    matches = pair_up([*first, *mine], one.exposures, clock_known=True).matches
    assert begin > 0
    assert [match.exposure for match in matches[len(first) :]] == one.truth
    assert all(match.exposure is None for match in matches[: len(first)])


def test_a_clock_of_the_session_that_leapt_by_a_year_ends_in_an_answer() -> None:
    """The same for a camera's clock that jumped: the numbers continue."""
    one = card_of(KINDS["sound, fractions"], 13, 20)
    year_s = 365 * 86_400.0
    leapt = [replace(e, at_s=e.at_s + year_s * (n >= 30)) for n, e in enumerate(one.exposures)]
    for files, exposures in ((one.files, leapt), ([replace(f, at_s=f.at_s * 2) for f in one.files], leapt)):
        matches = pair_up(files, exposures).matches
        assert not [match for match in wrong(matches, one.truth) if match.sure]


@pytest.mark.parametrize("foreign", range(1, 13))
@pytest.mark.parametrize("place", [0, 1, 6, 12, 13])
def test_a_burst_that_is_nobodys_does_not_shift_the_run(foreign: int, place: int) -> None:
    """At either end, a clock off by one step would put it outside the run, which is more probable."""
    random = np.random.default_rng(12)
    at = np.cumsum(random.normal(5.6, 0.004, 13))
    exposures = [ExposureStamp(float(t), 0.25) for t in at]
    shots = [(float(np.floor(t + 900.3)), n) for n, t in enumerate(at)]
    near = at[place] - 0.8 if place < 13 else at[-1] + 3
    shots[place:place] = [(float(np.floor(near + 900.3 + 0.1 * n)), -1) for n in range(foreign)]
    files = [FileStamp(moment, 0.25, number + 1) for number, (moment, _) in enumerate(shots)]
    matches = pair_up(files, exposures).matches
    assert not [match for match in wrong(matches, [truth for _, truth in shots]) if match.sure]
