"""The order of files, by numbers that count shots and by time."""

from __future__ import annotations

from itertools import pairwise

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


# Where numbers begin to count, and where they stop.


@pytest.mark.parametrize(("count", "numbered"), [(2, False), (3, True)])
def test_three_files_in_a_row_are_the_fewest_that_tell_an_order(count: int, numbered: bool) -> None:
    numbers: list[int | None] = [5 + n for n in range(count)]
    order = ordered([100.0 + n for n in range(count)], numbers)
    assert order.numbered is numbered
    assert order.gaps[1:].tolist() == [0 if numbered else -1] * (count - 1)


@pytest.mark.parametrize(("fitting", "numbered"), [(32, True), (31, False)])
def test_four_fifths_of_the_numbers_are_the_fewest_that_must_fit(fitting: int, numbered: bool) -> None:
    """Of those that there are: files without a number are not counted."""
    numbers: list[int | None] = [*range(1, fitting + 1), *(5000 + 97 * n for n in range(40 - fitting)), *[None] * 10]
    assert order_of(np.arange(50.0), numbers).numbered is numbered


@pytest.mark.parametrize(
    ("count", "times_back", "told"),
    [(7, 1, True), (8, 2, False), (16, 2, True), (16, 3, False), (60, 5, True), (60, 6, False)],
)
def test_a_clock_is_set_back_once_in_eight_files_at_most_and_five_times(count: int, times_back: int, told: bool) -> None:
    """More often, numbers do not count shots. Our own choice, no source."""
    places = np.linspace(0, count, times_back + 2).round().astype(int)[1:-1].tolist()
    times, now = [], 0.0
    for number in range(count):
        now += 10.0 - 40_000.0 * (number in places)
        times.append(now)
    order = ordered(times, [n + 1 for n in range(count)])
    assert (order.files.tolist() == list(range(count))) is told


@pytest.mark.parametrize(("step", "stays"), [(1, True), (2, True), (3, False), (30, False)])
@pytest.mark.parametrize("end", ["first", "last"])
def test_at_either_end_only_a_certain_neighbour_tells_of_a_clock_set_back(step: int, stays: bool, end: str) -> None:
    """A number further away, out of time, is from elsewhere."""
    first = end == "first"
    numbers: list[int | None] = [50 - step, *range(50, 60)] if first else [*range(50, 60), 59 + step]
    times = [1500.0, *(1000.0 + 10 * n for n in range(10))] if first else [*(1000.0 + 10 * n for n in range(10)), 500.0]
    order = ordered(times, numbers)
    odd = 0 if first else 10
    assert (order.files.tolist() == list(range(11))) is stays
    assert order.files.tolist()[0 if stays == first else -1] == odd
    known = [gap for file, gap in zip(order.files.tolist(), order.gaps.tolist(), strict=True) if file == odd]
    assert known == [-1 if first or not stays else step - 1]


@pytest.mark.parametrize(("first", "one_block"), [(30, True), (31, True), (32, False)])
def test_over_the_end_of_the_numbering_a_block_ends_as_elsewhere(first: int, one_block: bool) -> None:
    """9999 is followed by 1 (DCF, CIPA DC-009; from memory): from 9990 to 31 there are 40."""
    numbers: list[int | None] = [*range(9981, 9991), *range(first, first + 10)]
    order = ordered([10.0 * n for n in range(20)], numbers)
    assert order.files.tolist() == list(range(20))
    assert order.gaps[10] == (first - 9990 + 9998 if one_block else -1)


@pytest.mark.parametrize("place", [0, 4, 9])
def test_of_two_files_with_one_number_the_other_goes_by_its_time(place: int) -> None:
    numbers: list[int | None] = [*range(100, 110), 100 + place]
    times = [*(10.0 * n for n in range(10)), 10.0 * place + 3]
    order = ordered(times, numbers)
    assert order.files.tolist() == [*range(place + 1), 10, *range(place + 1, 10)]
    assert order.gaps[place + 1] == -1


@given(st.lists(st.integers(-10, 110), min_size=1, max_size=5), st.integers(3, 10))
def test_files_without_a_number_are_put_where_the_clock_of_the_others_passes_them(loose: list[int], count: int) -> None:
    times = [*(10.0 * n for n in range(count)), *map(float, loose)]
    order = ordered(times, [*range(100, 100 + count), *[None] * len(loose)])
    assert [file for file in order.files.tolist() if file < count] == list(range(count))
    shown = [times[file] for file in order.files.tolist()]
    assert shown == sorted(shown)
    for before, after in pairwise(order.files.tolist()):  # of one moment, the numbered one comes first
        assert times[before] < times[after] or before < after
