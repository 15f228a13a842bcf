"""`fullturn doctor` and `fullturn version` as they are typed."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest

from controller import __version__
from controller.commands import doctor as doctor_work
from controller.doctor.checks import CHECKS, checked
from controller.doctor.this_computer import read_computer
from controller.session.migrations import OLDEST_VERSION, SESSION_VERSION
from tests.controller.commands.shell import Shell, refuses
from tests.controller.doctor.test_checks import FIT
from tests.repo.test_layers import ROOT


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    return Shell(tmp_path, capsys, monkeypatch)


@pytest.fixture(autouse=True)
def no_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor_work, "ports", list)


def test_every_check_has_its_title_and_the_counts_come_last(shell: Shell) -> None:
    told = shell("doctor")
    lines = told.out.splitlines()
    assert told.err == ""
    assert [line for line in lines[:-1] if not line.startswith(" ")] == [check.title for check in CHECKS]
    counts = [int(number) for number in re.findall(r"\d+", lines[-1])]
    assert sum(counts) == sum(bool(re.match("  (ok|look|WRONG) ", line)) for line in lines)
    assert shell.files() == {"kit.toml"}
    assert told.status == (1 if counts[0] else 0)


def test_as_json_it_says_the_same(shell: Shell) -> None:
    value = json.loads(shell("doctor", ".", "--json").out)
    assert value["worst"] in {"ok", "look", "wrong"}
    assert {each["check"] for each in value["findings"]} == {check.name for check in CHECKS}


@pytest.mark.parametrize("port", ["/dev/no-such-port", "usb:NO-SUCH-NUMBER"])
def test_a_port_that_is_not_there_is_wrong_and_the_status_says_so(shell: Shell, port: str) -> None:
    told = shell("doctor", "--port", port)
    assert told.status == 1
    assert f"WRONG There is no port {port}." in told.out
    value = json.loads(shell("doctor", "--json", "--port", port).out)
    assert value["worst"] == "wrong"


def test_what_is_in_order_ends_with_status_0(shell: Shell) -> None:
    with mock.patch.object(doctor_work, "doctor_command", return_value=checked(FIT)):
        told = shell("doctor")
    assert told.status == 0
    assert told.out.endswith(f"0 wrong, 0 worth a look, {len(checked(FIT).found)} ok\n")


def test_what_to_do_is_under_the_sentence(shell: Shell) -> None:
    bad = replace(FIT, memory_bytes=1)
    with mock.patch.object(doctor_work, "doctor_command", return_value=checked(bad)):
        told = shell("doctor")
    assert "  WRONG Only 1 byte of memory are free, too little for a run.\n        End other programs\n" in told.out
    assert told.status == 1


def test_a_folder_that_does_not_exist_is_refused(shell: Shell) -> None:
    (sentence,) = refuses(shell, 2, "doctor", "no-such-folder")[-1:]
    assert "no-such-folder" in sentence


def test_ports_of_this_computer_are_all_looked_at(tmp_path: Path) -> None:
    found = [("/dev/null", "", None), ("/dev/no-such-port", "", None)]
    with mock.patch.object(doctor_work, "ports", return_value=found):
        result = doctor_work.doctor_command(tmp_path, None, lambda _, ports: replace(FIT, ports=tuple(ports)))
    said = [one.sentence for check, one in result.found if check.name == "ports"]
    assert len(said) == 2
    assert "/dev/no-such-port" in said[1]


def test_the_version_names_everything_and_nobody(shell: Shell, monkeypatch: pytest.MonkeyPatch) -> None:
    value = json.loads(shell("version", "--json").out)
    assert value["fullturn"] == __version__
    assert value["installed"]["how"] == "a clone"
    assert value["formats"]["session"] == {"oldest": OLDEST_VERSION, "newest": SESSION_VERSION}
    assert set(value["formats"]) == {"session", "plan", "calibration", "setup", "devices"}
    assert value["protocol"].startswith("1.")
    assert value["firmware"]["protocol"].endswith(value["protocol"])
    assert {"click", "numpy", "pydantic"} <= {each["name"] for each in value["packages"]}
    assert value["extras"]["report"] is True
    assert all(set(each) == {"name", "version", "wanted", "extra"} for each in value["packages"])
    monkeypatch.setenv("HOME", str(ROOT.parent))
    monkeypatch.setenv("USERPROFILE", str(ROOT.parent))
    assert json.loads(shell("version", "--json").out)["installed"]["folder"] == str(Path("~", ROOT.name))
    assert os.uname().nodename not in shell("version", "--json").out or len(os.uname().nodename) < 3


def test_the_version_in_lines_and_the_short_one(shell: Shell) -> None:
    lines = shell("version").out.splitlines()
    assert [line.split()[0] for line in lines] == [
        "Fullturn", "Python", "SQLite", "Extras", "Packages", "Formats", "Protocol",
    ]  # fmt: skip
    assert lines[0].startswith(f"Fullturn  {__version__}, from a clone in ")
    assert f"session {SESSION_VERSION}" in lines[5]
    assert shell("--version").out == f"fullturn {__version__}\n"


def test_without_the_optional_parts_both_still_say_everything(tmp_path: Path) -> None:
    """In a process that cannot import what is not of the core."""
    block = (
        "import sys; sys.modules.update(dict.fromkeys(['matplotlib','cv2','starlette','uvicorn','lensfunpy','gphoto2']))"
    )
    code = f"{block}; sys.argv = ['fullturn', sys.argv[1], '--json']; from controller.cli.main import main; main()"
    for words in ("version", "doctor"):
        done = subprocess.run(
            [sys.executable, "-c", code, words], cwd=tmp_path, env=os.environ | {"PYTHONPATH": str(ROOT)},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.stderr == ""
        assert json.loads(done.stdout)


def test_the_readings_of_this_computer_can_be_judged(tmp_path: Path) -> None:
    assert {check.name for check, _ in checked(read_computer(tmp_path, [])).found} == {check.name for check in CHECKS}
