"""One program at a time on a session or a port: a lock that the system releases when its holder ends.

On Linux a lock is a name that a process binds among the kernel's abstract socket names. One process of any user can hold
it. No file is left behind that could block another user, and the name is free as soon as its holder ends. Anybody can
hold any name, as with every lock that works without root. So it prevents mistakes, not malice. On other systems a lock is
a locked file, beside the session or in a folder that all users share (see `lock_file`).

See unix(7) of the Linux manual for abstract names, and proc(5) for the list of those in use.
"""

import hashlib
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from controller import clock
from controller.errors import StorageFailed, WorldError
from controller.lock_file import ANOTHER, LONGEST, LockHeld, hold_file, words_of_holder
from controller.system.abstract_names import bind_name, bound_after
from controller.system.chosen import ABSTRACT_NAMES, serial_names
from protocol.units import MS

GLANCE_NS, LOOK_NS = 200 * MS, 10 * MS  # how long a program that only checks may hold a lock, and the interval of retries
PREFIX = "fullturn."


class Taken(WorldError):
    """Another program holds the lock."""


@dataclass(frozen=True, slots=True)
class Lock:
    """A lock: its name, the same for everybody on this computer, and its session (None for a port)."""

    name: str
    session: Path | None = None


@contextmanager
def sole_use(lock: Lock, what: str, purpose: str) -> Iterator[None]:
    """Be the only user of `what`, whose lock is `lock`; a second program is told our `purpose`.

    Raises Taken with the process that holds it, StorageFailed if no lock is possible.
    """
    deadline_ns = clock.monotonic_ns() + GLANCE_NS
    with ExitStack() as held:
        while True:
            try:
                held.enter_context(_hold(lock, f"process {os.getpid()} ({purpose})"))
                break
            except LockHeld as error:
                if clock.monotonic_ns() > deadline_ns:
                    raise Taken(f"{what} is in use by {error}; end that first, or wait for it.") from None
                clock.wait_ns(LOOK_NS)
            except OSError:
                where = "the session's folder" if lock.session is not None else "the folder for temporary files"
                raise StorageFailed(
                    f"{what} cannot be locked against other programs, so nothing was begun; see that you can write to "
                    f"{where}, and that nobody put something else in the lock's place."
                ) from None
        yield


def lock_of(name: Path | str) -> Lock:
    """The lock of a session or a port: the same for each of its names, and for everybody on this computer."""
    real = os.path.realpath(name) if isinstance(name, Path) else serial_names.one_name(name)
    return Lock(hashlib.sha256(os.fsencode(real)).hexdigest()[:24], Path(real) if isinstance(name, Path) else None)


def in_use(session: Path) -> bool:
    """Whether another program is running this session now. Raises StorageFailed."""
    try:
        with _hold(lock_of(session), None):
            return False
    except LockHeld:
        return True
    except OSError:
        raise StorageFailed(
            f"{session}: whether a program runs it cannot be found out; see who may read its folder."
        ) from None


@contextmanager
def _hold_name(lock: Lock, holder: str | None) -> Iterator[None]:
    """Hold an abstract name; a second name beside it describes the holder. Raises Held, OSError."""
    name = f"{PREFIX}{lock.name}."
    with ExitStack() as bound:
        if not bind_name(bound, name):
            holds = bound_after(name)
            raise LockHeld(ANOTHER if holds is None else words_of_holder(holds))
        if holder is not None:
            with suppress(OSError):  # it only makes a refusal more helpful
                bind_name(bound, f"{name}{holder[:LONGEST]}")
        yield


@contextmanager
def _hold_file(lock: Lock, holder: str | None) -> Iterator[None]:
    """Hold a locked file. Raises Held, OSError."""
    with hold_file(lock.name, lock.session, holder):
        yield


_hold: Callable[[Lock, str | None], AbstractContextManager[None]] = _hold_name if ABSTRACT_NAMES else _hold_file
