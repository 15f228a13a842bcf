"""Ctrl-C as a wish of the operator: once stops with a ramp, twice halts, and then it ends the program.

Being told to end (SIGTERM) counts like Ctrl-C.
"""

import signal
from types import FrameType, TracebackType
from typing import Self

from controller.capture.events import Kind

WISHES = (Kind.STOP, Kind.HALT)


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

    def _on_signal(self, _signal: int, _frame: FrameType | None) -> None:
        if self._count < len(WISHES):
            self._pending.append(WISHES[self._count])
            self._count += 1
        else:  # nobody has taken the wishes: do not lock anybody out
            raise KeyboardInterrupt

    def next_wish(self) -> Kind | None:
        """The next wish, or None."""
        return self._pending.pop(0) if self._pending else None
