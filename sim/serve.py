"""The simulated rig in real time at the end of a line that other programs open.

Bytes take no time here beyond that of the simulated wire. Only the line may wait. The world's clock never runs faster
than `speed` times the host's.
"""

import time
from collections.abc import Callable
from types import TracebackType
from typing import Protocol, Self

from sim.rig import Rig
from sim.system import wait_readable

LONGEST_WAIT_S = 0.05
KEPT_BYTES = 4096


class FarEnd(Protocol):
    """The far end of a line, open while its context is entered; it reads what others write.

    `path` is the path that they open.
    """

    path: str

    def __enter__(self) -> Self: ...

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None: ...

    def fileno(self) -> int:
        """The file descriptor to wait for until there may be something to read."""

    def read(self) -> bytes:
        """The bytes received; empty if there are none."""

    def write(self, data: bytes) -> int:
        """Write bytes. Returns how many were sent, or dropped because nobody is connected."""


class RealTime:
    """One rig at the end of one line. `speed` is seconds of the world per second of the host."""

    def __init__(self, rig: Rig, line: FarEnd, speed: float = 1.0) -> None:
        self._rig, self._line, self._speed = rig, line, speed
        self._reached_ns = 0  # the world's time never goes back
        self._begin_ns = time.monotonic_ns()
        self._unsent = b""

    def serve(self, until: Callable[[], bool]) -> None:
        """Run the world until `until()` is true; it is called several times a second and after every event."""
        while not until():
            self.wait_once()

    def now_ns(self) -> int:
        """The world's time."""
        return round((time.monotonic_ns() - self._begin_ns) * self._speed)

    def wait_once(self) -> None:
        """Carry out what is due, then wait for bytes or for the next event."""
        now_ns = self.now_ns()
        while (due_ns := self._rig.next_deadline()) is not None and due_ns <= now_ns:
            self._reached_ns = max(self._reached_ns, due_ns)  # an event that is due at once may have a past time
            self._rig.advance(self._reached_ns)
            self._unsent = (self._unsent + self._rig.to_host.arrived(self._reached_ns))[-KEPT_BYTES:]
        if self._unsent:  # if nobody reads, the excess is lost, as on a real line
            self._unsent = self._unsent[self._line.write(self._unsent) :]
        wait_s = LONGEST_WAIT_S
        if due_ns is not None:
            wait_s = min(wait_s, max(0.0, (due_ns - self.now_ns()) / 1e9 / self._speed))
        if wait_readable(self._line, wait_s) and (data := self._line.read()):
            self._reached_ns = max(self._reached_ns, self.now_ns())
            self._rig.to_board.send(self._reached_ns, data)
