"""`fullturn capture`, `resume` and `report` on the simulated rig in real time, killed processes included."""

import csv
import json
import signal
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from controller.session.session import Session
from tests.controller.commands.simulated import environment, simulated

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals"),
    pytest.mark.long,
]
SERVE = ("--port-name", "port", "--truth", "truth.json", "--speed", "5")
READY = ("--yes", "--countdown", "0", "--json")


def fullturn(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "controller", *words]
    return subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )


def planned(folder: Path) -> None:
    """A window of a few frames, two exposures each."""
    window = ("--region", "window", "--pitch-from", "-40", "--pitch-to", "40", "--yaw-from", "-90", "--yaw-to", "110")
    done = fullturn(folder, "plan", "kit.toml", "--out", "plan.json", *window)
    assert done.returncode == 0, done.stderr


def exposures(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["exposures"]
    return found


def made(folder: Path) -> Counter[tuple[int, int]]:
    return Counter((one["frame"], one["exposure"]) for one in exposures(folder))


def test_a_set_is_made_and_audited(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        done = fullturn(tmp_path, "capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY)
        assert done.returncode == 0, done.stderr
        summary = json.loads(done.stdout)
        assert summary["complete"]
        assert summary["kind"] == "capture"
        assert summary["exposures_confirmed"] == summary["exposures_planned"] == sum(made(tmp_path).values())
        again = fullturn(tmp_path, "capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY)
        assert again.returncode == 1
        assert "exists already" in again.stderr
        over = fullturn(tmp_path, "resume", "s.sqlite", *READY)
        assert (over.returncode, json.loads(over.stdout)["sentence"]) == (0, "The set was complete already.")
        assert sum(made(tmp_path).values()) == summary["exposures_planned"]
    audit = fullturn(tmp_path, "report", "s.sqlite", "--out", "audit", "--json")
    assert json.loads(audit.stdout)["exposures_confirmed"] == summary["exposures_planned"]
    text = (tmp_path / "audit" / "exposures.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert {row["outcome"] for row in rows} == {"confirmed"}
    assert "Capture of" in (tmp_path / "audit" / "report.html").read_text(encoding="utf-8")


def test_without_an_answer_nothing_moves(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        done = fullturn(tmp_path, "capture", "plan.json", "--port", "port", "--out", "s.sqlite")
        assert done.returncode == 1
        assert "Not begun" in done.stderr
        assert not (tmp_path / "s.sqlite").exists()
        assert exposures(tmp_path) == []


def test_a_killed_run_is_resumed_and_nothing_is_claimed_that_was_not_made(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        words = ["capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY]
        command = [sys.executable, "-m", "controller", *words]
        with subprocess.Popen(command, cwd=tmp_path, env=environment(), stderr=subprocess.PIPE, text=True) as host:
            assert host.stderr is not None
            assert any(line.startswith("Capturing, exposures:") for line in host.stderr)  # the first is on the disk
            host.send_signal(signal.SIGKILL)
        with Session.open(tmp_path / "s.sqlite") as session:
            claimed = session.made()
        assert claimed
        assert claimed <= made(tmp_path).keys()
        done = fullturn(tmp_path, "resume", "s.sqlite", *READY)
        assert done.returncode == 0, done.stderr
        summary = json.loads(done.stdout)
        assert summary["complete"]
        truth = made(tmp_path)
    assert len(truth) == summary["exposures_planned"]
    assert sum(truth.values()) - len(truth) <= 1  # at most one made twice
    assert all(one["still"] for one in exposures(tmp_path))
    assert subprocess.run([sys.executable, "-c", CHECK, str(tmp_path / "s.sqlite")], check=True).returncode == 0


# SQLite's own verdict on the file, from a process that knows nothing of ours.
CHECK = "import sqlite3, sys; assert sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check').fetchone() == ('ok',)"


def test_a_rehearsal_is_not_resumed(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        assert fullturn(tmp_path, "rehearse", "plan.json", "--out", "out").returncode == 0
        done = fullturn(tmp_path, "resume", "out/session.sqlite", *READY)
    assert done.returncode == 2
    assert "record of a rehearsal" in done.stderr
