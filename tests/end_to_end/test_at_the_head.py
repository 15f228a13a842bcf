"""A capture at a real terminal: typing ahead, Ctrl-C, another terminal, and a terminal that hangs up."""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest

from controller.session.session import Session
from tests.controller.commands.simulated import PATIENT, beside, environment, simulated

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals"),
    pytest.mark.long,
]
WINDOW = "--region window --pitch-from -40 --pitch-to 40 --yaw-from -90 --yaw-to 110"
CLEAR = "within reach of what turns"


def fullturn(folder: Path, words: str) -> str:
    done = beside(folder, *words.split())
    return done.stdout + done.stderr


def at_terminal(folder: Path, words: str) -> pexpect.spawn[str]:
    return pexpect.spawn(
        f"{sys.executable} -m controller {words}",
        cwd=str(folder),
        env=environment() | {"TERM": "xterm"},
        timeout=60,
        encoding="utf-8",
        dimensions=(40, 160),
    )


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    (folder / "kit.toml").write_text(PATIENT, encoding="utf-8")
    fullturn(folder, f"plan kit.toml --out plan.json {WINDOW}")
    return folder / "plan.json"


@pytest.fixture
def rig(plan: Path, tmp_path: Path) -> Iterator[Path]:
    with simulated(tmp_path, "--port-name", "port", "--truth", "truth.json", "--speed", "10"):
        shutil.copy(plan, tmp_path)
        yield tmp_path


def hang_up(host: pexpect.spawn[str]) -> int:
    """Hang up the terminal, as when a telephone loses its network. Returns how the program ended by itself."""
    assert host.pid is not None
    os.close(host.child_fd)
    _, status = os.waitpid(host.pid, 0)
    return os.waitstatus_to_exitcode(status)


def made(folder: Path) -> int:
    with Session.open(folder / "s.sqlite") as session:
        return len(session.made())


def test_a_terminal_that_hangs_up_is_outlived_by_the_run(rig: Path) -> None:
    host = at_terminal(rig, "capture plan.json --port port --out s.sqlite --countdown 1 --skip-sweep")
    host.expect(CLEAR)
    host.send("y\r")
    host.expect("The head moves in 1 s: the run begins")
    host.expect("[1-4] of 8 exposures")
    assert hang_up(host) == 0
    assert made(rig) == 8
    assert "The set is complete." in fullturn(rig, "report s.sqlite")


def test_a_run_may_be_told_to_stop_when_its_terminal_hangs_up(rig: Path) -> None:
    host = at_terminal(rig, "capture plan.json --port port --out s.sqlite --countdown 1 --skip-sweep --on-hang-up stop")
    host.expect(CLEAR)
    host.send("y\r")
    host.expect("[1-4] of 8 exposures")
    assert hang_up(host) == 1
    assert 0 < made(rig) < 8
    assert "Stopped as asked." in fullturn(rig, "report s.sqlite --json")


def test_a_line_begun_before_the_question_does_not_answer_it(rig: Path) -> None:
    host = at_terminal(rig, "capture plan.json --port port --out s.sqlite --countdown 1 --skip-sweep")
    host.send("y")  # no Enter yet, and no question yet
    host.expect(CLEAR)
    host.expect("Type y or n, then Enter.")
    host.send("\r")
    host.expect("Type y or n, then Enter.")
    host.send("maybe\r")
    host.expect("“maybe” is not known here")
    assert "No question is open" not in fullturn(rig, "tell s.sqlite no")
    host.expect("Not started")
    host.expect(pexpect.EOF)
    assert not (rig / "s.sqlite").exists()


def test_ctrl_c_in_the_countdown_keeps_the_head_still(rig: Path) -> None:
    host = at_terminal(rig, "capture plan.json --port port --out s.sqlite --countdown 30 --skip-sweep")
    host.expect(CLEAR)
    host.send("y\r")
    host.expect("The head moves in 30 s")
    host.sendintr()
    host.expect("Paused: the head stays still")
    host.sendintr()
    host.expect(pexpect.EOF)
    host.close()
    assert host.exitstatus == 1
    assert json.loads((rig / "truth.json").read_text(encoding="utf-8")) == {"exposures": []}


def test_keys_move_the_head_and_ctrl_c_ends_that(rig: Path) -> None:
    host = at_terminal(rig, "jog kit.toml --port port --countdown 1")
    host.expect("Is everything clear")
    host.send("y\r")
    host.expect("The head moves in 1 s: both axes turn slowly")
    host.expect("yaw 0.000°")
    host.send("r")
    host.expect("The head moves now: right, by your key")
    host.expect(r"yaw 1\.000°")
    host.send("\x1b[A")
    host.expect(r"pitch 1\.000°")
    host.sendintr()
    host.expect("Stopped as asked.")
    host.expect(pexpect.EOF)
    host.close()
    assert host.exitstatus == 1


def test_what_is_no_run_ends_when_its_terminal_hangs_up(rig: Path) -> None:
    host = at_terminal(rig, "jog kit.toml --port port")
    host.expect("Is everything clear")
    assert hang_up(host) == 1
