"""Processes of their own, and the cores that this one may use."""

import os
import sys
from typing import Protocol, TypedDict

DETACHED_PROCESS, NEW_GROUP = 0x0000_0008, 0x0000_0200
"""Windows: no console, and no Ctrl-C of ours (Microsoft's documentation of process creation flags)."""


class Apart(TypedDict):
    """The arguments of Popen that set a process apart."""

    start_new_session: bool
    creationflags: int


class Processes(Protocol):
    """What the system knows of processes."""

    def apart(self) -> Apart:
        """The arguments of Popen for a process that no terminal ends, and no signal to our group."""

    def usable_cores(self) -> int:
        """The number of cores that this process may use."""


class PosixProcesses:
    """A session of its own: setsid(2)."""

    def apart(self) -> Apart:
        """See `Processes`."""
        return Apart(start_new_session=True, creationflags=0)

    def usable_cores(self) -> int:
        """See `Processes`."""
        if sys.platform == "linux":
            return len(os.sched_getaffinity(0))
        return os.cpu_count() or 1


class WindowsProcesses:
    """A process without a console, in a group of its own."""

    def apart(self) -> Apart:
        """See `Processes`."""
        return Apart(start_new_session=False, creationflags=DETACHED_PROCESS | NEW_GROUP)

    def usable_cores(self) -> int:
        """See `Processes`."""
        return os.cpu_count() or 1
