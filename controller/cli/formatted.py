"""Markdown, printed. In a module of its own, because it loads little until a terminal shows it."""

import shutil
import sys

import click

from controller.cli.later import later
from controller.system.chosen import terminals

with later():
    from rich import console, markdown

WIDEST = 96  # characters of a line that is read with ease


def show_markdown(text: str) -> None:
    """Print Markdown: plain if it goes elsewhere, formatted in a terminal, and page by page if it is longer than that."""
    if not terminals.is_terminal(sys.stdout):
        click.echo(text.rstrip("\n"))
        return
    size = shutil.get_terminal_size()
    shown = console.Console(width=min(size.columns, WIDEST))
    with shown.capture() as capture:
        shown.print(markdown.Markdown(text, hyperlinks=False))
    if capture.get().count("\n") < size.lines:
        click.echo(capture.get(), nl=False)
    else:
        click.echo_via_pager(capture.get())
