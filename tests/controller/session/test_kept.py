"""Sessions written by whole commands of earlier versions (`keep.py`): an update on a journey strands no set.

Each still reports what the program of its time reported, before and after migration, and `resume` completes it.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, cast
from unittest import mock

import pytest

from controller.commands import capture
from controller.commands.account import report_command
from controller.commands.capture import resume_command
from controller.commands.crew import Crew
from controller.commands.tell import tell_command
from controller.errors import WorldError
from controller.lock import lock_of, sole_use
from controller.planning.plan_file import plan_from
from controller.report.verdict import SetStanding
from controller.session.migrations import SESSION_VERSION
from controller.session.session import Session
from tests.controller.session.keep import KEPT, OLD, Arriving, journey, said_of
from tests.controller.session.test_migrations import columns, dump_of, version_of

SESSIONS = sorted(OLD.glob("version_*/*.sqlite"))
CAPTURES = [path for path in SESSIONS if path.stem != "rehearsed"]
NOBODY = 65534


LATER: dict[str, Any] = {"ramps_shaped": None, "missing_repeats": [], "clock_unsure": False}
"""What a report says since, of a session that did not note it."""


def name_of(path: Path) -> str:
    return f"{path.parent.name}-{path.stem}"


def copied(kept: Path, folder: Path) -> Path:
    """A copy of a session, with its log if it has one."""
    for file in kept.parent.glob(f"{kept.name}*"):
        shutil.copy(file, folder / file.name.replace(kept.stem, "session"))
    return folder / "session.sqlite"


def said(kept: Path) -> Any:
    """What the program of its time reported of it, and what it could not yet report."""
    told = json.loads(kept.with_suffix(".json").read_text(encoding="utf-8"))
    return told | {
        "report": LATER | told["report"],
        "exposures": in_one_pass(told["exposures"]),
        "match": told["match"] and of_one_run(told["match"]),
    }


def rounded(value: Any) -> Any:
    """The same with 6 digits of each number: the search for the worst direction ends elsewhere with other libraries."""
    if isinstance(value, dict):
        return {key: rounded(part) for key, part in value.items()}
    if isinstance(value, list):
        return [rounded(part) for part in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def of_one_run(match: dict[str, Any]) -> dict[str, Any]:
    """A matched card with the keys that name a pass, and a card of another run."""
    return {"other_run": None} | match | {"lines": [with_pass(line) for line in match["lines"]]}


def with_pass(line: dict[str, Any]) -> dict[str, Any]:
    """A line of a matched card with the keys that name a pass."""
    return {"pass_number": None if line["frame"] is None else 1, "repeats": None} | line


def in_one_pass(table: str) -> str:
    """A table of exposures from before there were passes, with the columns that name them, and with that
    of the clock.
    """
    head, *rows = table.splitlines()
    if "pass_number" not in head:
        head, rows = f"{head},pass_number,repeats", [f"{row},1," for row in rows]
    if "clock" not in head:  # nothing was known of it
        head, rows = f"{head},clock", [f"{row}," for row in rows]
    return "".join(f"{line}\n" for line in (head, *rows))


def test_every_journey_of_every_version_is_kept() -> None:
    versions = range(4, SESSION_VERSION)
    assert {(path.parent.name, path.stem) for path in SESSIONS} >= {
        (f"version_{n}", name) for n in versions for name in KEPT
    }


@pytest.mark.parametrize("kept", SESSIONS, ids=name_of)
def test_a_session_says_the_same_before_and_after_it_is_migrated(kept: Path, tmp_path: Path) -> None:
    path = copied(kept, tmp_path)
    assert rounded(said_of(path)) == rounded(said(kept))
    assert version_of(path)[1] == kept.parent.name.removeprefix("version_")
    Session.open(path, to_write=True).close()
    assert version_of(path) == (SESSION_VERSION, str(SESSION_VERSION))
    assert rounded(said_of(path)) == rounded(said(kept))
    Session.create(tmp_path / "new.sqlite", {}, durable=True).close()
    assert columns(path) == columns(tmp_path / "new.sqlite")


@pytest.mark.parametrize("kept", CAPTURES, ids=name_of)
def test_an_older_session_is_resumed_and_completed(kept: Path, tmp_path: Path) -> None:
    path = copied(kept, tmp_path)
    with Session.open(path) as session:
        before, runs, plan = session.shots(), session.runs(), plan_from(session.plan_text(), str(path), begun=True)
    world = journey(plan, tmp_path, seed=2)
    world.tether = kept.stem == "tethered"
    with (
        mock.patch.object(capture, "UsbCamera", return_value=Arriving(world)),
        mock.patch.object(capture, "port_alone", return_value=nullcontext()),  # the kept sessions all name the same port
    ):
        assert world.resume(tries=1), world.ends
    with Session.open(path) as session:
        after = session.shots()
        assert session.runs()[: len(runs)] == runs
        assert session.made() == plan.exposures
        assert session.open_question() is None
    assert after[: len(before)] == before
    assert report_command(path, None).verdict is SetStanding.COMPLETE


def contents(folder: Path) -> dict[str, tuple[bytes, int]]:
    """The content of each file, and when it was written."""
    return {file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in folder.iterdir() if file.is_file()}


@contextmanager
def on_a_medium_that_may_only_be_read(kept: Path) -> Iterator[Path]:
    """A copy in a folder that we may only read; root, who may write anywhere, becomes another user."""
    with TemporaryDirectory() as name:
        path = copied(kept, Path(name))
        for file in (*path.parent.iterdir(), path.parent):
            file.chmod(0o555 if file.is_dir() else 0o444)
        am_root = os.geteuid() == 0
        if am_root:
            os.seteuid(NOBODY)
        try:
            with pytest.raises(PermissionError):
                (path.parent / "new").touch()
            yield path
        finally:
            if am_root:
                os.seteuid(0)
            path.parent.chmod(0o755)


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Import everything that a report needs now: another user may not read the modules' files."""
    report_command(copied(OLD / "version_4" / "killed.sqlite", tmp_path_factory.mktemp("imported")), None)


