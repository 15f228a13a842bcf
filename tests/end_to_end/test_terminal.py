"""The program at a real terminal: colours and NO_COLOR, completion, and a system without pseudo-terminals."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import click
import pexpect
import pytest

from controller.cli.main import cli
from tests.controller.commands.shell import KIT
from tests.controller.commands.simulated import environment

COLOUR = re.compile(r"\x1b\[[0-9;]*(?:3[0-9]|4[0-9]|9[0-7])[0-9;]*m")
NO_JSON = {"kit schema", "completion"}  # the first always prints JSON, the second a script


def at_terminal(folder: Path, words: str, **more: str) -> str:
    child = pexpect.spawn(
        f"{sys.executable} -m controller {words}",
        cwd=str(folder), env=environment() | {"TERM": "xterm-256color", "COLUMNS": "100"} | more,
        timeout=60, encoding="utf-8",
    )  # fmt: skip
    said = str(child.read())
    child.close()
    assert child.exitstatus == 0, said
    return said


@pytest.fixture
def planned(tmp_path: Path) -> Path:
    (tmp_path / "kit.toml").write_text(KIT)
    at_terminal(tmp_path, "plan kit.toml --out plan.json --region single-row --row-pitch 0")
    return tmp_path


def test_colours_are_shown_and_not_shown_when_nobody_wants_them(planned: Path) -> None:
    """The request is the variable NO_COLOR, set to anything: the informal standard of that name (2017)."""
    coloured = at_terminal(planned, "rehearse plan.json --out a")
    plain = at_terminal(planned, "rehearse plan.json --out b", NO_COLOR="1")
    assert COLOUR.search(coloured)
    assert not COLOUR.search(plain)


def test_the_shell_completes_commands_and_options() -> None:
    def completed(words: str, place: int) -> list[str]:
        asked = environment() | {"COMP_WORDS": words, "COMP_CWORD": str(place), "_FULLTURN_COMPLETE": "bash_complete"}
        script = "from controller.cli.main import cli; cli(prog_name='fullturn')"
        told = subprocess.run([sys.executable, "-c", script], env=asked, capture_output=True, text=True, check=False)
        return [line.split(",")[-1] for line in told.stdout.splitlines()]

    assert completed("fullturn kit se", 2) == ["setup"]
    assert "--overlap" in completed("fullturn plan --ov", 2)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_for_a_shell_is_printed(shell: str, tmp_path: Path) -> None:
    script = at_terminal(tmp_path, f"completion {shell}")
    assert "_FULLTURN_COMPLETE" in script
    assert "fullturn" in script


def commands(command: click.Command, name: str = "") -> list[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        return [each for word, one in command.commands.items() for each in commands(one, f"{name} {word}".strip())]
    return [(name, command)]


@pytest.mark.parametrize(("name", "command"), commands(cli))
def test_every_command_prints_json_if_asked(name: str, command: click.Command) -> None:
    options = {option for parameter in command.params for option in parameter.opts}
    assert ("--json" in options) != (name in NO_JSON)


@pytest.mark.parametrize(("name", "command"), commands(cli))
def test_every_option_says_what_it_is_for(name: str, command: click.Command) -> None:
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"{name} {parameter.opts}"
            assert not parameter.help.startswith("..."), f"{name} {parameter.opts}: means nothing alone"


def test_everything_but_the_pseudo_terminal_is_there_on_a_system_without_one(tmp_path: Path) -> None:
    """As on Windows: none of these modules, and Windows' ways of the host. Plan, rehearsal and report still work."""
    (tmp_path / "kit.toml").write_text(KIT)
    script = """
import asyncio, importlib, multiprocessing, os, shutil, subprocess, sys, pkgutil
from types import SimpleNamespace
import serial  # it has a way of its own for each system
for name in ("fcntl", "pty", "tty", "termios", "resource", "pwd", "grp"):
    sys.modules[name] = None
from tests.controller.system.windows import Msvcrt
sys.modules["msvcrt"] = Msvcrt()
sys.modules["controller.system.kernel32"] = SimpleNamespace(is_console=lambda _: False, bytes_waiting=None)
here, sys.platform = sys.platform, "win32"
from controller.system import chosen
import sim.system
sys.platform = here
assert chosen.WINDOWS and type(chosen.disk).__name__ == "WindowsDisk" and not sim.system.HAS_TERMINALS
import controller, protocol, sim
for package in (controller, protocol, sim):
    for found in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if found.name != "controller.__main__":
            __import__(found.name)
from controller.cli.main import cli
cli(["plan", "kit.toml", "--out", "plan.json", "--region", "single-row", "--row-pitch", "0"], standalone_mode=False)
cli(["rehearse", "plan.json", "--out", "run"], standalone_mode=False)
"""
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=tmp_path, env=environment(), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "run" / "report.html").is_file()
    assert {path.name for path in tmp_path.iterdir()} == {"kit.toml", "plan.json", "run"}, "nothing is left behind"


if os.name == "nt":
    pytestmark = pytest.mark.skip(reason="no pseudo-terminal to try it at")
