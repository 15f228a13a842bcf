"""Read what is left of a damaged session, row by row, into a copy in memory. The file itself is never touched."""

import re
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from controller.errors import InputError
from controller.session.database import UNREADABLE, Database, DatabaseError, blank, connect_to_read, version_of
from controller.session.migrations import OLDEST_VERSION, columns_of
from controller.session.rows import AXES, DoubtReason, QuestionKind, RunReason, ShotOutcome, Word
from controller.session.sifting import MOST_NS, doubtful_rows
from controller.session.talk_rows import SentenceKind
from controller.system.clock_trust import ClockTrust

Row = Mapping[str, Any]
FIRST_YEAR, LAST_YEAR = 1970, 2200  # a computer without a clock battery starts in 1970
MOST_CHARACTERS = 64 * 2**20  # of one fact: the plan is by far the longest
NOUNS = {
    "about": "facts about the run",
    "exposures": "exposures",
    "doubts": "doubts",
    "checks": "checks of zero",
    "wishes": "requests",
    "happenings": "changes of state",
    "runs": "runs",
    "zeros": "records of zero",
    "walks": "walks round the extremes",
    "questions": "questions",
    "sentences": "sentences",
    "pulse": "latest figures of a run",
    "clocks": "records of the time of day",
}
ANGLES = ("yaw_deg", "pitch_deg", "pan_deg", "tilt_deg")  # the first two up to version 3
PAIR = r"\[-?(0|[1-9][0-9]{0,8}), -?(0|[1-9][0-9]{0,8})\]"  # of steps, as JSON
NUMBERED = NOUNS.keys() - {"about", "questions", "pulse"}
"""The tables whose rows are numbered 1, 2, 3 and so on, so that a missing row is noticed.

A migrated session may contain only the latest question, under its own number.
"""


class _DamagedError(ValueError):
    """A row that no version of the program can have written."""


def read_soundly(path: Path) -> tuple[Database, int, tuple[str, ...]]:
    """A connection to read from, the session's version, and one phrase for each loss if it is damaged.

    For a damaged session this is a copy in memory of the readable rows. Raises InputError if the file is no session, or
    one that is too old or too new.
    """
    try:
        db = connect_to_read(path)
        try:
            version = version_of(db, path)
            if is_sound(db, version):
                return db, version, ()
        except UNREADABLE:
            pass  # damage is found later, row by row
        copy, losses = salvage(db)
        db.close()
        return copy, version_of(copy, path), losses or ("a part of the file that holds no rows",)
    except UNREADABLE:
        raise InputError(
            f"{path}: is not a session of this program. Name the .sqlite file that a capture or a rehearsal wrote."
        ) from None


def is_sound(db: Database, version: int) -> bool:
    """Whether every page, table and row of the database is something that the program may have written."""
    try:
        tables = columns_of(version)
        if any(_columns(db, table) != columns for table, columns in tables.items()):
            return False
        if db.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            return False
        return all(is_believable(table, row) for table in tables for row in doubtful_rows(db, table, tables[table]))
    except UNREADABLE:
        return False


def salvage(db: Database) -> tuple[Database, tuple[str, ...]]:
    """A sound copy in memory of the readable rows, with the same tables, and one phrase for each loss.

    Raises DatabaseError if not even the list of tables can be read.
    """
    found = dict(db.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'table'").fetchall())
    if not found.keys() >= {"about", "exposures"}:
        raise DatabaseError("no tables of a session")
    (version,) = db.execute("PRAGMA user_version").fetchone()
    known = columns_of(version or OLDEST_VERSION)
    whole = [found[name] for name, columns in known.items() if name in found and _columns(db, name) == columns]
    copy, losses = blank(whole, known), []
    copy.execute(f"PRAGMA user_version = {version or OLDEST_VERSION}")
    for table, columns in known.items():
        rows = dict(_readable(db, table, columns))
        kept = sum(is_believable(table, row) and _insert(copy, table, row) for _, row in sorted(rows.items()))
        expected = _expected(db, table, max(rows, default=0))
        if expected is None:
            losses.append(f"of an unknown number of {NOUNS[table]}, {kept} can be read")
        elif kept < expected:
            losses.append(f"{expected - kept} of {expected} {NOUNS[table]} cannot be read")
    return copy, tuple(losses)


def _columns(db: Database, table: str) -> frozenset[str]:
    return frozenset(row[1] for row in db.execute(f"PRAGMA table_info({table})"))


def _insert(copy: Database, table: str, row: Row) -> bool:
    """Insert the row; return whether its values have the types of its columns, which are strict."""
    names, marks = ", ".join(row), ", ".join("?" * len(row))
    try:
        copy.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(row.values()))
    except (*UNREADABLE, OverflowError):
        return False
    return True


