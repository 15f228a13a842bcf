"""Sessions of older versions: read without change, and migrated when they are opened to write.

`old/version_N.sqlite` was written by the program of that version: N = 2, five exposures of a capture that was stopped; 3
to 6, rehearsals of a row. See `test_kept.py` for whole journeys.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from controller.errors import InputError, StorageFailed
from controller.session import database
from controller.session.migrations import MIGRATIONS, OLDEST_VERSION, SESSION_VERSION, statements_from
from controller.session.rows import DoubtReason, DoubtRow, Intent, Moment, RequestRow, RunReason, RunRow, ShotOutcome
from controller.session.session import Session

OLD = Path(__file__).with_name("old") / "version_2.sqlite"
POSITIONS = {"commanded_pan_steps", "commanded_tilt_steps", "reported_pan_steps", "reported_tilt_steps"}


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return Path(shutil.copy(OLD, tmp_path / "session.sqlite"))


def columns(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Name, type, not null, default and key of every column, by table."""
    with closing(sqlite3.connect(path)) as db:
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: [row[1:] for row in db.execute(f"PRAGMA table_info({name})")] for name in tables}


def dump_of(path: Path) -> list[str]:
    """Everything in the file, as statements."""
    with closing(sqlite3.connect(path)) as db:
        return list(db.iterdump())


def version_of(path: Path) -> tuple[int, str]:
    with closing(sqlite3.connect(path)) as db:
        (number,) = db.execute("PRAGMA user_version").fetchone()
        (text,) = db.execute("SELECT value FROM about WHERE name = 'session_version'").fetchone()
        return number, text


def test_the_old_file_is_of_version_2(old: Path) -> None:
    assert version_of(old) == (0, "2")
    assert not POSITIONS & {str(column[0]) for column in columns(old)["exposures"]}


def test_what_is_read_of_an_old_session_is_what_was_written(old: Path) -> None:
    before = old.read_bytes()
    with Session.open(old) as session:
        shots = session.shots()
        assert [shot.intent.command_id for shot in shots] == [6, 7, 9, 10, 12]
        assert {shot.outcome for shot in shots} == {ShotOutcome.CONFIRMED}
        first = shots[0]
        assert first.intent == Intent(0, 0, 1, 6, 15.0, 5.0, 0.0125)
        assert (first.intended_ns, first.ended_ns, first.board_clock_ms) == (4649664287, 4854698977, 4852)
        assert first.reported_pan_steps is None
        assert session.doubts() == [DoubtRow(0, 1, 5, DoubtReason.SUSPECT)]
        assert session.made() == {(0, 0), (1, 0), (1, 1), (2, 0)}
        assert session.remembered().boot_id == 1806341206
        began = Moment(0, "2026-01-02T03:04:06.000+00:00")
        assert session.runs() == [RunRow(1, RunReason.BEGUN, began, None, "Stopped as asked.", complete=False)]
        assert session.next_command_id() == 13
    assert old.read_bytes() == before
    assert list(old.parent.iterdir()) == [old]


def test_an_old_session_is_written_on_as_one_of_this_version(old: Path, tmp_path: Path) -> None:
    with Session.open(old, to_write=True) as session:
        session.intend(Intent(2, 1, 1, 13, 359.9, 30.25, 0.025, 115168, 9680), 7)
        session.conclude(13, ShotOutcome.CONFIRMED, 8, 9, (115168, 9680))
        assert session.take_request() == RequestRow("retake", (2,))
    assert version_of(old) == (SESSION_VERSION, str(SESSION_VERSION))
    Session.create(tmp_path / "new.sqlite", {}, durable=True).close()
    assert columns(old) == columns(tmp_path / "new.sqlite")
    with Session.open(old) as session:
        *_, earlier, last = session.shots()
        assert earlier.intent.commanded_pan_steps is None
        assert (last.intent.commanded_pan_steps, last.intent.commanded_tilt_steps) == (115168, 9680)
        assert (last.reported_pan_steps, last.reported_tilt_steps) == (115168, 9680)


def test_a_new_session_says_its_version_in_both_places(tmp_path: Path) -> None:
    for durable in (True, False):
        path = tmp_path / f"{durable}.sqlite"
        Session.create(path, {}, durable=durable).close()
        assert version_of(path) == (SESSION_VERSION, str(SESSION_VERSION))


def test_every_older_version_has_its_migration() -> None:
    assert set(MIGRATIONS) == set(range(OLDEST_VERSION, SESSION_VERSION))


