"""Names of sockets that belong to no file, which one process can have at a time. Only on Linux (unix(7))."""

import errno
import os
import socket
import sys
from contextlib import ExitStack, suppress
from pathlib import Path

IN_USE = Path("/proc/net/unix")


def bind_name(bound: ExitStack, name: str) -> bool:
    """Bind the name until `bound` is closed; False if a process has it. Raises OSError."""
    if sys.platform != "linux":
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    try:
        bound.enter_context(socket.socket(socket.AF_UNIX)).bind(f"\0{name}")
    except OSError as error:
        if error.errno != errno.EADDRINUSE:
            raise
        return False
    return True


def bound_after(begin: str) -> str | None:
    """The rest of a longer name in use that begins with `begin`, or None."""
    with suppress(OSError):
        for line in IN_USE.read_text(encoding="utf-8", errors="replace").splitlines():
            rest = line.partition(f"@{begin}")[2]
            if rest:
                return rest
    return None
