"""Threads: results in order, nothing left behind, whatever happens in between."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.registration import opencv
from controller.errors import InputError
from controller.inspection.workers import Workers

cv2 = pytest.importorskip("cv2")


@given(st.lists(st.integers(), max_size=30), st.integers(1, 4))
def test_results_come_in_the_order_of_the_work(items: list[int], count: int) -> None:
    with Workers(count) as workers:
        assert list(workers.in_order(lambda item: 2 * item, items)) == [2 * item for item in items]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_no_more_is_read_ahead_than_there_are_threads(count: int) -> None:
    """Each piece may hold a full-size picture."""
    begun = 0

    def items() -> Iterator[int]:
        nonlocal begun
        for number in range(20):
            begun += 1
            yield number

    with Workers(count) as workers:
        for done, _ in enumerate(workers.in_order(lambda item: item, items()), 1):
            assert begun - done <= count


@pytest.mark.parametrize("stopped", [KeyboardInterrupt, InputError, RuntimeError])
def test_work_that_has_not_begun_is_dropped(stopped: type[BaseException]) -> None:
    """A stop in the middle waits for no more than what is under way, and leaves OpenCV and the filters as they were."""
    done: list[int] = []
    before, filters = opencv().getNumThreads(), list(warnings.filters)

    def work(number: int) -> None:
        if number == 0:
            raise stopped("enough")
        hashlib.sha256(bytes(2**22)).digest()  # some milliseconds, so that a thousand last far longer than the stop
        done.append(number)

    def stopped_early(workers: Workers) -> None:
        with workers:
            first, *_ = [workers.begin(work, number) for number in range(1000)]
            first()

    workers = Workers(1)
    with pytest.raises(stopped):
        stopped_early(workers)
    assert len(done) < 999
    assert opencv().getNumThreads() == before
    assert list(warnings.filters) == filters
    with pytest.raises(RuntimeError):
        workers.begin(work, 1)


def _no_room(of_opencv: bool) -> None:
    if not of_opencv:
        raise MemoryError
    error = cv2.error("not enough memory")
    error.code = -4
    raise error


@pytest.mark.parametrize("of_opencv", [False, True])
def test_a_lack_of_memory_is_one_sentence(*, of_opencv: bool) -> None:
    with Workers(2) as workers, pytest.raises(InputError, match=r"not enough free memory .* Close other programs"):
        workers.begin(_no_room, of_opencv)()


def test_other_errors_of_the_library_stay_bugs() -> None:
    with Workers(1) as workers, pytest.raises(cv2.error):
        workers.begin(cv2.GaussianBlur, None, (0, 0), 1.0)()


def test_the_decoder_stays_silent_while_several_threads_decode() -> None:
    """A thread that restores the filters must not make another one's warnings visible."""

    def decode(_: int) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
        warnings.warn_explicit("damaged EXIF", UserWarning, "TiffImagePlugin.py", 1, module="PIL.TiffImagePlugin")

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with Workers(4) as workers:
            assert list(workers.in_order(decode, range(50))) == [None] * 50
        with ThreadPoolExecutor(1) as pool, pytest.raises(UserWarning):
            pool.submit(decode, 1).result()
