"""Locks as files, for systems without abstract socket names: locked, never deleted, and never followed elsewhere.

The lock of a session is a hidden file beside it, where whoever may write the session may lock it. The lock of a port is
in one folder that all users share: writable by all, with the sticky bit, so that only who made the folder can remove
another's file (chmod(2)). A link in place of either, a folder whose files anybody could exchange, or anything that is no
plain file with one name is refused, so nothing can be planted that a lock would then overwrite. Who made the folder can
still take the locks away: as with abstract names, this keeps programs apart by mistake, not by malice.

The system lets a lock go when its holder ends, however it ends; a file that stays behind is no lock. Who holds it is in
the file itself, and believed only while it is locked.
"""

import errno
import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

ANOTHER = "another program"
LONGEST = 64  # of what a holder says of itself: an abstract name has room for 107 bytes
SHARED = Path("/tmp" if sys.platform != "win32" else tempfile.gettempdir()) / "fullturn-locks"
EVERYBODY = stat.S_IRUSR | stat.S_IWUSR | stat.S_IRGRP | stat.S_IWGRP | stat.S_IROTH | stat.S_IWOTH
FOLDER_MODE = 0o1777
READ_ONLY = {errno.EACCES, errno.EPERM, errno.EROFS}
LOCKED = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}
FAR = 1 << 20  # the byte that Windows locks, far behind the words, so that these can still be read
LONGEST_NAME = 200  # bytes of a session's name in its lock's


class LockHeld(Exception):
    """The lock is held; by whom, as far as can be found out."""


class Planted(OSError):
    """Something else is where the lock should be."""


def words_of_holder(text: str) -> str:
    """What a holder says of itself, as one printable line."""
    words = "".join(letter for letter in text[:LONGEST] if letter.isprintable()).strip()
    return words or ANOTHER


@contextmanager
def hold_file(name: str, session: Path | None, holder: str | None) -> Iterator[None]:
    """Hold the lock of a session, or of a port by its `name`. Raises Held, OSError.

    A `holder` of None only looks whether it is held: no file is made for that, and none is needed.
    """
    if session is not None:
        path = session.with_name(f".{_short(session.name)}.lock")
    else:
        path = _shared_folder() / f"{name}.lock"
    with ExitStack() as opened:
        number = _opened(path, make=holder is not None)
        if number is None:
            yield  # nobody ever locked it
            return
        opened.callback(os.close, number)
        if not _lock(number):
            raise LockHeld(_read_words(number))
        if holder is not None:
            _write_words(number, holder)
            opened.callback(_write_words, number, "")
        yield


def _short(name: str) -> str:
    data = os.fsencode(name)
    return name if len(data) <= LONGEST_NAME else hashlib.sha256(data).hexdigest()


def _shared_folder() -> Path:
    """The folder of the ports' locks, made if need be. Raises OSError."""
    with suppress(FileExistsError):
        SHARED.mkdir()
        SHARED.chmod(FOLDER_MODE)  # what the mask of new files took away
    if sys.platform == "win32":
        return SHARED
    about = SHARED.lstat()
    if not stat.S_ISDIR(about.st_mode):
        raise Planted(f"{SHARED} is no folder")
    if about.st_mode & stat.S_IWOTH and not about.st_mode & stat.S_ISVTX:
        raise Planted(f"{SHARED} has no sticky bit")
    return SHARED


def _opened(path: Path, *, make: bool) -> int | None:
    """The lock's file, open; None if there is none and none is to be made. Raises OSError.

    An existing file is opened without O_CREAT: Linux may refuse that in a shared folder for a file of somebody else.
    """
    safe = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_NONBLOCK", 0)
    for _ in range(2):
        try:
            return _checked(_open_writable_or_not(path, safe))
        except FileNotFoundError:
            if not make:
                return None
        with suppress(FileExistsError):
            number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | safe, EVERYBODY)
            with suppress(OSError, AttributeError):
                os.fchmod(number, EVERYBODY)  # whoever comes next may be another user
            return _checked(number)
    return _checked(_open_writable_or_not(path, safe))


def _open_writable_or_not(path: Path, safe: int) -> int:
    try:
        return os.open(path, os.O_RDWR | safe)
    except OSError as error:
        if error.errno not in READ_ONLY:
            raise
        # A disk that can only be read, or a file that only others may write: to lock it, reading is enough.
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
    """Say who holds it; it only helps the reader of a refusal."""
    with suppress(OSError):
        os.ftruncate(number, 0)
        os.lseek(number, 0, os.SEEK_SET)
        os.write(number, words[:LONGEST].encode())


def _lock(number: int) -> bool:
    """Lock an open file; False if another program has it. Raises OSError."""
    try:
        if sys.platform == "win32":
            import msvcrt  # noqa: PLC0415

            os.lseek(number, FAR, os.SEEK_SET)
            msvcrt.locking(number, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl  # noqa: PLC0415

            fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in LOCKED:
            return False
        raise
    return True
