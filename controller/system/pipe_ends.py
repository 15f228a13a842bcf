"""Reading and writing pipes without waiting."""

import os
import sys
from collections.abc import Callable
from typing import Protocol

CHUNK = 1 << 16


class PipeCalls(Protocol):
    """Pipes as open descriptors."""

    def prepare(self, source: int, drain: int) -> None:
        """Call it once, before the others. Raises OSError."""

    def read(self, source: int) -> bytes | None:
        """The bytes that have arrived; None if there are none yet, empty if the other end is closed. Raises OSError."""

    def write(self, drain: int, data: bytes) -> int | None:
        """Write bytes; return how many went, None if there is no room. Raises OSError if the other end is closed."""


class PosixPipes:
    """Descriptors that do not block."""

    def prepare(self, source: int, drain: int) -> None:
        """See `PipeCalls`."""
        if sys.platform != "win32":
            os.set_blocking(source, False)
            os.set_blocking(drain, False)

    def read(self, source: int) -> bytes | None:
        """See `PipeCalls`."""
        try:
            return os.read(source, CHUNK)
        except BlockingIOError:
            return None

    def write(self, drain: int, data: bytes) -> int | None:
        """See `PipeCalls`."""
        try:
            return os.write(drain, data)
        except BlockingIOError:
            return None


class WindowsPipes:
    """Pipes that block: only what has arrived is read. A write waits if the other end does not read.

    Then the lease of a head that moves runs out, and its board stops it by itself.
    """

    def __init__(self, bytes_waiting: Callable[[int], int]) -> None:
        self._bytes_waiting = bytes_waiting

    def prepare(self, source: int, drain: int) -> None:
        """Nothing to do. See `PipeCalls`."""

    def read(self, source: int) -> bytes | None:
        """See `PipeCalls`."""
        try:
            count = self._bytes_waiting(source)
        except BrokenPipeError:
            return b""
        return os.read(source, min(count, CHUNK)) if count else None

    def write(self, drain: int, data: bytes) -> int | None:
        """See `PipeCalls`."""
        return os.write(drain, data)
