"""Locks as files, for systems without abstract socket names: locked, never followed through a link.

The lock of a session is a hidden file beside it, so anybody who may write the session may lock it. The lock of a port is
in one folder that all users share: writable by all, with the sticky bit, so that only the folder's maker can remove
another's file (chmod(2)). A link in place of either is refused. So is a folder whose files anybody could exchange, and
anything that is not a plain file with one name. So nothing can be planted that a lock would then overwrite. The folder's
maker can still take the locks away: as with abstract names, this prevents mistakes, not malice.

The system releases a lock when its holder ends, however it ends; a leftover file is no lock. A holder that ends in order
removes its file. The holder's name is in the file itself, and counts only while the file is locked.
"""

import errno
import hashlib
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from controller.system.chosen import WINDOWS, locks
from controller.system.opening import NO_FOLLOW, NO_WAIT, NOT_FOR_CHILDREN

ANOTHER = "another program"
LONGEST = 64  # of a holder's description: an abstract name has room for 107 bytes
SHARED = Path(tempfile.gettempdir() if WINDOWS else "/tmp") / "fullturn-locks"
EVERYBODY = stat.S_IRUSR | stat.S_IWUSR | stat.S_IRGRP | stat.S_IWGRP | stat.S_IROTH | stat.S_IWOTH
FOLDER_MODE = 0o1777
READ_ONLY = {errno.EACCES, errno.EPERM, errno.EROFS}
MOST_REMOVED = 100  # times that a lock's file may be removed while it is being opened
LONGEST_NAME = 200  # bytes of a session's name in the name of its lock


class LockHeld(Exception):
    """The lock is held; the message names the holder if known."""


class Planted(OSError):
    """Something else is in the place of the lock."""


def words_of_holder(text: str) -> str:
    """A holder's description as one printable line."""
    words = "".join(letter for letter in text[:LONGEST] if letter.isprintable()).strip()
    return words or ANOTHER


@contextmanager
def hold_file(name: str, session: Path | None, holder: str | None) -> Iterator[None]:
    """Hold the lock of a session, or of a port by its `name`. Raises Held, OSError.

    With a `holder` of None it only checks whether the lock is held, and neither makes nor needs a file.
    """
    if session is not None:
        path = session.with_name(f".{_short(session.name)}.lock")
    else:
        path = _shared_folder() / f"{name}.lock"
    with ExitStack() as opened:
        number = _locked(path, make=holder is not None)
        if number is None:
            yield  # it was never locked
            return
        ours = holder is not None
        opened.callback(lambda: _let_go(path, number, ours=ours))
        if holder is not None:
            _write_words(number, holder)
        yield


def _locked(path: Path, *, make: bool) -> int | None:
    """The lock's file, locked; None if it does not exist and `make` is false. Raises Held, OSError."""
    for _ in range(MOST_REMOVED):
        number = _opened(path, make=make)
        if number is None:
            return None
        try:
            if not locks.lock(number):
                raise LockHeld(_read_words(number))
            if _is_at(path, number):
                return number
        except BaseException:
            os.close(number)
            raise
        os.close(number)  # its holder removed it after we had opened it
    raise Planted(f"{path} is removed again and again")


def _is_at(path: Path, number: int) -> bool:
    """Whether an open file is still the one at a path."""
    try:
        there = path.lstat()
    except FileNotFoundError:
        return False
    return os.path.samestat(there, os.fstat(number))


def _let_go(path: Path, number: int, *, ours: bool) -> None:
    """Release a lock. If it was `ours`, remove its file; that of another user in the shared folder stays, and is no lock.

    On POSIX it is removed while it is still locked, so that nobody can have locked it since. Windows refuses to remove a
    file that anybody has open.
    """
    if ours:
        _write_words(number, "")
        if not WINDOWS:
            _remove(path)
    with suppress(OSError):
        locks.unlock(number)
    os.close(number)
    if ours and WINDOWS:
        _remove(path)


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()


def _short(name: str) -> str:
    data = os.fsencode(name)
    return name if len(data) <= LONGEST_NAME else hashlib.sha256(data).hexdigest()


def _shared_folder() -> Path:
    """The folder of the ports' locks, made if necessary. Raises OSError."""
    if not os.path.lexists(SHARED):
        _make_shared_folder()
    if WINDOWS:
        return SHARED
    about = SHARED.lstat()
    if not stat.S_ISDIR(about.st_mode):
        raise Planted(f"{SHARED} is no folder")
    if about.st_mode & stat.S_IWOTH and not about.st_mode & stat.S_ISVTX:
        raise Planted(f"{SHARED} has no sticky bit")
    return SHARED


def _make_shared_folder() -> None:
    """Make it under another name first, so that no killed program leaves one that only its own user can write to."""
    made = Path(tempfile.mkdtemp(prefix=f"{SHARED.name}-", dir=SHARED.parent))
    try:
        made.chmod(FOLDER_MODE)
        made.rename(SHARED)
    except OSError:  # another program has made it meanwhile
        made.rmdir()


def _opened(path: Path, *, make: bool) -> int | None:
    """The lock's file, opened; None if it does not exist and `make` is false. Raises OSError.

    An existing file is opened without O_CREAT, because Linux may refuse that in a shared folder for another user's file.
    """
    safe = NO_FOLLOW | NOT_FOR_CHILDREN | NO_WAIT
    for _ in range(2):
        try:
            return _checked(_open_writable_or_not(path, safe))
        except FileNotFoundError:
            if not make:
                return None
        with suppress(FileExistsError):
            number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | safe, EVERYBODY)
            with suppress(OSError, TypeError):  # Windows takes no descriptor, and needs none
                os.chmod(number, EVERYBODY)  # the next one may be another user
            return _checked(number)
    return _checked(_open_writable_or_not(path, safe))


def _open_writable_or_not(path: Path, safe: int) -> int:
    try:
        return os.open(path, os.O_RDWR | safe)
    except OSError as error:
        if error.errno not in READ_ONLY:
            raise
        # A read-only disk, or a file that only others may write: reading is enough to lock it.
        return os.open(path, os.O_RDONLY | safe)


def _checked(number: int) -> int:
    about = os.fstat(number)
    if not stat.S_ISREG(about.st_mode) or about.st_nlink > 1:
        os.close(number)
        raise Planted("the lock is no plain file of its own")
    return number


def _read_words(number: int) -> str:
    with suppress(OSError):
        os.lseek(number, 0, os.SEEK_SET)
        return words_of_holder(os.read(number, 4 * LONGEST).decode("utf-8", "replace"))
    return ANOTHER


def _write_words(number: int, words: str) -> None:
    """Write the holder's description; it only makes a refusal more helpful."""
    with suppress(OSError):
        os.ftruncate(number, 0)
        os.lseek(number, 0, os.SEEK_SET)
        os.write(number, words[:LONGEST].encode())
