"""When a card is said to be of another run, and when its pairs are not called sure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import pair_up
from tests.controller.matching.test_clocks_found import run_of, shown


def of_both(mine: int, others: int, scatter_s: float = 0.0) -> tuple[list[FileStamp], list[ExposureStamp]]:
    """A card with the files of the first `mine` exposures of a run, then `others` from the day after."""
    exposures = run_of(mine + others)
    random = np.random.default_rng(3)
    files = [replace(file, at_s=file.at_s + random.uniform(-1, 1) * scatter_s) for file in shown(exposures, 4e6)]
    later = [replace(file, at_s=file.at_s + 90_000.0 + 61.7 * n * n, number=5000 + n) for n, file in enumerate(files)]
    return [*files[:mine], *later[mine:]], exposures


@pytest.mark.parametrize(
    ("mine", "others", "related"), [(25, 25, False), (28, 22, False), (32, 18, True), (40, 10, True)]
)
def test_a_card_is_of_the_run_if_six_tenths_of_it_fit(mine: int, others: int, related: bool) -> None:
    files, exposures = of_both(mine, others)
    found = pair_up(files, exposures)
    assert found.related is related
    if not related:
        assert min(match.doubt for match in found.matches) >= 0.5
    assert [match.exposure for match in found.matches][:mine] == list(range(mine))


@pytest.mark.parametrize(("scatter_s", "loose"), [(0.08, False), (0.2, False), (0.36, True), (0.5, True)])
def test_pairs_that_scatter_more_than_a_cameras_are_not_sure(scatter_s: float, loose: bool) -> None:
    """Evenly by up to `scatter_s`; a camera's are within 0.15 s (root mean square of the nearest nine in ten)."""
    files, exposures = of_both(60, 0, scatter_s)
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    assert found.related
    doubts = [match.doubt for match in found.matches]
    assert min(doubts) == 0.01 if loose else max(doubts) < 1e-4


@pytest.mark.parametrize(("mine", "others", "related"), [(40, 10, False), (48, 2, True)])
def test_with_such_scatter_nearly_all_must_fit(mine: int, others: int, related: bool) -> None:
    files, exposures = of_both(mine, others, 0.4)
    assert pair_up(files, exposures).related is related


@pytest.mark.parametrize(("scatter_s", "loose"), [(0.08, False), (0.3, True)])
def test_about_each_of_two_clocks_less_scatter_is_believed(scatter_s: float, loose: bool) -> None:
    """A tenth of a second: with a change of the clock, times of another run fit more easily."""
    files, exposures = of_both(60, 0, scatter_s)
    files = [replace(file, at_s=file.at_s + 3600.0 * (n >= 30)) for n, file in enumerate(files)]
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    doubts = [match.doubt for match in found.matches]
    assert min(doubts) == 0.01 if loose else np.median(doubts) < 1e-4


@pytest.mark.parametrize("tick_s", [0.01, 1.0])
def test_a_few_files_far_from_their_time_do_not_make_all_others_doubtful(tick_s: float) -> None:
    exposures = run_of(60)
    files = [
        replace(file, at_s=file.at_s + (1.0 if n in {7, 23, 41} else 0.0))
        for n, file in enumerate(shown(exposures, 4e6, tick_s=tick_s))
    ]
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    assert np.mean([match.sure for match in found.matches]) > 0.9


@pytest.mark.parametrize(("strange", "ignored"), [(3, False), (45, True)])
def test_shutter_times_are_ignored_only_if_most_are_not_the_planned_ones(strange: int, ignored: bool) -> None:
    """Of a camera on its own exposure; a few files do not decide."""
    times = (0.005, 0.02, 0.08)
    exposures = [replace(one, shutter_s=times[n % 3]) for n, one in enumerate(run_of(60))]
    files = [
        replace(file, shutter_s=2.0 if n * 7 % 60 < strange else file.shutter_s)
        for n, file in enumerate(shown(exposures, 4e6))
    ]
    found = pair_up(files, exposures)
    assert found.any_shutter is ignored
    assert [match.exposure for match in found.matches] == list(range(60))
    assert found.out_of_step(0) is ignored


@pytest.mark.parametrize("members", [2, 3, 5])
@pytest.mark.parametrize("turn", [1, 2, 3, 4])
def test_a_bracket_out_of_turn_from_the_beginning_is_not_a_clock_that_is_off_by_an_exposure(
    members: int, turn: int
) -> None:
    """All but one of the shutter times fit that as well, and its times do not."""
    times = [0.0025 * 4**n for n in range(members)]
    exposures = [replace(one, shutter_s=times[n % members]) for n, one in enumerate(run_of(60))]
    files = [replace(file, shutter_s=times[(n + turn) % members]) for n, file in enumerate(shown(exposures, 4e6))]
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    assert not found.any_shutter
    assert {found.fits[clock].turn % members for clock in found.clock} == {turn % members}
    assert np.mean([match.sure for match in found.matches]) > 0.9


@pytest.mark.parametrize("first", [1, 2])
def test_a_change_right_after_the_first_exposure_counts_as_any_other(first: int) -> None:
    """With two more there are too many of them."""
    exposures = run_of(60)
    changes, hours = sorted([first, 20, 40]), (0, 1, -2, 5)
    files = [
        replace(file, at_s=round(file.at_s + 3600.0 * hours[sum(n >= change for change in changes)], 2))
        for n, file in enumerate(shown(exposures, 4e6))
    ]
    found = pair_up(files, exposures)
    assert [match.exposure for match in found.matches] == list(range(60))
    assert [after for _, after, _ in found.changes()] == changes
    assert not any(match.sure for match in found.matches)
