"""The simulated rig in real time behind a pseudo-terminal, for everything that wants a path to open.

Bytes take no time of their own here beyond the simulated wire's. Only the far end of the pseudo-terminal may wait; the
world never runs ahead of the clock by more than it was told to.
"""

import os
import pty
import select
import time
import tty
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from sim.rig import Rig

LONGEST_WAIT_S = 0.05
CHUNK = 4096


class TerminalServer:
    """One rig behind one pseudo-terminal. `speed` is how many seconds of the world pass in one of ours."""

    def __init__(self, rig: Rig, speed: float = 1.0) -> None:
        self._rig, self._speed = rig, speed
        self._master, self._slave = pty.openpty()  # the far end stays open here too: a host may come and go
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._begin_ns = time.monotonic_ns()
        self._unsent = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        os.close(self._master)
        os.close(self._slave)

    def link(self, name: Path) -> None:
        """Give the path a fixed name. Raises FileExistsError unless the name is free or a dead link."""
        if name.is_symlink() and not name.exists():
            name.unlink()
        name.symlink_to(self.path)

    def serve(self, until: Callable[[], bool]) -> None:
        """Run the world until `until()` says so; it is asked several times a second."""
        while not until():
            self.wait_once()

    def now_ns(self) -> int:
        """The world's time."""
        return round((time.monotonic_ns() - self._begin_ns) * self._speed)

    def wait_once(self) -> None:
        """Let happen what is due, then wait for bytes or for the next event."""
        now_ns = self.now_ns()
        while (due_ns := self._rig.next_deadline()) is not None and due_ns <= now_ns:
            self._rig.advance(due_ns)
            self._unsent = (self._unsent + self._rig.to_host.arrived(due_ns))[-CHUNK:]
        self._send()
        wait_s = LONGEST_WAIT_S
        if due_ns is not None:
            wait_s = min(wait_s, max(0.0, (due_ns - self.now_ns()) / 1e9 / self._speed))
        readable, _, _ = select.select([self._master], [], [], wait_s)
        if readable:
            self._rig.to_board.send(self.now_ns(), os.read(self._master, CHUNK))

    def _send(self) -> None:
        if not self._unsent:
            return
        with suppress(BlockingIOError):  # nobody reads: what does not fit is lost, as on a real line
            self._unsent = self._unsent[os.write(self._master, self._unsent) :]
