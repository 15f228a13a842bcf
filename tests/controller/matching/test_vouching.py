"""Cards of other runs are refused, those of this one are not, whatever else is on them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import pair_up
from controller.matching.vouching import MOST_OFF_S, believable, other_day, vouches, when
from tests.controller.matching.cards import KINDS, card_of

DAY_S, HOUR_S = 86_400.0, 3600.0


def steady(frames: int, step_s: float, row: int, members: int, seed: int) -> list[ExposureStamp]:
    """A run at the pace of a head, with a longer move after each row."""
    random = np.random.default_rng(seed)
    found, now = [], 1e6
    for frame in range(frames):
        now += step_s + 1.4 * (frame % row == 0) + random.normal(0, 0.004)
        for member in range(members):
            found.append(ExposureStamp(now, 0.005 * 4**member))
            now += 0.005 * 4**member + 0.4
    return found


def files_of(exposures: list[ExposureStamp], ahead_s: float, first: int = 1) -> list[FileStamp]:
    return [
        FileStamp(round(one.at_s + ahead_s, 2), one.shutter_s, first + number) for number, one in enumerate(exposures)
    ]


def is_taken(files: list[FileStamp], exposures: list[ExposureStamp], *, dated: bool) -> bool:
    pairing = pair_up(files, exposures, dated)
    return pairing.related and believable(pairing, exposures[0].at_s if dated else None, zone_known=False)


RUNS = [
    steady(frames, step_s, row, members, seed)
    for seed, (frames, step_s, row, members) in enumerate(
        [(30, 2.1, 8, 1), (13, 2.4, 13, 1), (10, 2.4, 10, 3), (27, 1.9, 9, 1)]
    )
]


@pytest.mark.parametrize("dated", [False, True])
@pytest.mark.parametrize("mine", range(len(RUNS)))
def test_of_all_runs_only_the_own_card_is_taken(mine: int, dated: bool) -> None:
    """Some of the others fit with every file, none of them sure."""
    for number, other in enumerate(RUNS):
        for part in (other, other[len(other) // 2 :]):
            files = files_of(part, 1.4 * DAY_S)
            if number != mine:
                assert not is_taken(files, RUNS[mine], dated=dated), number
    assert is_taken(files_of(RUNS[mine], 2.2 * HOUR_S), RUNS[mine], dated=dated)


@pytest.mark.parametrize("mine", range(len(RUNS)))
def test_a_card_with_other_runs_beside_the_own_is_taken(mine: int) -> None:
    own = files_of(RUNS[mine], 1.0)
    for other in RUNS:
        later = files_of(other, 2 * HOUR_S, first=len(own) + 1)
        assert is_taken([*own, *later], RUNS[mine], dated=True)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "of another run"])
def test_whatever_happened_to_a_card_its_clock_vouches_for_it(kind: str) -> None:
    for seed in range(4):
        card = card_of(KINDS[kind], seed, frames=16)
        begun_s = card.exposures[0].at_s
        zone_s = round(card.offset_s / HOUR_S) * HOUR_S  # of a clock that is right but for its zone
        files = [replace(file, at_s=file.at_s - card.offset_s + zone_s) for file in card.files]
        pairing = pair_up(files, card.exposures, True)
        assert believable(pairing, begun_s, zone_known=False)


@given(st.integers(-29, 29), st.floats(-MOST_OFF_S, MOST_OFF_S), st.booleans())
def test_a_clock_vouches_in_any_zone_if_the_files_name_none(half_hours: int, off_s: float, zone_known: bool) -> None:
    assert vouches(half_hours * 1800.0 + off_s, zone_known=zone_known) is (not zone_known or half_hours == 0)


@given(st.floats(15 * HOUR_S + 1, 400 * DAY_S), st.sampled_from([-1, 1]), st.booleans())
def test_beyond_all_zones_no_clock_vouches_and_it_is_said(ahead_s: float, sign: int, zone_known: bool) -> None:
    assert not vouches(sign * ahead_s, zone_known=zone_known)
    said = other_day(sign * ahead_s)
    assert said is not None
    assert f" {'after' if sign > 0 else 'before'} the session" in said


@pytest.mark.parametrize("ahead_s", [None, 0.0, 14 * HOUR_S, -12 * HOUR_S])
def test_within_the_zones_nothing_is_said(ahead_s: float | None) -> None:
    assert other_day(ahead_s) is None


@pytest.mark.parametrize(
    ("times_s", "run_s", "text"),
    [
        ([0.0, 3660.0], None, "they were shot 1970-01-01 00:00 to 01:01"),
        (
            [90_000.0, 0.0],
            [60.0, 120.0],
            "1970-01-01 00:00 to 1970-01-02 01:00, the run was 1970-01-01 00:01 to 00:02 UTC",
        ),
    ],
)
def test_both_times_are_told(times_s: list[float], run_s: list[float] | None, text: str) -> None:
    assert when(times_s, run_s).endswith(text)
