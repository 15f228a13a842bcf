"""The session file: its content, the order in which it is written, and how it fails."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from controller.errors import InputError, StorageFailed
from controller.session.checks import CheckRow
from controller.session.migrations import SESSION_VERSION
from controller.session.rows import (
    DoubtReason,
    DoubtRow,
    Happening,
    Intent,
    Moment,
    RunReason,
    RunRow,
    ShotOutcome,
    ShotRow,
    WalkRow,
    Word,
    with_requests,
)
from controller.session.session import Session

ABOUT = {"kind": "test", "seed": "7"}


def intent(command_id: int, frame: int = 0, attempt: int = 1) -> Intent:
    return Intent(frame, 1, attempt, command_id, 12.5, -3.25, 0.0125)


@pytest.fixture(params=[True, False], ids=["durable", "not durable"])
def path(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A fresh session's file."""
    made = tmp_path / "session.sqlite"
    Session.create(made, ABOUT, durable=request.param).close()
    return made


def healthy(path: Path) -> bool:
    with closing(sqlite3.connect(path)) as db:
        return db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_what_is_said_about_the_run_can_be_read_again(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        assert session.about() == {"session_version": str(SESSION_VERSION), **ABOUT}
        session.note_about("weather", "first")
        session.note_about("weather", "calm")
    with Session.open(path) as session:
        assert session.about()["weather"] == "calm"
        assert session.shots() == []
        assert session.happenings() == []


@pytest.mark.parametrize("complete", [True, False])
def test_each_run_is_kept_with_its_beginning_and_its_end(path: Path, complete: bool) -> None:
    began = Moment(5, "2026-03-01T10:00:00+00:00")
    with Session.open(path, to_write=True) as session:
        session.begin_run(RunReason.BEGUN, None)
        session.intend(intent(1), 1)
        session.end_run("It ended.", complete=complete, utc="2026-03-01T09:00:00+00:00")
        session.begin_run(RunReason.RESUMED, began)
    with Session.open(path) as session:
        assert session.runs() == [
            RunRow(1, RunReason.BEGUN, None, "2026-03-01T09:00:00+00:00", "It ended.", complete),
            RunRow(2, RunReason.RESUMED, began),
        ]


def test_a_question_is_open_until_it_is_answered_or_another_is_asked(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        assert session.open_question() is None
        assert session.ask("Is it level?") == 1
        assert session.ask("Is it clear?") == 2
        assert session.open_question() == (2, "Is it clear?")
        session.close_question(Word.YES)
        session.close_question()
        assert session.open_question() is None
    with closing(sqlite3.connect(path)) as db:
        kept = db.execute("SELECT words, open, answer FROM questions ORDER BY number").fetchall()
    assert kept == [("Is it level?", 0, None), ("Is it clear?", 0, "yes")]


def test_the_latest_walk_counts(path: Path) -> None:
    small, large = WalkRow(-10, 20, -5, 5), WalkRow(-10, 21, -5, 5)
    with Session.open(path, to_write=True) as session:
        assert session.latest_walk() is None
        for walk in (large, small):
            session.note_walk(walk)
        assert session.latest_walk() == small
    assert large.covers(small)
    assert not small.covers(large)


def test_a_reference_run_checks_both_axes(path: Path) -> None:
    """It checks everything exposed before it; later exposures wait for the next check."""
    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 10)
        session.note_zero(77)
        assert session.checks() == [CheckRow("pan", 1), CheckRow("tilt", 1)]


def test_only_what_counts_is_requested_again(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        for number, outcome in enumerate((ShotOutcome.CONFIRMED, ShotOutcome.UNCONFIRMED, None, ShotOutcome.CONFIRMED)):
            session.intend(intent(number + 1, frame=number), 10)
            if outcome is not None:
                session.conclude(number + 1, outcome, 20, 5)
        shots = session.shots()
    assert with_requests([], shots, {0, 1, 2}) == [DoubtRow(0, 1, 4, DoubtReason.RETAKE)]
    already = DoubtRow(0, 1, 1, DoubtReason.SUSPECT)
    assert with_requests([already], shots, {0}) == [already]
    assert with_requests([], [], {0}) == []


def test_the_intent_is_there_before_the_outcome(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        session.intend(intent(4), 1000)
        with Session.open(path) as reader:  # another connection sees it at once, so it is in the file
            assert reader.shots() == [ShotRow(1, intent(4), 1000, None, None, None)]
        session.conclude(4, ShotOutcome.CONFIRMED, 2000, 55)
        with Session.open(path) as reader:
            assert reader.shots() == [ShotRow(1, intent(4), 1000, ShotOutcome.CONFIRMED, 2000, 55)]


def test_an_exposure_without_an_outcome_is_in_doubt(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        for number in (1, 2, 3):
            session.intend(intent(number, frame=number), number)
        session.conclude(1, ShotOutcome.ASSUMED, 9, None)
        session.conclude(3, ShotOutcome.INTERRUPTED, 9, 10)
    with Session.open(path) as session:
        assert [shot.outcome for shot in session.shots()] == [ShotOutcome.ASSUMED, None, ShotOutcome.INTERRUPTED]
        assert [shot.board_clock_ms for shot in session.shots()] == [None, None, 10]


def test_an_outcome_reaches_its_own_row_only(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 1)
        session.intend(intent(2, attempt=2), 2)
        session.conclude(2, ShotOutcome.UNCONFIRMED, 3, 4)
        session.conclude(99, ShotOutcome.CONFIRMED, 3, 4)
        assert [shot.outcome for shot in session.shots()] == [None, ShotOutcome.UNCONFIRMED]


def test_a_command_id_is_used_once(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 1)
        with pytest.raises(StorageFailed):
            session.intend(intent(1, frame=5), 2)
        assert [shot.intent for shot in session.shots()] == [intent(1)]


def test_happenings_keep_their_order(path: Path) -> None:
    wanted = [Happening(5, "moving", "referenced", 0), Happening(5, "failed", "stop", None)]
    with Session.open(path, to_write=True) as session:
        for happening in wanted:
            session.note(happening)
    with Session.open(path) as session:
        assert session.happenings() == wanted


def test_the_file_is_sound_at_every_moment(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        for number in range(1, 30):
            session.intend(intent(number), number)
            session.conclude(number, ShotOutcome.CONFIRMED, number, number)
            if number % 10 == 0:
                assert healthy(path)
    assert healthy(path)


def test_a_copy_taken_in_the_middle_can_be_read(path: Path, tmp_path: Path) -> None:
    """What a sudden loss of power leaves: the files as they are, without a close."""
    copy = tmp_path / "copy"
    copy.mkdir()
    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 1)
        session.conclude(1, ShotOutcome.CONFIRMED, 2, 3)
        session.intend(intent(2), 4)
        for file in path.parent.glob("session.sqlite*"):
            (copy / file.name).write_bytes(file.read_bytes())
    assert healthy(copy / "session.sqlite")
    with Session.open(copy / "session.sqlite") as session:
        assert [shot.outcome for shot in session.shots()] == [ShotOutcome.CONFIRMED, None]


def test_a_capture_is_written_through_to_the_disk(tmp_path: Path) -> None:
    for durable, synchronous in ((True, 2), (False, 0)):  # FULL and OFF, in SQLite's own numbers
        with Session.create(tmp_path / f"{durable}.sqlite", {}, durable=durable) as session:
            assert session._db.execute("PRAGMA synchronous").fetchone() == (synchronous,)


def test_an_existing_session_is_not_overwritten(path: Path) -> None:
    before = path.read_bytes()
    with pytest.raises(StorageFailed, match="exists already"):
        Session.create(path, {}, durable=True)
    assert path.read_bytes() == before


def test_there_is_no_such_session(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such session"):
        Session.open(tmp_path / "nothing.sqlite")
    with pytest.raises(InputError, match="no such session"):
        Session.open(tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("garbage", [b"photographs", bytes(range(256)) * 32])
def test_some_other_file(garbage: bytes, tmp_path: Path) -> None:
    path = tmp_path / "session.sqlite"
    path.write_bytes(garbage)
    with pytest.raises(InputError, match="not a session"):
        Session.open(path)
    assert path.read_bytes() == garbage


def test_another_version(path: Path) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("UPDATE about SET value = '9' WHERE name = 'session_version'")
        db.commit()
    with pytest.raises(InputError, match=f"version 9; this program reads versions 2 to {SESSION_VERSION}"):
        Session.open(path)


def test_some_other_database(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE pictures (name TEXT)")
        db.commit()
    with pytest.raises(InputError, match="not a session"):
        Session.open(path)


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StorageFailed, match="cannot be written"):
        Session.create(tmp_path / "file" / "session.sqlite", {}, durable=True)


def writes_of(session: Session) -> list[Callable[[], None]]:
    return [
        lambda: session.intend(intent(1), 1),
        lambda: session.conclude(1, ShotOutcome.CONFIRMED, 1, 1),
        lambda: session.note(Happening(1, "moving", "x", 0)),
        lambda: session.note_about("sentence", "x"),
    ]


def test_a_session_that_is_only_read_says_no_to_everything_else(path: Path) -> None:
    with Session.open(path) as session:
        for write in writes_of(session):
            with pytest.raises(StorageFailed, match="cannot be read or written") as caught:
                write()
            assert str(path) in str(caught.value)
            assert "\n" not in str(caught.value)


def test_a_disk_that_may_only_be_read(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        session._db.execute("PRAGMA query_only = ON")  # root may write any file, so the database itself must refuse
        for write in writes_of(session):
            with pytest.raises(StorageFailed, match="cannot be read or written"):
                write()


def test_reading_leaves_the_file_as_it_is(path: Path) -> None:
    def seen() -> tuple[list[str], bytes, int]:
        files = sorted(file.name for file in path.parent.iterdir())
        return files, path.read_bytes(), path.stat().st_mtime_ns

    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 1)
    before = seen()
    path.chmod(0o444)
    path.parent.chmod(0o555)
    try:
        with Session.open(path) as session:
            assert len(session.shots()) == 1
            assert session.happenings() == []
            assert seen() == before
    finally:
        path.parent.chmod(0o755)
    assert seen() == before


@pytest.mark.parametrize("name", ["a session?mode=rwc#1.sqlite", "50 %20.sqlite", "Zürich ø.sqlite"])
def test_names_that_mean_something_elsewhere(name: str, tmp_path: Path) -> None:
    made = tmp_path / name.replace("?", "_")  # no session is made with a name that Windows refuses, but one is opened
    Session.create(made, ABOUT, durable=True).close()
    made.rename(tmp_path / name)
    with Session.open(tmp_path / name) as session:
        assert session.about()["seed"] == "7"
        with pytest.raises(StorageFailed):
            session.note_about("seed", "8")
    assert [file.name for file in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("durable", [True, False])
def test_a_closed_session_is_one_file(durable: bool, tmp_path: Path) -> None:
    path = tmp_path / "session.sqlite"
    with Session.create(path, ABOUT, durable=durable) as session:
        session.intend(intent(1), 1)
        if durable:
            assert (tmp_path / "session.sqlite-wal").exists()
    assert list(tmp_path.iterdir()) == [path]
    with Session.open(path, to_write=True) as session:
        session.conclude(1, ShotOutcome.CONFIRMED, 2, 3)
    assert list(tmp_path.iterdir()) == [path]
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_going_on_in_a_session_is_durable_and_keeps_what_is_there(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        session.intend(intent(1), 1)
    with Session.open(path, to_write=True) as session:
        assert session._db.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL, in SQLite's own numbers
        assert session._db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        session.intend(intent(2), 2)
        assert [shot.intent.command_id for shot in session.shots()] == [1, 2]


@pytest.mark.parametrize("to_write", [True, False])
def test_going_on_in_what_is_no_session(to_write: bool, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such session"):
        Session.open(tmp_path / "nothing.sqlite", to_write=to_write)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "diary").write_bytes(b"photographs")
    with pytest.raises(InputError, match="not a session"):
        Session.open(tmp_path / "diary", to_write=to_write)
    assert (tmp_path / "diary").read_bytes() == b"photographs"


def write_on(session: Session) -> None:
    for number in range(1, 10_000):
        session.intend(intent(number), number)


def test_a_full_disk(path: Path) -> None:
    with Session.open(path, to_write=True) as session:
        (pages,) = session._db.execute("PRAGMA page_count").fetchone()
        session._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StorageFailed, match="disk is full"):
            write_on(session)
        written = len(session.shots())
    assert healthy(path)
    with Session.open(path) as session:
        assert [shot.number for shot in session.shots()] == list(range(1, written + 1))