@pytest.mark.usefixtures("imported")
@pytest.mark.skipif(sys.platform == "win32", reason="a folder there has no such permissions")
@pytest.mark.parametrize("kept", [*sorted(OLD.glob("*.sqlite")), *SESSIONS], ids=name_of)
def test_a_session_on_a_medium_that_may_only_be_read_is_read(kept: Path) -> None:
    expected = said(kept) if kept in SESSIONS else None
    with on_a_medium_that_may_only_be_read(kept) as path:
        before = contents(path.parent)
        with Session.open(path) as session:
            assert not session.losses
            assert session.shots()
        if expected is not None:
            assert rounded(report_command(path, None).model_dump(mode="json")) == rounded(expected["report"])
        assert contents(path.parent) == before


class LookedError(Exception):
    """The command got as far as opening the port."""


def test_a_question_that_a_killed_run_left_open_is_closed_before_the_next_run_is_there(tmp_path: Path) -> None:
    path, seen = copied(OLD / "version_4" / "asking.sqlite", tmp_path), []

    def look(*_: object) -> Any:
        with Session.open(path) as session:
            seen.append(session.open_question())
        raise LookedError

    with Session.open(path) as session:
        assert session.open_question() is not None
    with pytest.raises(LookedError):
        resume_command(path, f"virtual port of {tmp_path}", cast("Crew", None), look)
    assert seen == [None]


def test_a_session_is_not_migrated_under_the_older_program_that_runs_it(tmp_path: Path) -> None:
    path = copied(OLD / "version_4" / "finished.sqlite", tmp_path)
    before = dump_of(path)
    for words in (["stop"], ["retake", "0"], ["yes"]):
        with (
            sole_use(lock_of(path), str(path), "fullturn capture"),
            pytest.raises(WorldError, match="an earlier version"),
        ):
            tell_command(path, words)
    assert dump_of(path) == before
    assert "reshoots frame 0" in tell_command(path, ["retake", "0"])
    assert version_of(path) == (SESSION_VERSION, str(SESSION_VERSION))
