"""The session's SQLite file: created, opened, migrated and folded into one file. The one module that imports sqlite3."""

import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from controller.errors import InputError, StorageFailed
from controller.files import copy_verified, write_new
from controller.folders import temporary_folder
from controller.session.migrations import OLDEST_VERSION, SCHEMA, SESSION_VERSION, stamp, statements_from

Database = sqlite3.Connection
DatabaseError = sqlite3.Error
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)  # the second where the message would quote bytes of the file

CAUSES = {
    "SQLITE_FULL": "the disk is full; free some space",
    "SQLITE_READONLY": "it or its folder may not be written to; change the permissions or choose another place",
    "SQLITE_PERM": "it or its folder may not be written to; change the permissions or choose another place",
    "SQLITE_CANTOPEN": "it cannot be opened; check its name, its folder and the permissions",
    "SQLITE_BUSY": "another program is writing to it; wait for that program to finish",
    "SQLITE_IOERR": "the disk reports an error; copy the file to another disk",
    "SQLITE_CORRUPT": "the file is damaged; `fullturn report` shows what can still be read",
    "SQLITE_NOTADB": "the file is damaged; `fullturn report` shows what can still be read",
}
"""What each of SQLite's primary result codes means for the user, and what to do."""
NEEDS_WRITING = {"SQLITE_CANTOPEN", "SQLITE_READONLY"}
"""What SQLite says of a file that is there and that it cannot read without writing beside it."""


@contextmanager
def storage(path: Path) -> Iterator[None]:
    """Turn a failure of the database into one sentence. Raises StorageFailed."""
    try:
        yield
    except sqlite3.Error as error:
        cause = CAUSES.get(_primary_code(error), f"the database reports: {error}")
        raise StorageFailed(f"The session {path} cannot be read or written: {cause}.") from error


def _primary_code(error: sqlite3.Error) -> str:
    """The name of SQLite's result code without what extends it; empty if there is none."""
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
    """A session in memory without any rows; `tables` are the statements that made the tables of another one.

    Tables that are missing there get the `columns` of its version, so that it can be migrated like a whole one.
    """
    db = sqlite3.connect(":memory:", isolation_level=None)
    for statement in tables:
        db.execute(statement)
    for table, names in columns.items():
        db.execute(f"CREATE TABLE IF NOT EXISTS {table} ({', '.join(names)})")
    return db


def connect(path: Path, *, durable: bool) -> Database:
    """A connection that reads and writes; every statement is its own transaction.

    So a crash loses at most the statement that was being written.
    """
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute(f"PRAGMA journal_mode = {'WAL' if durable else 'MEMORY'}")
    connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'OFF'}")
    return connection


def connect_to_read(path: Path) -> Database:
    """A connection that leaves the file as it is.

    SQLite reads what a killed run left only by writing beside it (sqlite.org/wal.html, "Read-Only Databases"). On a
    medium that may only be read, this is a copy in memory. Raises DatabaseError, StorageFailed.
    """
    db = _reading(path)
    try:
        db.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        if not NEEDS_WRITING & {_primary_code(error)}:
            return db  # what can be read of it is found out row by row
        db.close()
        return _copy_in_memory(path)
    except UNREADABLE:
        pass
    return db


def _reading(path: Path) -> Database:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)


def _copy_in_memory(path: Path) -> Database:
    """A copy of the session and of the log beside it, which SQLite finds by its name."""
    real = path.resolve()
    with temporary_folder() as folder:
        for source in (real, _log_of(real)):
            if source.exists():
                copy_verified(source, folder / source.name)
        return in_memory(_reading(folder / real.name))


def _log_of(path: Path) -> Path:
    real = path.resolve()
    return real.with_name(f"{real.name}-wal")


def fold(db: Database) -> None:
    """Move what is in the write-ahead log into the file, so that one file is all there is.

    If another program reads the file now, the last one to close it does this.
    """
    with suppress(sqlite3.Error):
        db.execute("PRAGMA journal_mode = DELETE")


def folded(reading: Database, path: Path) -> Database:
    """A connection to read from, with the log folded into the file; the same connection if that cannot be written."""
    try:
        db = connect(path, durable=True)
    except sqlite3.OperationalError:
        return reading
    reading.close()
    fold(db)
    db.close()
    return connect_to_read(path)


def left_behind(path: Path) -> bool:
    """Whether a killed run left a write-ahead log beside the session."""
    return _log_of(path).exists()


def version_of(db: Database, path: Path) -> int:
    """The session's version. Raises InputError if this program cannot read it, DatabaseError if nothing can."""
    (number,) = db.execute("PRAGMA user_version").fetchone()  # of version 3 and later
    row = db.execute("SELECT value FROM about WHERE name = 'session_version'").fetchone()
    stated = str(row[0]) if row else ""  # of a damaged one it may be of any type
    version = max(int(number), int(stated) if re.fullmatch("[0-9]{1,9}", stated) else 0)
    if not OLDEST_VERSION <= version <= SESSION_VERSION:
        known = f"{OLDEST_VERSION} to {SESSION_VERSION}"
        which = f"is a session of version {version}" if version > 0 else "does not say which version of a session it is"
        cure = "Take the version of Fullturn that wrote it." if version > 0 else "Name another file."
        raise InputError(f"{path}: {which}; this program reads versions {known}. {cure}")
    return version


def in_memory(reading: Database) -> Database:
    """A copy that may be changed; the file stays as it is."""
    copy = sqlite3.connect(":memory:", isolation_level=None)
    reading.backup(copy)
    reading.close()
    return copy


def migrate(db: Database, version: int) -> None:
    """Make a session of `version` one of this version: all of it or nothing, even if the program is killed meanwhile."""
    db.execute("BEGIN IMMEDIATE")
    with db:
        for statement in statements_from(version):
            db.execute(statement)
