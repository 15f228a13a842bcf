"""A power cut after any step of what the program writes: files whole or not at all, and sessions with all that was told.

The program runs under strace, and what it wrote is replayed with every kind of loss that a file system may have; see
`losing`. What has returned must be there; what has not must not be there by halves.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.session.session import Session
from tests.power.losing import left_by, written
from tests.power.tracing import Step, recorded

SHARES = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.5, 0.5), (0.2, 0.9), (0.9, 0.2)]
"""Shares of data and of names that reach the disk without a sync."""
SESSION = """
from pathlib import Path
from controller.session.session import Session
from controller.session.rows import Intent, Moment, RunReason, ShotOutcome
session = Session.create(Path("s.sqlite"), {"kind": "capture", "plan": "x" * 9000}, durable=True)
ack(0)
session.begin_run(RunReason.BEGUN, Moment(5, "2026-06-21T05:00:00+00:00"))
for number in range(1, 9):
    session.intend(Intent(number, 0, 1, number, 1.0, 2.0, 0.1), number)
    ack(2 * number - 1)
    session.conclude(number, ShotOutcome.CONFIRMED, number + 1, None)
    ack(2 * number)
session.close()
ack(17)
with Session.open(Path("s.sqlite"), to_write=True) as again:
    again.intend(Intent(9, 0, 1, 9, 1.0, 2.0, 0.1), 9)
    ack(18)
ack(19)
"""
FILE = """
from pathlib import Path
from controller.files import write_whole
for number in range(4):
    write_whole(Path("f.json"), str(number) * 5000, replace=True, ours=lambda _: True, private=number % 2 == 1)
    ack(number)
"""
FOLDER = """
from pathlib import Path
from controller.files import write_whole, write_new, copy_verified
from controller.folders import appearing_folder, make_inner_folder
with appearing_folder(Path("a/b/out")) as inner:
    write_whole(inner / "one", "1" * 3000, durably=False)
    make_inner_folder(inner / "deep/er")
    write_new(inner / "deep/er/two", "2" * 3000)
    copy_verified(inner / "one", inner / "deep/three")
ack(0)
"""
INTO_FOLDER = """
import os
from pathlib import Path
from controller.files import write_whole
from controller.folders import appearing_folder
os.mkdir("out")
with appearing_folder(Path("out")) as inner:
    write_whole(inner / "one", "1" * 3000, durably=False)
    (inner / "deep").mkdir()
    write_whole(inner / "deep" / "two", "2" * 3000, durably=False)
ack(0)
"""


def cuts(steps: list[Step], tmp_path: Path) -> Iterator[tuple[int, Path]]:
    """Every power cut: the latest acknowledgement before it, and the folder that it leaves."""
    numbers = itertools.count()
    for end in range(1, len(steps) + 1):
        said = max((int(step.path) for step in steps[:end] if step.does == "ack"), default=-1)
        for keep_data, keep_names in SHARES:
            number = next(numbers)
            folder = tmp_path / f"cut{number}"
            written(left_by(steps[:end], random.Random(number), keep_data, keep_names), folder)
            yield said, folder


def recorded_in(work: str, tmp_path: Path) -> list[Step]:
    (tmp_path / "run").mkdir()
    steps = recorded(work, tmp_path / "run", tmp_path / "record")
    assert any(step.does == "sync" for step in steps)
    return steps


@pytest.mark.long
def test_what_a_session_has_told_outlives_a_power_cut(tmp_path: Path) -> None:
    steps = recorded_in(SESSION, tmp_path)
    assert sum(step.does == "ack" for step in steps) == 20
    count = 0
    for said, folder in cuts(steps, tmp_path):
        path = folder / "s.sqlite"
        if said < 0 and not path.exists():
            continue
        with Session.open(path, to_write=True) as session:
            assert session.losses == ()
            shots = session.shots()
            assert session.about()["plan"] == "x" * 9000
        intended, concluded = len(shots), sum(shot.outcome is not None for shot in shots)
        least = {17: 16, 18: 17, 19: 17}.get(said, said)
        assert (intended, concluded) >= ((least + 1) // 2, min(least // 2, 8)), f"{folder}: after {said}"
        assert [shot.number for shot in shots] == list(range(1, intended + 1))
        count += 1
    assert count > 300


def test_a_file_is_the_old_one_or_the_new_one(tmp_path: Path) -> None:
    for said, folder in cuts(recorded_in(FILE, tmp_path), tmp_path):
        path = folder / "f.json"
        if not path.exists():
            assert said < 0
            continue
        text = path.read_text(encoding="utf-8")
        assert text in {str(number) * 5000 for number in range(4)}
        assert int(text[0]) >= said


def whole(folder: Path) -> bool:
    """Whether all three files are there as they were written."""
    texts = [folder / "out/one", folder / "out/deep/er/two", folder / "out/deep/three"]
    return [path.read_text(encoding="utf-8") for path in texts if path.exists()] == ["1" * 3000, "2" * 3000, "1" * 3000]


def test_a_folder_appears_whole_or_not_at_all(tmp_path: Path) -> None:
    seen = set[bool]()
    for said, folder in cuts(recorded_in(FOLDER, tmp_path), tmp_path):
        there = (folder / "a/b/out").exists()
        assert there or said < 0
        assert not there or whole(folder / "a/b")
        seen.add(there)
    assert seen == {True, False}


def test_files_that_appear_in_a_folder_are_whole(tmp_path: Path) -> None:
    for said, folder in cuts(recorded_in(INTO_FOLDER, tmp_path), tmp_path):
        found = [folder / "out/one", folder / "out/deep"]
        assert said < 0 or all(path.exists() for path in found)
        if found[0].exists():
            assert found[0].read_text(encoding="utf-8") == "1" * 3000
        if found[1].exists():
            assert (found[1] / "two").read_text(encoding="utf-8") == "2" * 3000


UNSYNCED = """
import os
with open("part", "w") as file:
    file.write("new" * 1000)
    {sync}
os.replace("part", "f")
{settle}
ack(0)
"""


@pytest.mark.parametrize(
    ("sync", "settle", "fault"),
    [
        ("pass", "pass", True), ("file.flush(); os.fsync(file.fileno())", "pass", True),
        ("pass", "os.fsync(os.open('.', os.O_RDONLY))", True),
        ("file.flush(); os.fsync(file.fileno())", "os.fsync(os.open('.', os.O_RDONLY))", False),
    ],
)  # fmt: skip
def test_the_model_finds_what_is_not_synced(sync: str, settle: str, fault: bool, tmp_path: Path) -> None:
    """A missing sync, of the file or of its name, leaves a power cut with which the told file is missing or empty."""
    (tmp_path / "run").mkdir()
    steps = recorded(UNSYNCED.format(sync=sync, settle=settle), tmp_path / "run", tmp_path / "record")

    def is_lost(said: int, folder: Path) -> bool:
        path = folder / "f"
        if not path.exists():
            return said >= 0
        return path.read_text(encoding="utf-8") != "new" * 1000

    assert any(is_lost(said, folder) for said, folder in cuts(steps, tmp_path)) is fault
