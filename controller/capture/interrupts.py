"""Signals as requests of the operator: Ctrl-C pauses after the exposure, then stops with a ramp, halts, ends the program.

Being told to end (SIGTERM) is a request to stop: whoever sends it will not come back to let the run go on. A terminal
that hangs up (SIGHUP) ends only a window on the run: the run goes on, unless it was told to stop then.
"""

import os
import signal
import stat
import sys
from contextlib import suppress
from types import FrameType, TracebackType
from typing import Self

from controller.capture.events import EventKind, Wanted

WISHES = (EventKind.PAUSE, EventKind.STOP, EventKind.HALT)
HANG_UP = getattr(signal, "SIGHUP", None)  # there is none on Windows


class Interrupts:
    """While in force, an interrupt becomes an event of the run instead of an exception anywhere in it.

    `hang_up` is what a terminal that hangs up requests, if anything. Only the main thread may use this.
    """

    def __init__(self, hang_up: EventKind | None = None) -> None:
        self._hang_up = hang_up
        self._pending: list[EventKind] = []
        self._count = 0
        self._previous: dict[int, object] = {}

    def __enter__(self) -> Self:
        numbers = [signal.SIGINT, signal.SIGTERM, *([] if HANG_UP is None else [HANG_UP])]
        self._previous = {number: signal.signal(number, self._on_signal) for number in numbers}
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        for number, previous in self._previous.items():
            signal.signal(number, previous)  # type: ignore[arg-type]

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        if number == HANG_UP:
            _let_go_of_terminal()
            if self._hang_up is not None:
                self._pending.append(self._hang_up)
            return
        if number == signal.SIGTERM:
            self._count = max(self._count, WISHES.index(EventKind.STOP))
        if self._count < len(WISHES):
            self._pending.append(WISHES[self._count])
            self._count += 1
        else:  # nobody has taken the requests: do not lock anybody out
            raise KeyboardInterrupt

    def begin_again(self) -> None:
        """The run goes on: the next Ctrl-C is the first once more."""
        self._count = 0

    def next_wish(self) -> Wanted | None:
        """The next request, or None."""
        return Wanted(self._pending.pop(0)) if self._pending else None


def _let_go_of_terminal() -> None:
    """Nothing that is written may fail from now on because the terminal is gone; files and pipes stay as they are."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (sys.__stdin__, sys.__stdout__, sys.__stderr__):
        with suppress(OSError, ValueError, AttributeError):
            assert stream is not None
            number = stream.fileno()
            if stat.S_ISCHR(os.fstat(number).st_mode):  # a terminal that has hung up does not call itself one any more
                os.dup2(nowhere, number)
    os.close(nowhere)
