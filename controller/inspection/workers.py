"""Work on several cores at a time, in threads.

Decoders, OpenCV and numpy release Python's lock during their work, so threads gain nearly as much as processes would, and
pictures need not be copied between them. Results come in the order of the work, whatever the number of threads.
"""

import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from types import TracebackType
from typing import ParamSpec, Self, TypeVar

from controller.calibration.registration import opencv
from controller.errors import InputError
from controller.system.chosen import processes

Given = ParamSpec("Given")
Item = TypeVar("Item")
Result = TypeVar("Result")

MOST = 4  # threads: each may hold a full-size picture
OUT_OF_MEMORY = (
    "This computer has not enough free memory to inspect these pictures. Close other programs, then repeat the command."
)


class Workers:
    """Some threads: `count` of them, by default one for each core of this process, MOST at most.

    A context manager. On leaving it, however that happens, work that has not begun is dropped and the rest is waited for.
    Meanwhile OpenCV starts no threads of its own.
    """

    def __init__(self, count: int | None = None) -> None:
        self.count = min(MOST, processes.usable_cores()) if count is None else count
        self._pool = ThreadPoolExecutor(self.count)
        self._undoing = ExitStack()

    def __enter__(self) -> Self:
        """Raises InputError without OpenCV."""
        self._undoing.callback(opencv().setNumThreads, opencv().getNumThreads())
        opencv().setNumThreads(1)
        # `picture_file` silences the decoder's warnings for itself, but the filters are the process's: a thread that ends
        # restores them while another still decodes.
        self._undoing.enter_context(warnings.catch_warnings())
        warnings.filterwarnings("ignore", module=r"PIL\.")
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        with self._undoing:
            self._pool.shutdown(wait=True, cancel_futures=True)

    def begin(self, work: Callable[Given, Result], *given: Given.args, **named: Given.kwargs) -> Callable[[], Result]:
        """Begin a piece of work; return what waits for its result.

        The latter raises what the work raised, and InputError if memory ran out.
        """
        job = self._pool.submit(work, *given, **named)
        return lambda: _result_of(job)

    def in_order(self, work: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        """The result for each item, in order. So many items as there are threads are worked on ahead."""
        ahead: deque[Callable[[], Result]] = deque()
        for item in items:
            ahead.append(self.begin(work, item))
            if len(ahead) > self.count:
                yield ahead.popleft()()
        while ahead:
            yield ahead.popleft()()


def _result_of(job: "Future[Result]") -> Result:
    try:
        return job.result()
    except MemoryError:
        raise InputError(OUT_OF_MEMORY) from None
    except opencv().error as error:
        if error.code != opencv().Error.StsNoMem:
            raise
        raise InputError(OUT_OF_MEMORY) from None
