"""What the command groups share: options, and printing."""

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
from controller.system.chosen import terminals

with later():
    from controller import folders, sizes, typed

FILE = PathName(exists=True)
FOLDER = PathName(exists=True, files=False, folders=True)
ANYTHING = PathName(exists=True, folders=True)
OUTPUT, OUTPUT_FOLDER = PathName(folders=True, name="file"), PathName(folders=True, name="directory")
"""Places to write to. `controller/places.py` checks what is there, before a command begins its work."""

unfinished_option = click.option(
    "--yes", is_flag=True, help="Remove leftovers of a killed run beside --out without asking."
)
PORT_HELP = "A device, usb:SERIALNUMBER, or a URL like socket://host:7000."
port_option = click.option("--port", type=PortName(), required=True, help=PORT_HELP)
lan_option = click.option("--lan", is_flag=True, help="Serve the local network too, not this machine only.")
baud_option = click.option(
    "--baud",
    type=bounded_whole("baud"),
    default=115_200,
    show_default=True,
    help="Speed of the serial line, bits per second.",
)
countdown_option = click.option(
    "--countdown",
    type=bounded_whole("countdown"),
    default=5,
    show_default=True,
    help="Seconds of warning before the head moves.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON value instead of sentences.")


def with_options(options: Sequence[Callable[..., Any]]) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """A decorator that adds these options to a command, in their order."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


def say(text: str, *, err: bool = False) -> None:
    """Print a text with unprintable characters and invalid UTF-8 escaped: a terminal would obey the former."""
    click.echo(escaped(text, "\n\t"), err=err)


def show(shown: Any) -> None:
    """Print a text unchanged, anything else as JSON."""
    say(shown if isinstance(shown, str) else json.dumps(shown, allow_nan=False))
    sys.stdout.flush()  # a reader at the end of a pipe may wait for the line


def offer_removal(folder: Path, *, yes: bool) -> None:
    """Offer to remove what killed runs left where `folder` will be written; nothing is removed without a yes."""
    for left in folders.unfinished_near(folder):
        what = f"A run that was killed left {shown(left.path)}, {sizes.size_text(left.size_bytes)}."
        if confirmed(f"{what} Remove it?", yes=yes):
            folders.remove_unfinished(left)
            click.echo(f"Removed {shown(left.path)}.", err=True)
        else:
            click.echo(f"{what} It is kept; --yes removes it.", err=True)


def confirmed(question: str, *, yes: bool) -> bool:
    """The answer to a question: `yes` if that is true or nobody can be asked."""
    if yes or not terminals.is_terminal(sys.stdin):
        return yes

    typed.TypedLines().forget()  # what was typed before the question is no answer to it
    return click.confirm(question, err=True)
