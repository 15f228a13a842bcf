"""One program at a time on a session or a port: a lock that the system lets go when its holder dies.

On Linux a lock is a name that a process binds in the kernel's abstract socket names: one process of any user can hold
it, there is no file that a user could leave behind in another's way, and the name is free as soon as its holder ends.
Anybody can hold any name, as with every lock that works without root: that keeps programs from one port by mistake,
not by malice. Elsewhere each user has a folder of locks; a serial port is still opened by one process only, since it
is opened exclusively, but nothing keeps two users apart on one session file.

See unix(7) of the Linux manual for abstract names, and proc(5) for the list of those in use.
"""

import errno
import getpass
import hashlib
import os
import socket
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from controller import clock
from controller.errors import StorageFailed, WorldError
from protocol.units import MS

GLANCE_NS, LOOK_NS = 200 * MS, 10 * MS  # how long somebody may hold a lock who only looks whether it is held
IN_USE = Path("/proc/net/unix")
PREFIX = "fullturn."
ANOTHER = "another program"
LONGEST = 64  # of what a holder says of itself: an abstract name has room for 107 bytes


class Taken(WorldError):
    """Another program holds it."""


class _Held(Exception):
    """The lock is held; by whom, as far as can be found out."""


@contextmanager
def sole_use(lock: str, what: str, purpose: str) -> Iterator[None]:
    """Be the only one to use `what`, whose lock is `lock`; `purpose` is what a second one is told of us.

    Raises Taken with the process that holds it, StorageFailed if no lock can be had.
    """
    deadline_ns = clock.monotonic_ns() + GLANCE_NS
    with ExitStack() as held:
        while True:
            try:
                held.enter_context(_hold(lock, f"process {os.getpid()} ({purpose})"))
                break
            except _Held as error:
                if clock.monotonic_ns() > deadline_ns:
                    raise Taken(f"{what} is in use by {error}; end that first, or wait for it.") from None
                clock.wait_ns(LOOK_NS)
            except (OSError, KeyError, NotImplementedError) as error:
                raise StorageFailed(
                    f"{what} cannot be locked against other programs ({error}), so nothing was begun; "
                    "see that your temporary folder can be written."
                ) from None
        yield


def lock_of(name: Path | str) -> str:
    """The lock of a session or a port: the same for every name that it has, and for everybody on this computer."""
    real = os.path.realpath(name) if isinstance(name, Path) or os.path.exists(name) else name
    return hashlib.sha256(real.encode()).hexdigest()[:24]


def in_use(session: Path) -> bool:
    """Whether some program runs this session now. Raises StorageFailed."""
    try:
        with _hold(lock_of(session), None):
            return False
    except _Held:
        return True
    except (OSError, KeyError, NotImplementedError) as error:
        raise StorageFailed(f"{session}: whether a program runs it cannot be found out ({error}).") from None


def _bind(bound: ExitStack, name: str) -> None:
    """Bind the abstract name until `bound` is closed. Raises OSError."""
    bound.enter_context(socket.socket(socket.AF_UNIX)).bind(f"\0{name}")


@contextmanager
def _hold_name(lock: str, holder: str | None) -> Iterator[None]:
    """Hold an abstract name; a second one beside it says who does. Raises _Held, OSError."""
    name = f"{PREFIX}{lock}."
    with ExitStack() as bound:
        try:
            _bind(bound, name)
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise
            raise _Held(_holder(name)) from None
        if holder is not None:
            with suppress(OSError):  # it only helps the reader of a refusal
                _bind(bound, f"{name}{holder[:LONGEST]}")
        yield


def _holder(name: str) -> str:
    """Who holds the name."""
    with suppress(OSError):
        for line in IN_USE.read_text(encoding="utf-8", errors="replace").splitlines():
            holder = line.partition(f"@{name}")[2]
            if holder:
                return holder
    return ANOTHER


@contextmanager
def _hold_file(lock: str, holder: str | None) -> Iterator[None]:
    """Hold a file in this user's folder of locks; another one beside it says who does. Raises _Held, OSError."""
    folder = Path(tempfile.gettempdir()) / f"fullturn-locks-{getpass.getuser()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    file, owner = FileLock(folder / f"{lock}.lock"), folder / f"{lock}.owner"
    try:
        file.acquire(timeout=0)
    except Timeout:
        words = ANOTHER
        with suppress(OSError):
            words = owner.read_text(encoding="utf-8")
        raise _Held(words) from None
    try:
        if holder is not None:
            with suppress(OSError):
                owner.write_text(holder, encoding="utf-8")
        yield
    finally:
        if holder is not None:
            with suppress(OSError):
                owner.unlink(missing_ok=True)
        file.release()  # the file stays: whoever has just opened it must meet the next one who does


_hold: Callable[[str, str | None], AbstractContextManager[None]] = _hold_name if sys.platform == "linux" else _hold_file
