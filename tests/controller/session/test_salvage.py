"""Damaged sessions: read as far as possible, with each loss named, and never written to.

The damage is done to bytes, as in SQLite's own tests of corruption (sqlite.org, "How SQLite Is Tested", 3.5).
"""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from itertools import product
from pathlib import Path
from tempfile import mkdtemp

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.session.rows import DoubtReason, Happening, Intent, Moment, RequestRow, RunReason, ShotOutcome, WalkRow
from controller.session.salvage import BELIEVABLE, is_believable
from controller.session.session import Session

SHOTS = 120
Damage = Callable[[bytearray, random.Random], None]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A session of several pages in every table."""
    path = tmp_path_factory.mktemp("whole") / "session.sqlite"
    about = {"kind": "capture", "plan": json.dumps("x" * 9000)}
    with Session.create(path, about, durable=True) as session:
        for number in range(SHOTS):
            if number % 20 == 0:
                session.begin_run(RunReason.RESUMED, Moment(number, "2026-03-01T10:00:00+00:00"))
                session.note_walk(WalkRow(-number, number, -7, 7))
                session.ask("Is the head level, the camera locked, and nobody within reach of what turns?")
            session.intend(Intent(number // 3, number % 3, 1, number + 1, 12.5, -3.25, 0.0125, 7, 8), 1000 * number)
            session.conclude(number + 1, ShotOutcome.CONFIRMED, 1000 * number + 500, number, (7, 8))
            session.note(Happening(1000 * number, "settling", "the move is complete", number // 3))
        session.doubt([(number, 0) for number in range(40)], DoubtReason.SUSPECT)
        session.note_zero(77)
        session.request(RequestRow("retake", (1, 2)))
        session.end_run("The run is through.", complete=True)
    return path


def everything(session: Session) -> int:
    """Read everything that any command reads of a session; return the number of exposures."""
    session.about(), session.made(), session.checks(), session.doubts(), session.happenings(), session.state()
    (
        session.wanted_again(),
        session.open_question(),
        session.runs(),
        session.latest_walk(),
        session.next_command_id(),
        session.remembered(),
    )
    return len(session.shots())


def flip(content: bytearray, chance: random.Random) -> None:
    for _ in range(chance.choice((1, 1, 3, 30))):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)


def blank_page(content: bytearray, chance: random.Random) -> None:
    at = 4096 * chance.randrange(len(content) // 4096)
    content[at : at + 4096] = bytes(4096)


def noise(content: bytearray, chance: random.Random) -> None:
    at = chance.randrange(len(content))
    content[at : at + 200] = chance.randbytes(len(content[at : at + 200]))


def cut(content: bytearray, chance: random.Random) -> None:
    del content[chance.randrange(len(content)) :]


@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(seed=st.integers(0, 2**32 - 1), damage=st.sampled_from([flip, blank_page, noise, cut]))
def test_any_damage_is_read_as_far_as_it_goes_and_nothing_is_written(
    whole: Path, tmp_path: Path, seed: int, damage: Damage
) -> None:
    content = bytearray(whole.read_bytes())
    damage(content, random.Random(seed))
    path = tmp_path / "session.sqlite"
    path.write_bytes(content)
    try:
        with Session.open(path) as session:
            shots = everything(session)
            assert session.losses or shots == SHOTS
    except InputError:
        pass
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


OLDER = sorted((Path(__file__).with_name("old")).glob("**/*.sqlite"))


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    whole=st.sampled_from(OLDER), seed=st.integers(0, 2**32 - 1), damage=st.sampled_from([flip, blank_page, noise, cut])
)
def test_any_damage_to_an_older_session_is_read_as_far_as_it_goes(
    whole: Path, tmp_path: Path, seed: int, damage: Damage
) -> None:
    content = bytearray(whole.read_bytes())
    damage(content, random.Random(seed))
    path = Path(mkdtemp(dir=tmp_path)) / "session.sqlite"
    path.write_bytes(content)
    try:
        with Session.open(path) as session:
            everything(session)
    except InputError:
        pass
    if whole.stem != "killed":  # beside that one, SQLite itself creates a log in order to read it
        assert path.read_bytes() == content
        assert list(path.parent.iterdir()) == [path]


def test_most_rows_survive_a_page_that_is_gone(whole: Path, tmp_path: Path) -> None:
    """A lost page costs the rows on it, not the whole table."""
    content = whole.read_bytes()
    most = 0
    for number in range(1, len(content) // 4096):
        path = tmp_path / f"{number}.sqlite"
        path.write_bytes(content[: 4096 * number] + bytes(4096) + content[4096 * (number + 1) :])
        try:
            with Session.open(path) as session:
                if session.losses:
                    most = max(most, everything(session))
        except InputError:
            continue
    assert most >= SHOTS / 2


def test_a_damaged_session_is_not_gone_on_with(whole: Path, tmp_path: Path) -> None:
    content = bytearray(whole.read_bytes())
    at = content.index(b"confirmed")
    content[at : at + 9] = b"confirmeq"
    path = tmp_path / "session.sqlite"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"is damaged .*1 of 120 exposures cannot be read"):
        Session.open(path, to_write=True)
    with Session.open(path) as session:
        assert session.losses == ("1 of 120 exposures cannot be read",)
        assert everything(session) == SHOTS - 1
    assert path.read_bytes() == content


def test_a_sound_session_has_lost_nothing(whole: Path) -> None:
    with Session.open(whole) as session:
        assert session.losses == ()
        assert everything(session) == SHOTS


def test_what_a_killed_run_left_beside_the_file_is_folded_in_by_whoever_reads(whole: Path, tmp_path: Path) -> None:
    """So a copy of the one file contains every row."""
    path, killed = tmp_path / "session.sqlite", tmp_path / "killed" / "session.sqlite"
    shutil.copy(whole, path)
    killed.parent.mkdir()
    with Session.open(path, to_write=True) as running:
        running.intend(Intent(99, 0, 1, 999, 0.0, 0.0, 1.0), 10**9)
        for one in tmp_path.glob("session.sqlite*"):
            shutil.copy(one, killed.parent)
    assert len(list(killed.parent.iterdir())) > 1
    Session.open(killed).close()
    assert list(killed.parent.iterdir()) == [killed]
    alone = Path(shutil.copy(killed, tmp_path / "alone.sqlite"))
    with Session.open(alone) as session:
        assert session.shots()[-1].intent.command_id == 999


def test_a_program_killed_while_it_creates_a_session_leaves_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    path = tmp_path / "session.sqlite"
    with monkeypatch.context() as patched:
        patched.setattr("os.link", killed)
        with pytest.raises(KeyboardInterrupt):
            Session.create(path, {}, durable=True)
    assert not path.exists()
    Session.create(path, {}, durable=True).close()
    with Session.open(path) as session:
        assert session.losses == ()


@pytest.mark.parametrize("table", sorted(BELIEVABLE))
def test_a_row_is_judged_whatever_its_cells_hold(table: str, whole: Path) -> None:
    """Cells of any type: a damaged page may contain what its columns' types would refuse."""
    with closing(sqlite3.connect(whole)) as db:
        cursor = db.execute(f"SELECT * FROM {table}")
        names = [column[0] for column in cursor.description]
        rows = [dict(zip(names, row, strict=True)) for row in cursor] or [dict.fromkeys(names)]
    for row, name, value in product(rows[:3], names, (None, -1, 2**70, 1e308, "", "x", b"\xff", b"1")):
        assert is_believable(table, row | {name: value}) in {True, False}


@pytest.mark.parametrize("cell", ["frame", "exposure", "upto"])
def test_a_doubt_is_about_what_can_be_counted(cell: str) -> None:
    row: dict[str, object] = {"number": 1, "frame": 0, "exposure": 0, "upto": 0, "why": DoubtReason.SUSPECT.value}
    assert is_believable("doubts", row)
    assert not is_believable("doubts", {**row, cell: -1})


@pytest.mark.parametrize("value", ["-1 2026-03-01T10:00:00+00:00", "5 0001-03-01T10:00:00+00:00"])
def test_a_clock_is_believed_only_if_both_its_times_can_be(value: str) -> None:
    assert not is_believable("about", {"name": "clock from 1", "value": value})
    at_ns, utc = value.split()
    row: dict[str, object] = {"first": 1, "why": "begun", "began_ns": int(at_ns), "began_utc": utc}
    assert not is_believable("runs", row | {"ended_utc": None, "complete": None})
