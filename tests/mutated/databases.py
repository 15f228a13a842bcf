"""Ways to damage a SQLite file: in its pages (the SQLite file format, 1.2 to 1.6), and in the contents of its tables."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path
from random import Random

from tests.mutated.spoiling import NASTY

HEADER = 100
FIELDS = {16: 2, 18: 1, 19: 1, 20: 1, 24: 4, 28: 4, 32: 4, 36: 4, 40: 4, 44: 4, 52: 4, 56: 4, 60: 4, 64: 4, 96: 4}
"""The numbers in the header: their places and their sizes in bytes (1.3)."""


def spoil_pages(path: Path, chance: Random) -> None:
    """Damage a number in the file's header or in a page's, or a whole page."""
    content = bytearray(path.read_bytes())
    page_size = struct.unpack_from(">H", content, 16)[0] or 4096
    pages = max(1, len(content) // page_size)
    page = chance.randrange(pages)
    begin = page * page_size
    head = begin + (HEADER if page == 0 else 0)
    how = chance.randrange(6)
    if how == 0:
        at = chance.choice(sorted(FIELDS))
        content[at : at + FIELDS[at]] = chance.randbytes(FIELDS[at])
    elif how == 1:  # kind of page, free blocks, cells, where cells begin, the right-most child
        content[head + chance.randrange(12)] = chance.choice((0, 2, 5, 10, 13, 255))
    elif how == 2:  # a cell's place
        at = head + 8 + 2 * chance.randrange(20)
        content[at : at + 2] = chance.randbytes(2)
    elif how == 3:
        other = chance.randrange(pages) * page_size
        content[begin : begin + page_size] = content[other : other + page_size]
    elif how == 4:
        content[begin : begin + page_size] = bytes(page_size)
    else:
        at = begin + chance.randrange(page_size)
        content[at : at + 9] = b"\xff" * 9  # the longest number of variable length
    path.write_bytes(bytes(content))


def spoil_tables(path: Path, chance: Random) -> None:
    """Change one cell, row or table as SQLite itself allows."""
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.execute("PRAGMA writable_schema = ON")
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        table = chance.choice([name for name in tables if not name.startswith("sqlite_")])
        columns = [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
        rows = db.execute(f"SELECT rowid FROM {table}").fetchall()
        row = chance.choice(rows) if rows else None
        how = chance.randrange(8)
        try:
            if how == 0:
                db.execute(f"DROP TABLE {table}")
            elif how == 1:
                db.execute(f"DELETE FROM {table}")
            elif how == 2:
                db.execute(f"PRAGMA user_version = {chance.choice((0, 1, 2, 3, 99, -5))}")
            elif how == 3:
                db.execute(f"ALTER TABLE {table} RENAME COLUMN {chance.choice(columns)} TO other")
            elif row is not None:
                value = chance.choice([one for one in NASTY if isinstance(one, (int, float, str, type(None)))])
                db.execute(f"UPDATE {table} SET {chance.choice(columns)} = ? WHERE rowid = ?", (value, *row))
        except (sqlite3.Error, OverflowError, UnicodeEncodeError):
            pass  # forbidden by the types of the columns, or by UTF-8
