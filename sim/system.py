"""What the simulator needs of the system: pseudo-terminals, and waiting for bytes. All that differs between systems."""

import os
import select
import sys
from typing import Protocol

if sys.platform != "win32":
    import fcntl
    import pty
    import tty

HAS_TERMINALS = sys.platform != "win32"


class Waitable(Protocol):
    """Something with a descriptor to wait for; a socket on Windows."""

    def fileno(self) -> int:
        """The descriptor."""


def wait_readable(line: Waitable, wait_s: float) -> bool:
    """Wait until there may be something to read, at most `wait_s`. Returns whether there may be."""
    return bool(select.select([line], [], [], wait_s)[0])


def open_terminal() -> tuple[int, int, str]:
    """A raw pseudo-terminal: its near end, which does not block, its far end, and the far end's path. Raises OSError."""
    if sys.platform != "win32":
        near, far = pty.openpty()
        tty.setraw(far)
        os.set_blocking(near, False)
        return near, far, os.ttyname(far)
    raise OSError("this system has no pseudo-terminals")


def lock_file(number: int) -> bool:
    """Lock an open file until it is closed, without waiting; False if another program has it."""
    if sys.platform != "win32":
        try:
            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
    return False