def _expected(db: Database, table: str, highest: int) -> int | None:
    """How many rows the table had; None if unknown."""
    try:
        if table in NUMBERED:
            (last,) = db.execute(f"SELECT max(rowid) FROM {table}").fetchone()
            return max(highest, last or 0)
        (count,) = db.execute(f"SELECT count(*) FROM {table}").fetchone()
        return int(count)
    except UNREADABLE:
        return None


def _readable(db: Database, table: str, columns: Collection[str]) -> Iterator[tuple[int, Row]]:
    """Row number and row of every row that can be reached from the first row forward or from the last row backward."""
    seen: set[int] = set()
    for order, beyond in (("ASC", ">"), ("DESC", "<")):
        where = ""
        while (number := _next_number(db, table, f"{where} ORDER BY rowid {order}")) is not None and number not in seen:
            where = f"WHERE rowid {beyond} {number}"
            seen.add(number)
            with suppress(*UNREADABLE):
                row = db.execute(f"SELECT {', '.join(columns)} FROM {table} WHERE rowid = ?", (number,)).fetchone()
                if row is not None:
                    yield number, dict(zip(columns, row, strict=True))


def _next_number(db: Database, table: str, where: str) -> int | None:
    """The number of the next row; None at the end, or if the table cannot be followed any further."""
    with suppress(*UNREADABLE):
        row = db.execute(f"SELECT rowid FROM {table} {where} LIMIT 1").fetchone()
        return None if row is None else int(row[0])
    return None


def is_believable(table: str, row: Row) -> bool:
    """Whether the program may have written this row; its values may be of any type."""
    try:
        BELIEVABLE[table](row)
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError):
        return False
    return True


def _must(true: bool) -> None:
    if not true:
        raise _DamagedError


def _exposure(row: Row) -> None:
    _must(row["outcome"] is None or ShotOutcome(row["outcome"]) is not None)
    _must(0 <= row["intended_ns"] < MOST_NS and (row["ended_ns"] is None or 0 <= row["ended_ns"] < MOST_NS))
    _must(all(abs(row.get(name) or 0) <= 3600 for name in ANGLES) and 0 < row["shutter_s"] <= 36_000)
    _must(all(0 <= row[name] < 2**32 for name in ("frame", "exposure", "attempt", "command_id")))


def _doubt(row: Row) -> None:
    DoubtReason(row["why"])
    _must(row["frame"] >= 0 and row["exposure"] >= 0 and row["upto"] >= 0)


def _check(row: Row) -> None:
    _must(row["axis"] in AXES and row["upto"] >= 0)


def _request(row: Row) -> None:
    _must(row["taken"] in {0, 1} and row["wanted"].isprintable() and (row.get("question") or 0) >= 0)
    for frame in row["frames"].split(","):
        _must(frame == "" or frame.isdecimal())


def _happening(row: Row) -> None:
    _must(0 <= row["at_ns"] < MOST_NS and row["state"].isprintable())


def _run(row: Row) -> None:
    RunReason(row["why"])
    _must(row["first"] >= 1 and row["complete"] in {None, 0, 1})
    _must(all((row.get(name) or 0) >= 0 for name in ("began_after", "ended_after")))
    _must((row["began_ns"] is None) == (row["began_utc"] is None))
    if row["began_utc"] is not None:
        _must(0 <= row["began_ns"] < MOST_NS)
        _time_of_day(row["began_utc"])
    if row["ended_utc"] is not None:
        _time_of_day(row["ended_utc"])


