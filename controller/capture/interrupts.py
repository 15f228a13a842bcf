"""Ctrl-C as a wish of the operator: pause after the exposure, then stop with a ramp, then halt, then end the program.

Being told to end (SIGTERM) is a wish to stop: whoever sends it will not come back to let the run go on.
"""

import signal
from types import FrameType, TracebackType
from typing import Self

from controller.capture.events import Kind, Wanted

WISHES = (Kind.PAUSE, Kind.STOP, Kind.HALT)


class Interrupts:
    """While in force, an interrupt becomes an event of the run instead of an exception anywhere in it.

    Only the main thread may use it; elsewhere it stays out of the way.
    """

    def __init__(self) -> None:
        self._pending: list[Kind] = []
        self._count = 0
        self._previous: dict[int, object] = {}

    def __enter__(self) -> Self:
        self._previous = {number: signal.signal(number, self._on_signal) for number in (signal.SIGINT, signal.SIGTERM)}
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        for number, previous in self._previous.items():
            signal.signal(number, previous)  # type: ignore[arg-type]

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        if number == signal.SIGTERM:
            self._count = max(self._count, WISHES.index(Kind.STOP))
        if self._count < len(WISHES):
            self._pending.append(WISHES[self._count])
            self._count += 1
        else:  # nobody has taken the wishes: do not lock anybody out
            raise KeyboardInterrupt

    def begin_again(self) -> None:
        """The run goes on: the next Ctrl-C is the first once more."""
        self._count = 0

    def next_wish(self) -> Wanted | None:
        """The next wish, or None."""
        return Wanted(self._pending.pop(0)) if self._pending else None
