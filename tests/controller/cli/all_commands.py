"""Every command of the program."""

from __future__ import annotations

from collections.abc import Iterator

import click

from controller.cli.main import cli


def commands(group: click.Group = cli, names: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command, by the words of its name."""
    for name, each in group.commands.items():
        if isinstance(each, click.Group):
            yield from commands(each, (*names, name))
        else:
            yield (*names, name), each