def _time_of_day(text: str) -> None:
    _must(FIRST_YEAR <= datetime.fromisoformat(text).year <= LAST_YEAR)


def _zero(row: Row) -> None:
    _must(row["boot_id"] is None or 0 <= row["boot_id"] < 2**32)


def _walk(row: Row) -> None:
    for axis in AXES:
        _must(-(2**31) <= row[f"{axis}_from_steps"] <= row[f"{axis}_to_steps"] < 2**31)


def _question(row: Row) -> None:
    _must(row["open"] in {0, 1} and row["answer"] in {None, Word.YES, Word.NO})
    if row.get("asked_utc") is not None:
        _time_of_day(row["asked_utc"])
    _must(row.get("kind") is None or QuestionKind(row["kind"]) is not None)


def _sentence(row: Row) -> None:
    SentenceKind(row["kind"])
    _must(
        0 <= row["at_ns"] < MOST_NS and row["words"] != "" and (row["lasts_ns"] is None or 0 <= row["lasts_ns"] < MOST_NS)
    )
    _time_of_day(row["at_utc"])


def _pulse(row: Row) -> None:
    _time_of_day(row["at_utc"])
    _must(all(0 <= row[name] < MOST_NS for name in ("at_ns", "left_ns")))
    _must(all(0 <= row[name] < 2**32 for name in ("process", "done", "total", "sent", "repeated", "damaged")))
    _must(all(row[name] in {None, 0, 1} for name in ("supply_low", "gusts")) and row["shaped"] in {0, 1})
    _must(all(0 <= row[name] < MOST_NS / 1e9 for name in ("used_s", "moving_s")) and (row["used_wh"] or 0.0) >= 0)
    _must(all(0 <= (row[name] or 0.0) < MOST_NS / 1e9 for name in ("battery_s", "pause_in_s")))
    _must(row["pause"] is None or row["pause"].isprintable())


def _clock(row: Row) -> None:
    ClockTrust(row["trust"])
    _must(row["run"] >= 0 and 0 <= row["at_ns"] < MOST_NS and row["boot"].isprintable())
    _time_of_day(row["utc"])


def _fact(row: Row) -> None:
    name, value = row["name"], row["value"]
    _must(len(value) <= MOST_CHARACTERS)
    for start, check in FACTS_TO_4.items():
        if name.startswith(start):
            check(name.removeprefix(start), value)


def _digits(text: str, below: int) -> None:
    _must(text.isascii() and text.isdigit() and int(text) < below)


def _old_clock(first: str, value: str) -> None:
    then_ns, utc = value.split(" ")
    _digits(first, 2**32)
    _digits(then_ns, MOST_NS)
    _time_of_day(utc)


def _old_zero(_: str, value: str) -> None:
    _digits(value, 2**32)


def _old_walk(_: str, value: str) -> None:
    _must(re.fullmatch(rf"\[{PAIR}(, {PAIR})*\]", value) is not None)


def _old_question(_: str, value: str) -> None:
    _digits(value.partition(" ")[0], 2**32)


FACTS_TO_4: dict[str, Callable[[str, str], None]] = {
    "clock from ": _old_clock,
    "zero found by boot": _old_zero,
    "walked": _old_walk,
    "question": _old_question,
}
"""Facts of versions 2 to 4 that a migration parses, by the beginning of their names: each check raises if that fails."""
BELIEVABLE: dict[str, Callable[[Row], None]] = {
    "about": _fact,
    "exposures": _exposure,
    "doubts": _doubt,
    "checks": _check,
    "wishes": _request,
    "happenings": _happening,
    "runs": _run,
    "zeros": _zero,
    "walks": _walk,
    "questions": _question,
    "sentences": _sentence,
    "pulse": _pulse,
    "clocks": _clock,
}
"""For each table, a check that raises if the program cannot have written a row."""
