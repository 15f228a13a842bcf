"""The hardware notes show what the program prints."""

import re
import shlex
from pathlib import Path

import click
import pytest

from controller.cli.main import cli
from tests.controller.commands.shell import Shell
from tests.repo import stiffness

NOTES = Path(__file__).resolve().parents[2] / "hardware_notes"
SHOWN = [
    (page.name, command, lines)
    for page in sorted(NOTES.glob("*.md"))
    for command, lines in re.findall(r"```console\n\$ fullturn (.*?)\n(.*?)```", page.read_text(encoding="utf-8"), re.S)
]
NAMED = sorted(
    {
        (page.name, command)
        for page in NOTES.glob("*.md")
        for command in re.findall(r"`fullturn ([^`]+)`", page.read_text(encoding="utf-8"))
    }
)


def test_there_is_something_to_hold_them_to() -> None:
    assert len(SHOWN) >= 3
    assert len(NAMED) >= 30


@pytest.mark.parametrize(("page", "command", "lines"), SHOWN)
def test_what_is_shown_is_printed(
    page: str,
    command: str,
    lines: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """Lines may be left out, but none may be changed."""
    shell = Shell(tmp_path, capsys, monkeypatch)
    monkeypatch.chdir(NOTES / "examples")
    told = shell(*shlex.split(command))
    wanted = lines.splitlines()
    assert wanted
    assert [line for line in (told.out + told.err).splitlines() if line in wanted] == wanted, told


def test_a_soft_rig_costs_what_the_page_says() -> None:
    """Work it out again with: python -m tests.repo.stiffness."""
    text = stiffness.PAGE.read_text(encoding="utf-8")
    assert len(stiffness.ROW.findall(text)) == 3
    assert stiffness.page() == text


@pytest.mark.parametrize(("page", "command"), NAMED)
def test_commands_and_options_that_are_named_exist(page: str, command: str) -> None:
    words = shlex.split(command)
    found: click.Command = cli
    while isinstance(found, click.Group):
        assert words[0] in found.commands, command
        found = found.commands[words.pop(0)]
    options = {option for parameter in found.params for option in parameter.opts} | {"--help"}
    for word in words:
        assert not word.startswith("--") or word in options, f"{command}: {word}"
