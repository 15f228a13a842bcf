"""One program at a time on a session or a port: a lock that the system lets go when its holder dies."""

import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout

from controller.errors import StorageFailed, WorldError


class Taken(WorldError):
    """Another program holds it."""


@contextmanager
def sole_use(path: Path, what: str, purpose: str) -> Iterator[None]:
    """Be the only one to use `what`, whose lock is at `path`; `purpose` is what a second one is told of us.

    Raises Taken with the process that holds it, StorageFailed where no lock can be made.
    """
    lock, owner = FileLock(path), path.with_name(path.name + ".owner")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        holder = "another program"
        with suppress(OSError):
            holder = owner.read_text(encoding="utf-8")
        raise Taken(f"{what} is in use by {holder}; end that first, or wait for it.") from None
    except (OSError, NotImplementedError) as error:
        raise StorageFailed(f"{path} cannot be made ({error}); choose a folder that can be written.") from None
    try:
        with suppress(OSError):  # it only helps the reader of a refusal
            owner.write_text(f"process {os.getpid()} ({purpose})", encoding="utf-8")
        yield
    finally:
        with suppress(OSError):
            owner.unlink(missing_ok=True)
        lock.release()  # the file stays: whoever has just opened it must meet the next one who does


def lock_of(name: Path | str) -> Path:
    """Where the lock of a session or a port lies: for everybody on this computer at the same place, out of the way."""
    real = os.path.realpath(name) if isinstance(name, Path) or os.path.exists(name) else name
    folder = Path(tempfile.gettempdir()) / "fullturn-locks"
    with suppress(OSError):  # if it cannot be made, neither can the lock, which says so
        folder.mkdir(mode=0o777, exist_ok=True)
    return folder / f"{hashlib.sha256(real.encode()).hexdigest()[:16]}.lock"


def in_use(session: Path) -> bool:
    """Whether some program runs this session now."""
    try:
        with sole_use(lock_of(session), str(session), "a look"):
            return False
    except Taken:
        return True
