"""Signals as requests of the operator: Ctrl-C pauses after the exposure, then stops with a ramp, halts, ends the program.

SIGTERM is a request to stop: its sender will not come back to resume the run. If the terminal hangs up (SIGHUP), only a
window on the run closes: the run continues, unless it was told to stop in that case.
"""

import os
import stat
import sys
from contextlib import suppress
from types import FrameType, TracebackType
from typing import Any, Self

from controller.capture.events import EventKind, Wanted
from controller.system.chosen import signals
from controller.system.signals import INTERRUPT, catch, put_back

ON_INTERRUPT = (EventKind.PAUSE, EventKind.STOP, EventKind.HALT)


class Interrupts:
    """While in force, an interrupt becomes an event of the run instead of an exception anywhere in it.

    `hang_up` is what a terminal that hangs up requests, if anything. Only the main thread may use this.
    """

    def __init__(self, hang_up: EventKind | None = None) -> None:
        self._hang_up = hang_up
        self._pending: list[EventKind] = []
        self._count = 0
        self._previous: dict[int, Any] = {}

    def __enter__(self) -> Self:
        hang_up = [] if signals.hang_up is None else [signals.hang_up]
        self._previous = catch([INTERRUPT, *signals.stop, *hang_up], self._on_signal)
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        put_back(self._previous)

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        if number == signals.hang_up:
            _detach_terminal()
            if self._hang_up is not None:
                self._pending.append(self._hang_up)
            return
        if number in signals.stop:
            self._count = max(self._count, ON_INTERRUPT.index(EventKind.STOP))
        if self._count < len(ON_INTERRUPT):
            self._pending.append(ON_INTERRUPT[self._count])
            self._count += 1
        else:  # nobody takes the requests any more: do not trap the user
            raise KeyboardInterrupt

    def begin_again(self) -> None:
        """Count from the start: the run continues, so the next Ctrl-C is the first."""
        self._count = 0

    def next_request(self) -> Wanted | None:
        """The next request, or None."""
        return Wanted(self._pending.pop(0)) if self._pending else None


class NotedInterrupt:
    """While in force, a first Ctrl-C is noted, and raised only by `raise_if_noted`; a second one is raised at once.

    Python drops an exception that is raised in a finaliser. A loop that is to end by Ctrl-C would then go on. Only the
    main thread may use this.
    """

    def __init__(self) -> None:
        self._noted = False
        self._previous: dict[int, Any] = {}

    def __enter__(self) -> Self:
        self._previous = catch([INTERRUPT], self._on_signal)
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        put_back(self._previous)

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        if self._noted:
            raise KeyboardInterrupt
        self._noted = True

    def raise_if_noted(self) -> None:
        """Raise KeyboardInterrupt if one was noted."""
        if self._noted:
            raise KeyboardInterrupt


def _detach_terminal() -> None:
    """Redirect terminal output to nowhere, so that no write fails because the terminal is gone. Files and pipes stay."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (sys.__stdin__, sys.__stdout__, sys.__stderr__):
        with suppress(OSError, ValueError, AttributeError):
            assert stream is not None
            number = stream.fileno()
            if stat.S_ISCHR(os.fstat(number).st_mode):  # after a hang-up, isatty no longer says yes
                os.dup2(nowhere, number)
    os.close(nowhere)
