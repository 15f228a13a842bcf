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
from tests.controller.commands.simulated import beside, environment, simulated

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals"),
    pytest.mark.long,
]
SERVE = ("--port-name", "port", "--truth", "truth.json", "--speed", "5")
READY = ("--yes", "--countdown", "0", "--skip-sweep", "--json")


def fullturn(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "controller", *words]
    return subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )


def planned(folder: Path) -> None:
    """A window of a few frames, two exposures each."""
    window = ("--region", "window", "--pitch-from", "-40", "--pitch-to", "40", "--yaw-from", "-90", "--yaw-to", "110")
    done = beside(folder, "plan", "kit.toml", "--out", "plan.json", *window)
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
        again = beside(tmp_path, "capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY)
        assert again.returncode == 1
        assert "exists already" in again.stderr
        over = beside(tmp_path, "resume", "s.sqlite", *READY)
        assert (over.returncode, json.loads(over.stdout)["sentence"]) == (0, "Nothing is left to shoot.")
        assert sum(made(tmp_path).values()) == summary["exposures_planned"]
    audit = beside(tmp_path, "report", "s.sqlite", "--out", "audit", "--json")
    assert json.loads(audit.stdout)["exposures_confirmed"] == summary["exposures_planned"]
    text = (tmp_path / "audit" / "exposures.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    assert {row["outcome"] for row in rows} == {"confirmed"}
    assert "Capture of" in (tmp_path / "audit" / "report.html").read_text(encoding="utf-8")


def test_without_an_answer_nothing_moves(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        done = beside(tmp_path, "capture", "plan.json", "--port", "port", "--out", "s.sqlite")
        assert done.returncode == 1
        assert "Not started" in done.stderr
        assert not (tmp_path / "s.sqlite").exists()
        assert exposures(tmp_path) == []


def test_a_run_killed_again_and_again_is_resumed_and_claims_nothing_in_vain(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        words, kills = ["capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY], 0
        while True:
            command = [sys.executable, "-m", "controller", *words]
            with subprocess.Popen(command, cwd=tmp_path, env=environment(), stderr=subprocess.PIPE, text=True) as host:
                assert host.stderr is not None
                begun = any(line.startswith("Capturing, exposures:") for line in host.stderr)  # some are on the disk
                if begun and kills < KILLS:
                    host.send_signal(signal.SIGKILL)
                    kills += 1
                else:
                    host.communicate()
            subprocess.run([sys.executable, "-S", "-E", "-c", CHECK, str(tmp_path / "s.sqlite")], check=True)
            with Session.open(tmp_path / "s.sqlite") as session:
                claimed = session.made()
            assert claimed <= made(tmp_path).keys()
            words = ["resume", "s.sqlite", *READY]
            if host.returncode != -signal.SIGKILL:
                break
        assert (host.returncode, kills) == (0, KILLS)
        truth = made(tmp_path)
    assert claimed == truth.keys()
    assert sum(truth.values()) - len(truth) <= kills  # at most one exposure is repeated for each kill
    assert all(one["still"] for one in exposures(tmp_path))


KILLS = 5
# SQLite's own verdict on the file, from a process without any of our code.
CHECK = "import sqlite3, sys; assert sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check').fetchone() == ('ok',)"


def test_a_rehearsal_is_not_resumed(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        assert beside(tmp_path, "rehearse", "plan.json", "--out", "out").returncode == 0
        done = beside(tmp_path, "resume", "out/session.sqlite", *READY)
    assert done.returncode == 2
    assert "record of a rehearsal" in done.stderr


def capturing(folder: Path, *more: str) -> subprocess.Popen[str]:
    """A capture under way, whose first exposures are on the disk."""
    words = ["capture", "plan.json", "--port", "port", "--out", "s.sqlite", *READY, *more]
    host = subprocess.Popen(
        [sys.executable, "-m", "controller", *words],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert host.stderr is not None
    assert any(line.startswith("Capturing, exposures:") for line in host.stderr)
    return host


def test_another_terminal_is_heard_and_a_second_program_is_not(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        with capturing(tmp_path, "--log", "log.jsonl") as host:
            assert beside(tmp_path, "tell", "s.sqlite", "pause").returncode == 0
            for words in (
                ("capture", "plan.json", "--port", "port", "--out", "other.sqlite", *READY),
                ("resume", "s.sqlite", *READY),
                ("jog", "kit.toml", "--port", "port", "--to", "0", "0", "--yes"),
            ):
                refused = beside(tmp_path, *words)
                assert refused.returncode == 1
                assert f"is in use by process {host.pid} (fullturn capture)" in refused.stderr
            assert not (tmp_path / "other.sqlite").exists()
            assert beside(tmp_path, "tell", "s.sqlite", "retake", "0").returncode == 0
            assert beside(tmp_path, "tell", "s.sqlite", "retake", "99").returncode == 2
            assert beside(tmp_path, "tell", "s.sqlite", "go-on").returncode == 0
            out, err = host.communicate()
        assert host.returncode == 0, err
        summary = json.loads(out)
        twice = {one for one, count in made(tmp_path).items() if count == 2}
        assert {frame for frame, _ in twice} == {0}  # of its bracket, the part that was already made
        assert summary["exposures_retaken"] == len(twice)
        late = beside(tmp_path, "tell", "s.sqlite", "stop")
        assert (late.returncode, "is active" in late.stderr) == (1, True)
        assert beside(tmp_path, "tell", "s.sqlite", "retake", "1").returncode == 0
        again = fullturn(tmp_path, "resume", "s.sqlite", *READY)
        assert again.returncode == 0, again.stderr
        assert json.loads(again.stdout)["exposures_retaken"] == len(twice) + 2
    rows = [json.loads(line) for line in (tmp_path / "log.jsonl").read_text(encoding="utf-8").splitlines()]
    assert "paused" in {row.get("state") for row in rows}
    audit = beside(tmp_path, "report", "s.sqlite", "--out", "audit")
    assert f"Reshot: {len(twice) + 2} exposures." in audit.stdout
    lines = json.loads((tmp_path / "audit" / "exposures.json").read_text(encoding="utf-8"))
    assert [line["outcome"] for line in lines].count("retake") == len(twice) + 2
    assert all(line["opened_utc"].startswith("20") for line in lines)


def test_ctrl_c_pauses_then_stops_and_the_rest_is_resumed(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        with capturing(tmp_path) as host:
            host.send_signal(signal.SIGINT)
            assert beside(tmp_path, "tell", "s.sqlite", "pause").returncode == 0  # the first is read by now
            with Session.open(tmp_path / "s.sqlite") as session:
                assert "pause" not in {happening.what for happening in session.happenings()}  # it is not a state
            host.send_signal(signal.SIGINT)
            out, _ = host.communicate()
        assert (host.returncode, json.loads(out)["sentence"]) == (1, "Stopped as asked.")
        done = fullturn(tmp_path, "resume", "s.sqlite", *READY)
        assert json.loads(done.stdout)["complete"], done.stderr
    assert all(one["still"] for one in exposures(tmp_path))


def test_a_walk_round_the_extremes_and_a_head_without_switches(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE[:-1], "20"):
        planned(tmp_path)
        at = beside(
            tmp_path, "jog", "kit.toml", "--port", "port", "--to", "12.5", "-3", "--yes", "--countdown", "0", "--json"
        )
        assert json.loads(at.stdout) == {"yaw_deg": 12.5, "pitch_deg": -3.0, "pan_steps": 4000, "tilt_steps": -960}
        beyond = beside(tmp_path, "jog", "kit.toml", "--port", "port", "--to", "12.5", "-90", "--yes", "--countdown", "0")
        assert beyond.returncode == 0
        words = ("capture", "plan.json", "--port", "port", "--out", "s.sqlite", "--yes", "--countdown", "0", "--json")
        done = fullturn(tmp_path, *words)
        assert json.loads(done.stdout)["complete"], done.stderr
    assert all(one["still"] for one in exposures(tmp_path))


def test_a_folder_that_cannot_be_written_is_told_before_anything_moves(tmp_path: Path) -> None:
    with simulated(tmp_path, *SERVE):
        planned(tmp_path)
        (tmp_path / "file").touch()
        for out in ("file/s.sqlite", "nowhere/s.sqlite"):
            done = beside(tmp_path, "capture", "plan.json", "--port", "port", "--out", out, *READY)
            assert done.returncode == 1
            assert "Traceback" not in done.stderr
            assert "s.sqlite cannot be" in done.stderr
    assert exposures(tmp_path) == []
