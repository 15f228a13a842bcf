"""Headings over options: complete, without repetition, and with the same options as without headings."""

from __future__ import annotations

from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from controller.cli.headings import HEADINGS, REST, under_headings
from controller.cli.main import cli

MANY = 10
"""A command with more options than this has headings."""
WITHOUT = ("--json", "-h")
"""These may be under no heading."""


def commands(command: click.Command, words: tuple[str, ...] = ()) -> Iterator[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        for name, below in command.commands.items():
            yield from commands(below, (*words, name))
    else:
        yield " ".join(words), command


COMMANDS = dict(commands(cli))


def options_of(path: str) -> list[str]:
    command = COMMANDS[path]
    shown = command.get_params(click.Context(command, help_option_names=["--help"]))
    return [each.opts[0] for each in shown if isinstance(each, click.Option)]


def test_headings_are_of_commands_that_there_are() -> None:
    assert HEADINGS.keys() <= COMMANDS.keys()


@pytest.mark.parametrize("path", COMMANDS)
def test_a_command_with_many_options_has_headings(path: str) -> None:
    assert path in HEADINGS or len(options_of(path)) - 1 <= MANY


@pytest.mark.parametrize("path", HEADINGS)
def test_every_option_is_under_one_heading(path: str) -> None:
    listed = [name for names in HEADINGS[path].values() for name in names.split()]
    assert len(listed) == len(set(listed))
    assert set(listed) <= set(options_of(path))
    assert set(options_of(path)) - set(listed) <= set(WITHOUT)


@pytest.mark.parametrize("path", COMMANDS)
def test_help_lists_every_option_once(path: str) -> None:
    context = click.Context(COMMANDS[path], help_option_names=["--help"])
    params = COMMANDS[path].get_params(context)
    below = [each.opts[0] for _, options in under_headings(path, params) for each in options]
    assert sorted(below) == sorted(options_of(path))


@pytest.mark.parametrize("path", COMMANDS)
def test_help_shows_the_headings_in_order(path: str) -> None:
    lines = CliRunner().invoke(cli, [*path.split(), "--help"], prog_name="fullturn").output.splitlines()
    titles = [line[:-1] for line in lines if line.endswith(":") and not line.startswith(" ")]
    assert titles == ([*HEADINGS[path], REST] if path in HEADINGS else ["Options"])
    starts = [word.strip(",") for line in lines if line.startswith("  -") for word in line.split() if word[:1] == "-"]
    assert set(options_of(path)) <= set(starts)
