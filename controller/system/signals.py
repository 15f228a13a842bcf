"""Signals: which there are, what they mean here, and handlers that are put back."""

import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import FrameType
from typing import Any, Protocol

Handler = Callable[[int, FrameType | None], None]
INTERRUPT = int(signal.SIGINT)
SIGBREAK = 21
"""Windows: Ctrl-Break. Its C library also raises it if the console is closed, the user logs off or the system ends."""


class SignalNumbers(Protocol):
    """The signals of a system by what they mean to a run."""

    @property
    def stop(self) -> Sequence[int]:
        """Requests to stop, from somebody who will not come back."""

    @property
    def hang_up(self) -> int | None:
        """The terminal hangs up; None if the system has no such signal."""


class PosixSignals:
    """SIGTERM and SIGHUP of POSIX."""

    stop: Sequence[int] = (int(signal.SIGTERM),)
    hang_up: int | None = None
    if sys.platform != "win32":
        hang_up = int(signal.SIGHUP)


class WindowsSignals:
    """No process can be sent SIGTERM, but the console can break. A window that closes ends the program soon after."""

    stop: Sequence[int] = (int(signal.SIGTERM), SIGBREAK)
    hang_up: int | None = None


def catch(numbers: Sequence[int], handler: Handler) -> dict[int, Any]:
    """Call `handler` for these signals; return the handlers before. Only the main thread may."""
    return {number: signal.signal(number, handler) for number in numbers}


def put_back(before: dict[int, Any]) -> None:
    """Put handlers back that `catch` returned."""
    for number, handler in before.items():
        signal.signal(number, handler)


@contextmanager
def caught(numbers: Sequence[int], handler: Handler) -> Iterator[None]:
    """Call `handler` for these signals in the meantime. Only the main thread may."""
    before = catch(numbers, handler)
    try:
        yield
    finally:
        put_back(before)
