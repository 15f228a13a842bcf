"""Rows that SQL passes as plainly sound: the rule itself always believes them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.session.migrations import OLDEST_VERSION, SESSION_VERSION, columns_of
from controller.session.rows import ShotOutcome
from controller.session.salvage import is_believable
from controller.session.sifting import MOST_NS, SOUND, doubtful_rows

EDGES = [-1, 0, 1, 2**32 - 1, 2**32, MOST_NS - 1, MOST_NS, 2**63 - 1, -(2**63), 3600, 3601, 36_000, 36_001]
NUMBERS = st.sampled_from([*EDGES, 0.0, -0.0, 1e-9, 3600.0, 3600.5, -3600.5, 36_000.5, 1e308, -1e308])
TEXTS = [
    b"",
    b"confirmed",
    b"confirmed\0",
    b"settling",
    b"set\0\xff",
    b"\xff",
    b"\xc3\xa9",
    b"a\x1f",
    b"\x7f",
    b"12",
    b"5 ",
]
TEXT = st.sampled_from([*TEXTS, *(outcome.value.encode() for outcome in ShotOutcome)])
# How a value is stored. A damaged page may contain text that is not UTF-8, or any type in any column.
CELLS = st.one_of(
    NUMBERS.map(lambda value: ("?", value)),
    TEXT.map(lambda value: ("CAST(? AS TEXT)", value)),
    TEXT.map(lambda value: ("?", value)),
    st.just(("?", None)),
)
GOOD = {"outcome": ("?", "confirmed"), "state": ("?", "settling"), "what": ("?", "the move is complete")}
VERSIONS = range(OLDEST_VERSION, SESSION_VERSION + 1)


def stored(table: str, cells: Mapping[str, tuple[str, object]]) -> sqlite3.Connection:
    """A database in memory with this one row, in columns without types."""
    db = sqlite3.connect(":memory:")
    db.execute(f"CREATE TABLE {table} ({', '.join(cells)})")
    marks = ", ".join(mark for mark, _ in cells.values())
    db.execute(f"INSERT INTO {table} VALUES ({marks})", tuple(value for _, value in cells.values()))
    return db


@st.composite
def rows(draw: st.DrawFn) -> tuple[str, dict[str, tuple[str, object]]]:
    """A table and one of its rows: sound except for up to three cells, which may contain anything."""
    table = draw(st.sampled_from(sorted(SOUND)))
    columns = sorted(columns_of(draw(st.sampled_from(VERSIONS)))[table])
    cells = {column: GOOD.get(column, ("?", 1)) for column in columns}
    changed = draw(st.lists(st.sampled_from(columns), max_size=3))
    return table, cells | {column: draw(CELLS) for column in changed}


def read(db: sqlite3.Connection, table: str) -> Iterator[dict[str, object]]:
    cursor = db.execute(f"SELECT * FROM {table}")
    names = [column[0] for column in cursor.description]
    yield from (dict(zip(names, row, strict=True)) for row in cursor)


@given(rows())
def test_what_is_passed_is_believable(drawn: tuple[str, dict[str, tuple[str, object]]]) -> None:
    table, cells = drawn
    with closing(stored(table, cells)) as db:
        try:
            passed = not list(doubtful_rows(db, table, cells))
        except (sqlite3.Error, UnicodeDecodeError):
            return  # unreadable, so the session is damaged
        if passed:
            assert [is_believable(table, row) for row in read(db, table)] == [True]


@pytest.mark.parametrize("table", sorted(SOUND))
@pytest.mark.parametrize("version", VERSIONS)
def test_what_the_program_writes_is_passed(table: str, version: int) -> None:
    cells = {column: GOOD.get(column, ("?", 1)) for column in columns_of(version)[table]}
    with closing(stored(table, cells)) as db:
        assert list(doubtful_rows(db, table, cells)) == []


def test_a_table_of_few_rows_is_judged_whole() -> None:
    with closing(stored("wishes", {"number": ("?", 1), "wanted": ("?", "pause")})) as db:
        assert list(doubtful_rows(db, "wishes", ["number", "wanted"])) == [{"number": 1, "wanted": "pause"}]
