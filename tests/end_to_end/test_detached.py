"""A run of its own in real time: detached from a terminal that goes away, shown and answered elsewhere."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pexpect
import pytest

from controller.session.rows import DoubtReason
from controller.session.session import Session
from tests.controller.commands.simulated import PATIENT, environment, simulated
from tests.end_to_end.test_at_the_head import CLEAR, WINDOW, at_terminal, fullturn, hang_up, made

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals"),
    pytest.mark.long,
]
CAPTURE = "capture plan.json --port port --out s.sqlite --countdown 1 --skip-sweep"
UNDER_WAY = r"under way without this terminal. It is process (\d+)"


def run(folder: Path, words: str) -> subprocess.CompletedProcess[str]:
    """The command without a terminal."""
    command = [sys.executable, "-m", "controller", *words.split()]
    return subprocess.run(
        command, cwd=folder, env=environment(), capture_output=True, text=True, check=False, timeout=60,
        stdin=subprocess.DEVNULL,
    )  # fmt: skip


def watched(folder: Path) -> tuple[list[dict[str, Any]], int]:
    """The run until its end, as JSON, and the exit status of the window."""
    done = run(folder, "watch s.sqlite --json")
    return [json.loads(line) for line in done.stdout.splitlines()], done.returncode


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    (folder / "kit.toml").write_text(PATIENT, encoding="utf-8")
    fullturn(folder, f"plan kit.toml --out plan.json {WINDOW}")
    return folder / "plan.json"


@pytest.fixture
def rig(planned: Path, tmp_path: Path) -> Iterator[Path]:
    with simulated(tmp_path, "--port-name", "port", "--truth", "truth.json", "--speed", "10"):
        shutil.copy(planned, tmp_path)
        yield tmp_path


@pytest.fixture
def detached(rig: Path) -> Iterator[Path]:
    """A detached run that waits for its first answer; the terminal it was started from has hung up since."""
    host = at_terminal(rig, f"{CAPTURE} --detach")
    host.expect(CLEAR)
    host.expect(UNDER_WAY)
    assert isinstance(host.match, re.Match)
    process = int(host.match[1])
    try:
        hang_up(host)
        os.kill(process, signal.SIGHUP)  # as a shell sends it to everything that it started
        yield rig
    finally:
        with suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)


def test_it_goes_on_to_its_end_and_is_answered_through_its_session(detached: Path) -> None:
    assert json.loads((detached / "truth.json").read_text(encoding="utf-8")) == {"exposures": []}
    assert "Answered yes" in fullturn(detached, "tell s.sqlite yes")
    changes, status = watched(detached)
    assert status == 0
    assert made(detached) == 8
    assert (changes[-1]["active"], changes[-1]["ended"]["complete"]) == (False, True)
    assert [change["made"] for change in changes] == sorted(change["made"] for change in changes)
    assert len({change["made"] for change in changes}) > 2
    numbers = [sentence["number"] for sentence in changes[-1]["sentences"]]
    assert numbers == list(range(1, len(numbers) + 1))
    # Without a run a window shows the last state, and ends.
    changes, status = watched(detached)
    assert (len(changes), status) == (1, 0)
    assert (changes[0]["active"], changes[0]["state"], changes[0]["doing"]) == (False, "done", "The run is through.")
    done = run(detached, "watch s.sqlite")
    assert (done.returncode, "The set is complete." in done.stdout) == (0, True)
    assert {sentence["kind"] for sentence in changes[0]["sentences"]} == {"check", "asked", "announced"}


def test_a_window_shows_the_question_and_answers_it(detached: Path) -> None:
    window = at_terminal(detached, "watch s.sqlite")
    window.expect(CLEAR)
    window.expect("Type y or n, then Enter.")
    window.send("maybe\r")  # wrong
    window.expect("“maybe” is not known here")
    window.send("\r")  # no answer
    window.expect("Type y or n, then Enter.")
    window.send("y\r")
    window.expect("Answered yes to")
    window.expect("The head moves in 1 s: the run begins")
    window.expect(re.escape("`pause` and Enter keeps it still; Ctrl-C closes only this window."))
    window.send("y\r")  # late
    window.expect("Nothing is being asked now")
    window.send("pause\r")
    window.expect("Request received")
    window.expect("Paused: the head stays still")
    window.sendintr()
    window.expect("This window is closed; the run goes on")
    window.expect(pexpect.EOF)
    window.close()
    assert window.exitstatus == 0
    assert "after a warning the head moves again" in fullturn(detached, "tell s.sqlite go-on")
    second = at_terminal(detached, "watch s.sqlite")
    second.expect("The set is complete.")
    second.expect(pexpect.EOF)
    second.close()
    assert second.exitstatus == 0


def test_an_answer_of_no_ends_it_and_nothing_has_moved(detached: Path) -> None:
    window = at_terminal(detached, "watch s.sqlite")
    window.expect("Type y or n, then Enter.")
    window.send("n\r")
    window.expect("Nothing was shot")
    window.expect(pexpect.EOF)
    window.close()
    assert window.exitstatus == 1
    assert not (detached / "s.sqlite").exists()
    assert json.loads((detached / "truth.json").read_text(encoding="utf-8")) == {"exposures": []}


def test_a_stop_through_the_session_leaves_a_set_that_resumes_detached(detached: Path) -> None:
    window = at_terminal(detached, "watch s.sqlite")
    window.expect("Type y or n, then Enter.")
    window.send("y\r")
    window.expect("[1-4] of 8 exposures")
    window.send("stop\r")
    window.expect("The run stops with a ramp")
    window.expect(pexpect.EOF)
    window.close()
    assert window.exitstatus == 1
    with Session.open(detached / "s.sqlite", to_write=True) as session:
        session.doubt([(0, 0)], DoubtReason.RETAKE)
    again = run(detached, "resume s.sqlite --countdown 1 --skip-sweep --yes --detach")
    assert again.returncode == 0, again.stderr
    assert re.search(UNDER_WAY, again.stdout)
    assert "Is the head level" not in again.stderr  # what an earlier run told people is not told again
    changes, status = watched(detached)
    assert (status, changes[-1]["ended"]["complete"]) == (0, True)


def test_what_fails_before_it_is_under_way_is_reported_here(rig: Path) -> None:
    (rig / "taken.sqlite").write_text("something of somebody", encoding="utf-8")
    for words, sentence in (
        (f"{CAPTURE.replace(' port ', ' nowhere ')} --detach", "nowhere"),
        (f"{CAPTURE.replace('s.sqlite', 'taken.sqlite')} --detach", "exists already"),
        ("resume taken.sqlite --detach", "is not a session"),
        (f"{CAPTURE} --detach --on-hang-up stop", "--on-hang-up"),
    ):
        done = run(rig, words)
        assert done.returncode in {1, 2}, words
        assert sentence in done.stderr
    assert (rig / "taken.sqlite").read_text(encoding="utf-8") == "something of somebody"
    assert not (rig / "s.sqlite").exists()
