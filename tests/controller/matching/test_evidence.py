"""What files and exposures say before they are paired."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp, evidence_of, tick_of


@pytest.mark.parametrize(
    ("times", "tick"),
    [
        ([1.0, 2.0, 9.0], 1.0),
        ([1.25, 2.25, 9.25], 1.0),  # always the same fraction: it does not know it
        ([1.1, 2.9, 3.0], 0.1),
        ([1.12, 2.9, 3.07], 0.01),
        ([1.123, 2.9, 3.07], 0.001),
    ],
)
def test_how_finely_a_clock_is_written(times: list[float], tick: float) -> None:
    assert tick_of(np.array(times)) == tick


def gaps(*numbers: int | None) -> list[int]:
    files = [FileStamp(float(n), number=number) for n, number in enumerate(numbers)]
    return list(map(int, evidence_of(files, [ExposureStamp(0.0, 1.0)]).gaps))


def test_numbers_left_out_are_counted_over_the_end_of_the_numbering() -> None:
    assert gaps(41, 42, 45) == [-1, 0, 2]
    assert gaps(9998, 9999, 1, 3) == [-1, 0, 0, 1]


def test_numbers_that_do_not_count_upward_say_nothing() -> None:
    assert gaps(7, 3, 9, 1) == [-1, -1, -1, -1]
    assert gaps(7, None, 9) == [-1, -1, -1]


@given(st.lists(st.integers(0, 5), min_size=1, max_size=40), st.integers(1, 9999))
def test_the_gaps_add_up_to_the_distance(steps: list[int], first: int) -> None:
    numbers = [first]
    for step in steps:
        numbers.append((numbers[-1] + step) % 9999 + 1)
    assert gaps(*numbers)[1:] == steps


def test_shutter_times_are_compared_within_rounding() -> None:
    """1/64 s is written as 1/60, and 0.3 s may be a third. Common practice, no source."""
    exposures = [ExposureStamp(0.0, 1 / 64), ExposureStamp(1.0, 1 / 3)]
    evidence = evidence_of([FileStamp(0.0, 1 / 60), FileStamp(1.0, 0.3), FileStamp(2.0), FileStamp(3.0, 4.0)], exposures)
    of_exposure = evidence.alike[:, evidence.which]
    assert of_exposure.tolist() == [[1, -1], [-1, 1], [0, 0], [-1, -1]]
    assert evidence.usual.tolist() == [True, True, True, False]
