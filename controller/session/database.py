"""The session's SQLite file: created, opened, migrated and folded into one file. The one module that imports sqlite3."""

import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from controller.errors import InputError, SessionGone, StorageFailed
from controller.files import copy_verified, remove_file, write_new
from controller.folders import temporary_folder
from controller.session.migrations import OLDEST_VERSION, SCHEMA, SESSION_VERSION, stamp, statements_from

Database = sqlite3.Connection
DatabaseError = sqlite3.Error
SQLITE_VERSION = sqlite3.sqlite_version_info
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)  # the second if a message quotes bytes of the file that are not UTF-8

CAUSES = {
    "SQLITE_FULL": "the disk is full; free some space",
    "SQLITE_READONLY": "it or its folder is write-protected; change the permissions or choose another place",
    "SQLITE_PERM": "it or its folder is write-protected; change the permissions or choose another place",
    "SQLITE_CANTOPEN": "it cannot be opened; check its name, its folder and the permissions",
    "SQLITE_BUSY": "another program is writing to it; wait for that program to finish",
    "SQLITE_IOERR": "the disk reports an error; copy the file to another disk",
    "SQLITE_CORRUPT": "the file is damaged; `fullturn report` shows what can still be read",
    "SQLITE_NOTADB": "the file is damaged; `fullturn report` shows what can still be read",
}
"""What each of SQLite's primary result codes means for the user, and the cure."""
NEEDS_WRITING = {"SQLITE_CANTOPEN", "SQLITE_READONLY"}
"""SQLite's codes for a file that exists, but that it cannot read without writing beside it."""


FileId = tuple[int, int] | None
"""Which file is at a path: its device and number there; None if there is none."""


def file_at(path: Path) -> FileId:
    """Which file is at a path."""
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_dev, about.st_ino


@contextmanager
def storage(path: Path) -> Iterator[None]:
    """Turn a failure of the database into one sentence. Raises StorageFailed; SessionGone if the file is gone."""
    try:
        yield
    except sqlite3.Error as error:
        if file_at(path) is None:  # SQLite reads an open file after it was removed, until it notices
            raise SessionGone(path) from error
        cause = CAUSES.get(_primary_code(error), f"the database reports: {error}")
        raise StorageFailed(f"The session {path} cannot be read or written: {cause}.") from error


def _primary_code(error: sqlite3.Error) -> str:
    """SQLite's primary result code by name; empty if there is none."""
    return "_".join(getattr(error, "sqlite_errorname", "").split("_")[:2])


def create(path: Path, about: dict[str, str]) -> None:
    """Write a new session with these facts to `path`, whole or not at all. Raises StorageFailed."""
    with sqlite3.connect(":memory:", isolation_level=None) as db:
        db.executescript(SCHEMA)
        db.executemany("INSERT INTO about VALUES (?, ?)", about.items())
        for statement in stamp():
            db.execute(statement)
        content = db.serialize()
    db.close()
    write_new(path, content)


def blank(tables: Iterable[str], columns: Mapping[str, Iterable[str]]) -> Database:
    """An empty session in memory; `tables` are the statements that created the tables of another session.

    A table missing there is created with its `columns` in that session's version, so that the result can be migrated.
    """
    db = sqlite3.connect(":memory:", isolation_level=None)
    for statement in tables:
        db.execute(statement)
    for table, names in columns.items():
        db.execute(f"CREATE TABLE IF NOT EXISTS {table} ({', '.join(names)})")
    return db


def connect(path: Path, *, durable: bool) -> Database:
    """A connection that reads and writes.

    Each statement is a transaction of its own, so a crash loses at most the statement that was being written.
    """
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute(f"PRAGMA journal_mode = {'WAL' if durable else 'MEMORY'}")
    connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'OFF'}")
    return connection


@contextmanager
def unsynced(db: Database, *, durable: bool) -> Iterator[None]:
    """Write without waiting for the disk. A killed program loses nothing of it, a power cut perhaps the latest.

    In a write-ahead log the next commit that does wait takes all earlier ones along (sqlite.org/pragma.html,
    "synchronous"). Not `durable`: the connection never waits.
    """
    if not durable or db.in_transaction:
        yield
        return
    db.execute("PRAGMA synchronous = NORMAL")
    try:
        yield
    finally:
        db.execute("PRAGMA synchronous = FULL")


