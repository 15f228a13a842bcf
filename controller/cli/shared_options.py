"""What the groups of commands have in common: options, and how they print."""

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import click

from controller.cli.later import later
from controller.cli.numbers import bounded_whole
from controller.cli.option_types import PathName, PortName
from controller.shown import escaped, shown

with later():
    from controller import folders, sizes, typed

FILE = PathName(exists=True)
FOLDER = PathName(exists=True, files=False, folders=True)
ANYTHING = PathName(exists=True, folders=True)
OUTPUT, OUTPUT_FOLDER = PathName(folders=True, name="file"), PathName(folders=True, name="directory")
"""Places to write to. What is there is judged by `controller/places.py`, before a command begins to work."""

unfinished_option = click.option(
    "--yes", is_flag=True, help="Remove what a killed run left beside --out; without it you are asked."
)
PORT_HELP = "A device, usb:SERIALNUMBER, or a URL like socket://host:7000."
port_option = click.option("--port", type=PortName(), required=True, help=PORT_HELP)
countdown_option = click.option(
    "--countdown",
    type=bounded_whole("countdown"),
    default=5,
    show_default=True,
    help="Seconds between telling that the head moves and the motion.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON value instead of sentences.")


def with_options(options: Sequence[Callable[..., Any]]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A decorator that gives a command these options, in their order."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def say(text: str, *, err: bool = False) -> None:
    """Print a text; what a name of a file may hold that a terminal obeys, or that is not UTF-8, is escaped."""
    click.echo(escaped(text, "\n\t"), err=err)


def show(shown: Any) -> None:
    """Print a text as it is, anything else as JSON."""
    say(shown if isinstance(shown, str) else json.dumps(shown, allow_nan=False))
    sys.stdout.flush()  # whoever waits for the line, at the end of a pipe


def offer_removal(folder: Path, *, yes: bool) -> None:
    """Offer to remove what killed runs left where `folder` is to be written; nothing goes without a yes."""
    for left in folders.unfinished_near(folder):
        what = f"A run that was killed left {shown(left.path)}, {sizes.size_text(left.size_bytes)}."
        if confirmed(f"{what} Remove it?", yes=yes):
            folders.remove_unfinished(left)
            click.echo(f"Removed {shown(left.path)}.", err=True)
        else:
            click.echo(f"{what} It is kept; --yes removes it.", err=True)


def confirmed(question: str, *, yes: bool) -> bool:
    """The answer to a question: what `yes` says where that is true or nobody is there to be asked."""
    if yes or not sys.stdin.isatty():
        return yes

    typed.TypedLines().forget()  # what was typed before the question is no answer to it
    return click.confirm(question, err=True)
