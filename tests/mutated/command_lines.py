"""Command lines: a command's own options with values of any kind, and words in places where they do not belong."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

import click

from controller.cli.main import cli
from tests.mutated.judging import OUT

VALUES = (
    "",
    "0",
    "-1",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "1e-308",
    "9" * 400,
    "1_0",
    "0,3",
    "30%",
    "x",
    "é",
    "-",
    "--",
    "a\nb",
    "x" * 300,
    "nowhere/x",
    ".",
    "kit.toml",
    "plan.json",
    "session.sqlite",
    "card",
    "9999-12-31T23:59:59+00:00",
    "0001-01-01T00:00:00+14:00",
    "999999999h",
    "1h",
    "5s",
    "pan",
    "tilt",
    "1",
    "2",
    "0.5",
    "10",
    "[::1]:0",
    "host:99999",
    "socket://x",
    "a,b",
    "1,2",
    OUT,
)
NEVER = {("simulate",), ("board",), ("capture",), ("resume",), ("jog",), ("kit", "setup"), ("completion",), ("page",)}
"""Commands that use a port, or wait for a person."""


UNUSED = {"--port", "--effort"}
"""Options that use a port, or that set how long to work."""


def leaf_commands(
    group: click.Group = cli, name: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """All commands except groups, with their words."""
    for word, command in sorted(group.commands.items()):
        words = (*name, word)
        if any(words[: len(never)] == never for never in NEVER):
            continue
        if isinstance(command, click.Group):
            yield from leaf_commands(command, words)
        else:
            yield words, command


def spoilt_words(chance: Random) -> tuple[str, ...]:
    """The words of a command with its own options; sometimes a word is left out, repeated, or misplaced."""
    words, command = chance.choice(list(leaf_commands()))
    line = [*words, *_options(command, chance)]
    if chance.random() < 0.2:
        at = chance.randrange(len(line))
        how = chance.randrange(4)
        if how == 0:
            line.insert(at, chance.choice((*VALUES, "--unknown", "-h", "--version", "--ou")))
        elif how == 1:
            line.insert(chance.randrange(len(line)), line[at])
        elif how == 2:
            line[at] = line[at].upper()
        else:
            del line[at]
    return tuple(line)


def _options(command: click.Command, chance: Random) -> list[str]:
    given: list[str] = []
    for parameter in command.params:
        if isinstance(parameter, click.Argument):
            given += [chance.choice(("kit.toml", "plan.json", "session.sqlite", "card", chance.choice(VALUES)))]
            continue
        assert isinstance(parameter, click.Option)
        if parameter.is_eager or UNUSED & {*parameter.opts}:
            continue
        if not parameter.required and chance.random() > 2 / len(command.params):
            continue
        given.append(chance.choice(parameter.opts))
        if not parameter.is_flag:
            given += [_value_for(parameter, chance) for _ in range(parameter.nargs)]
    return given


def _value_for(parameter: click.Option, chance: Random) -> str:
    if isinstance(parameter.type, click.Choice) and chance.random() < 0.7:
        return str(chance.choice(parameter.type.choices))
    if isinstance(parameter.type, click.Path) and chance.random() < 0.5:
        return OUT if "--out" in parameter.opts else chance.choice(("kit.toml", "level.csv", "steps.csv", "card"))
    return chance.choice(VALUES)
