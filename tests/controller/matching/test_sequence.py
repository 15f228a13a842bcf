"""The order of files, by numbers that count shots and by time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.sequence import ShootingOrder, order_of


def ordered(times: list[float], numbers: list[int | None]) -> ShootingOrder:
    return order_of(np.array(times), numbers)


def test_numbers_left_out_are_counted_over_the_end_of_the_numbering() -> None:
    assert ordered([1.0, 2.0, 3.0], [41, 42, 45]).gaps.tolist() == [-1, 0, 2]
    assert ordered([1.0, 2.0, 3.0, 4.0], [9998, 9999, 1, 3]).gaps.tolist() == [-1, 0, 0, 1]


def test_numbers_that_do_not_count_upward_say_nothing() -> None:
    order = ordered([1.0, 2.0, 3.0, 4.0], [7, 3, 9, 1])
    assert not order.numbered
    assert order.gaps.tolist() == [-1, -1, -1, -1]


@given(st.lists(st.integers(0, 5), min_size=2, max_size=40), st.integers(1, 9999))
def test_the_gaps_add_up_to_the_distance(steps: list[int], first: int) -> None:
    numbers: list[int | None] = [first]
    for step in steps:
        numbers.append((numbers[-1] + step) % 9999 + 1)  # type: ignore[operator]
    assert ordered([float(n) for n in range(len(numbers))], numbers).gaps[1:].tolist() == steps


@given(
    st.integers(6, 60),
    st.integers(1, 9999),
    st.floats(-20_000, 20_000),
    st.integers(1, 59),
    st.randoms(use_true_random=False),
)
def test_a_clock_set_anew_does_not_change_the_order_of_names(
    count: int, first: int, by_s: float, change: int, random: object
) -> None:
    """Whatever the order in which the files are listed, and also past the end of the numbering."""
    numbers: list[int | None] = [(first - 1 + n) % 9999 + 1 for n in range(count)]
    times = [100.0 * n + by_s * (n >= change) for n in range(count)]
    listed = list(range(count))
    random.shuffle(listed)  # type: ignore[attr-defined]
    order = ordered([times[n] for n in listed], [numbers[n] for n in listed])
    kept = [listed[file] for file in order.files.tolist()]
    assert kept == list(range(count))
    assert order.gaps[1:].tolist() == [0] * (count - 1)


@given(st.integers(8, 60), st.data())
def test_one_name_without_a_number_says_nothing_about_the_others(count: int, data: st.DataObject) -> None:
    """Neither does a number from elsewhere. Only the two gaps beside it are unknown, and there is room for it."""
    odd = data.draw(st.integers(0, count - 1))
    numbers: list[int | None] = [n + 100 for n in range(count)]
    numbers[odd] = data.draw(st.sampled_from([None, 7000]))
    order = ordered([4.0 * n for n in range(count)], numbers)
    assert order.files.tolist() == list(range(count))
    known = [gap for place, gap in enumerate(order.gaps.tolist()) if place not in {0, odd, odd + 1}]
    assert known == [0] * len(known)
    assert order.room.all()


def test_there_is_no_room_for_a_file_that_no_number_was_left_for() -> None:
    order = ordered([0.0, 4.0, 6.0, 8.0, 12.0], [1, 2, None, 3, 4])
    assert order.room.tolist() == [True, True, False, True, True]


def test_files_of_one_second_are_tied_where_names_do_not_tell() -> None:
    assert ordered([1.0, 1.0, 2.0], [None, None, None]).tied.tolist() == [0, 0, -1]
    assert ordered([1.0, 1.0, 2.0], [5, 6, 7]).tied.tolist() == [-1, -1, -1]


@pytest.mark.parametrize("numbers", [[1, 1, 2, 2, 3, 3], [None] * 6])
def test_two_cards_with_the_same_numbers_go_by_time(numbers: list[int | None]) -> None:
    assert ordered([5.0, 1.0, 6.0, 2.0, 7.0, 3.0], numbers).files.tolist() == [1, 3, 5, 0, 2, 4]