def data_version(db: Database) -> int:
    """A number that changes when another connection has changed the file (sqlite.org/pragma.html, "data_version")."""
    return int(db.execute("PRAGMA data_version").fetchone()[0])


def connect_to_read(path: Path) -> Database:
    """A connection that leaves the file as it is.

    SQLite can read what a killed run left only by writing beside the file (sqlite.org/wal.html, "Read-Only Databases").
    On a read-only medium, and if a journal is left, the connection is therefore to a copy in memory. Raises
    DatabaseError, StorageFailed.
    """
    db = _reading(path)
    try:
        db.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        if not NEEDS_WRITING & {_primary_code(error)}:
            return db  # damage is found later, row by row
        db.close()
        return _copy_in_memory(path)
    except UNREADABLE:
        pass
    return db


def _reading(path: Path) -> Database:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)


def _copy_in_memory(path: Path) -> Database:
    """A copy of the session with the log or the journal beside it, which SQLite finds by their names.

    A power cut while the log is folded leaves a journal, with which SQLite first has to undo what was half written.
    """
    real = path.resolve()
    with temporary_folder() as folder:
        for source in (real, _log_of(real), real.with_name(f"{real.name}-journal")):
            if source.exists():
                copy_verified(source, folder / source.name)
        return in_memory(sqlite3.connect(folder / real.name, isolation_level=None))


def _log_of(path: Path) -> Path:
    real = path.resolve()
    return real.with_name(f"{real.name}-wal")


def fold(db: Database) -> None:
    """Move the write-ahead log into the file, so that one file holds everything.

    If another program is reading the file, the last one to close it does this.
    """
    with suppress(sqlite3.Error):
        db.execute("PRAGMA journal_mode = DELETE")


def folded(reading: Database, path: Path) -> Database:
    """A connection to read from, with the log folded into the file; the same connection if the file cannot be written."""
    try:
        db = connect(path, durable=True)
    except sqlite3.OperationalError:
        return reading
    reading.close()
    fold(db)
    db.close()
    return connect_to_read(path)


def remove(path: Path) -> None:
    """Remove a session that this program has just made, with its log. Raises nothing: a leftover does no harm.

    A log stays while a window has the session open, and must not be found beside the next session of that name.
    """
    for name in ("", "-wal", "-shm"):
        remove_file(path.with_name(f"{path.name}{name}"))


def left_behind(path: Path) -> bool:
    """Whether a killed run left a write-ahead log beside the session."""
    return _log_of(path).exists()


def version_of(db: Database, path: Path) -> int:
    """The session's version.

    Raises InputError if this program cannot read it, DatabaseError if the file is unreadable.
    """
    (number,) = db.execute("PRAGMA user_version").fetchone()  # set by version 3 and later
    row = db.execute("SELECT value FROM about WHERE name = 'session_version'").fetchone()
    stated = str(row[0]) if row else ""  # in a damaged session it may be of any type
    version = max(int(number), int(stated) if re.fullmatch("[0-9]{1,9}", stated) else 0)
    if not OLDEST_VERSION <= version <= SESSION_VERSION:
        known = f"{OLDEST_VERSION} to {SESSION_VERSION}"
        which = f"is a session of version {version}" if version > 0 else "does not say which version of a session it is"
        cure = "Use the version of Fullturn that wrote it." if version > 0 else "Name another file."
        raise InputError(f"{path}: {which}; this program reads versions {known}. {cure}")
    return version


def in_memory(reading: Database) -> Database:
    """A copy that may be changed; the file stays as it is."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    reading.backup(copy)
    reading.close()
    return copy


def migrate(db: Database, version: int) -> None:
    """Migrate a session from `version` to this version: all of it or nothing, even if the program is killed meanwhile."""
    db.execute("BEGIN IMMEDIATE")
    with db:
        for statement in statements_from(version):
            db.execute(statement)
