"""Progress in parts of the time: true from start to end, and never more or less than all parts."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.share_done import PARTS, ShareDone, Stage, expected_s

COUNTS = st.integers(0, 3000)


def watched(expected: dict[Stage, float]) -> tuple[ShareDone, list[int]]:
    told: list[int] = []
    return ShareDone(expected, lambda total: lambda: told.append(total)), told


@given(COUNTS, COUNTS, COUNTS, st.floats(0.1, 200), st.integers(1, 4))
def test_each_part_takes_its_share_of_the_expected_time(
    files: int, frames: int, links: int, megapixels: float, threads: int
) -> None:
    expected = expected_s(files, frames, links, megapixels, threads)
    done, told = watched(expected)
    whole, before = sum(expected.values()), 0.0
    for stage in Stage:
        for number in range(1, 8):
            done.reached(stage, number, 7)
            share = (before + expected[stage] * number / 7) / max(whole, 1e-9)
            assert abs(len(told) - PARTS * share) <= 1
        before += expected[stage]
    assert told == [PARTS] * (PARTS if whole else 0)


@given(st.lists(st.tuples(st.sampled_from(Stage), st.integers(0, 9), st.integers(0, 9)), max_size=40))
def test_it_never_goes_back_and_ends_with_all_stages(reports: list[tuple[Stage, int, int]]) -> None:
    done, told = watched(expected_s(90, 30, 106, 24.0, 2))
    for stage, number, of in reports:
        done.reached(stage, min(number, of), of)
    for stage in Stage:
        done.reached(stage)
    assert told == [PARTS] * PARTS


def test_a_large_picture_costs_more_than_a_link() -> None:
    small, large = (expected_s(30, 30, 106, megapixels, 2) for megapixels in (0.6, 24.0))
    assert small[Stage.PICTURES] < small[Stage.LINKS] < large[Stage.PICTURES]
