"""`fullturn help`: shown in colours in a terminal, page by page if it is long; plain text elsewhere."""

import shutil
import sys

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.option_types import Text
from controller.cli.shared_options import show

with later():
    from rich import console as rich_console
    from rich import markdown

    from controller.commands import help as help_work

WIDEST = 96  # characters of a line that is read with ease


@click.command("help", cls=Command, short_help="Show a page of the guide, or explain a sentence.")
@click.argument("words", nargs=-1, type=Text(4000), metavar="[TOPIC | SENTENCE]")
@click.option("--browser", is_flag=True, help="Open the page in the browser. The site must have been built.")
def help_(words: tuple[str, ...], browser: bool) -> None:
    """Show the page of a TOPIC, explain a SENTENCE that the program said, or list all topics.

    Examples: fullturn help night, fullturn help "the port is in use".
    """
    text = " ".join(words)
    if browser:
        show(f"Opened {help_work.browse_command(text)}")
        return
    page = help_work.help_command(text)
    if not sys.stdout.isatty():
        show(page.rstrip("\n"))
        return
    size = shutil.get_terminal_size()
    console = rich_console.Console(width=min(size.columns, WIDEST))
    with console.capture() as capture:
        console.print(markdown.Markdown(page, hyperlinks=False))
    if capture.get().count("\n") < size.lines:
        click.echo(capture.get(), nl=False)
    else:
        click.echo_via_pager(capture.get())