def test_a_migration_that_fails_changes_nothing(old: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = columns(old)
    monkeypatch.setitem(MIGRATIONS, 2, (*MIGRATIONS[2], "UPDATE nowhere SET nothing = 1"))
    with pytest.raises(StorageFailed):
        Session.open(old, to_write=True)
    assert columns(old) == before
    assert version_of(old) == (0, "2")


@pytest.mark.parametrize("version", range(OLDEST_VERSION, SESSION_VERSION))
def test_a_program_killed_in_a_migration_leaves_one_version_or_the_other(
    version: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before each statement the files are copied as they are, which is what a program killed there leaves."""
    path = Path(shutil.copy(OLD.with_name(f"version_{version}.sqlite"), tmp_path / "session.sqlite"))
    before = version_of(path), dump_of(path)
    moments: list[Path] = []

    def snap(_: str) -> None:
        moments.append(tmp_path / str(len(moments)))
        moments[-1].mkdir()
        for file in tmp_path.glob("session.sqlite*"):
            shutil.copy(file, moments[-1])

    def watched(db: sqlite3.Connection, older: int) -> None:
        db.set_trace_callback(snap)
        migrate(db, older)
        snap("afterwards")
        db.set_trace_callback(None)

    migrate = database.migrate
    monkeypatch.setattr(database, "migrate", watched)
    Session.open(path, to_write=True).close()
    monkeypatch.undo()
    after = version_of(path), dump_of(path)
    assert len(moments) > len(statements_from(version))
    for folder in moments:
        left = folder / "session.sqlite"
        assert (version_of(left), dump_of(left)) == (after if folder is moments[-1] else before)
        Session.open(left, to_write=True).close()
        assert (version_of(left), dump_of(left)) == after


@pytest.mark.parametrize("version", ["1", str(SESSION_VERSION + 1), "two"])
def test_versions_that_are_not_known(old: Path, version: str) -> None:
    with closing(sqlite3.connect(old)) as db:
        db.execute("UPDATE about SET value = ? WHERE name = 'session_version'", (version,))
        db.commit()
    for to_write in (False, True):
        with pytest.raises(InputError, match=f"this program reads versions 2 to {SESSION_VERSION}"):
            Session.open(old, to_write=to_write)


def test_zero_can_be_forgotten(old: Path) -> None:
    with Session.open(old, to_write=True) as session:
        assert session.remembered().boot_id == 1806341206
        session.forget_zero()
        assert session.remembered().boot_id is None


def test_command_ids_go_on_behind_the_highest_of_all(old: Path) -> None:
    with Session.open(old, to_write=True) as session:
        session.intend(Intent(2, 1, 1, 0xFFFFFFFF, 0.0, 0.0, 0.01), 7)
        assert session.next_command_id() == 1


def of_version_3(path: Path) -> None:
    """Turn the old file into one of version 3, as its program would have written it, with a last frame by hand."""
    plan = {"frames": [{"id": 0}, {"id": 1, "by_hand": False}, {"id": 2, "by_hand": True}]}
    with closing(sqlite3.connect(path)) as db:
        for statement in (*MIGRATIONS[2], "PRAGMA user_version = 3"):
            db.execute(statement)
        db.execute("UPDATE about SET value = '3' WHERE name = 'session_version'")
        db.execute("INSERT OR REPLACE INTO about VALUES ('plan', ?)", (json.dumps(plan),))
        db.commit()


def test_yaw_and_pitch_of_old_rows_are_angles_of_the_axes_but_for_frames_by_hand(old: Path) -> None:
    with closing(sqlite3.connect(old)) as db:
        before = db.execute("SELECT frame, yaw_deg, pitch_deg FROM exposures ORDER BY number").fetchall()
    of_version_3(old)
    assert {frame for frame, *_ in before} == {0, 1, 2}
    for to_write in (False, True):
        with Session.open(old, to_write=to_write) as session:
            after = [(s.intent.frame, s.intent.pan_deg, s.intent.tilt_deg) for s in session.shots()]
        assert after == [row if row[0] != 2 else (2, None, None) for row in before]


@pytest.mark.parametrize("plan", ["", "no plan", "[]", '{"frames": 3}', None])
def test_a_plan_that_cannot_be_read_is_no_reason_to_lose_a_session(old: Path, plan: str | None) -> None:
    of_version_3(old)
    with closing(sqlite3.connect(old)) as db:
        if plan is None:
            db.execute("DELETE FROM about WHERE name = 'plan'")
        else:
            db.execute("UPDATE about SET value = ? WHERE name = 'plan'", (plan,))
        db.commit()
    with Session.open(old, to_write=True) as session:
        assert [shot.intent.pan_deg for shot in session.shots()].count(None) == 0
        session.intend(Intent(2, 1, 1, 13, None, None, 0.025), 7)
        assert session.shots()[-1].intent.pan_deg is None


@pytest.mark.parametrize("version", range(OLDEST_VERSION, SESSION_VERSION))
def test_a_session_of_every_older_version_is_read_reported_and_written_on(version: int, tmp_path: Path) -> None:
    """The files were written by programs of their time: an update in the middle of a journey must not strand a set."""
    kept = OLD.with_name(f"version_{version}.sqlite")
    path = Path(shutil.copy(kept, tmp_path / "session.sqlite"))
    with Session.open(path) as session:
        before, made = session.shots(), session.made()
    assert version_of(path)[1] == str(version)
    assert before
    assert made
    assert path.read_bytes() == kept.read_bytes()
    frame, number = before[-1].intent.frame, session_next(path)
    with Session.open(path, to_write=True) as session:
        session.intend(Intent(frame, 1, 9, number, 10.0, 5.0, 0.0125, 3200, 1600), 1 << 40)
        session.conclude(number, ShotOutcome.CONFIRMED, (1 << 40) + 1, 9, (3200, 1600))
    assert version_of(path) == (SESSION_VERSION, str(SESSION_VERSION))
    with Session.open(path) as session:
        assert session.shots()[:-1] == before
        assert session.shots()[-1].intent.attempt == 9


def session_next(path: Path) -> int:
    with Session.open(path) as session:
        return session.next_command_id()
