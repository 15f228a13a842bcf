"""`fullturn help`: its words, and whether the page is shown here or in the browser."""

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.option_types import Text
from controller.cli.shared_options import json_option, show

with later():
    from controller.cli import formatted
    from controller.commands import help as help_work


@click.command("help", cls=Command, short_help="Show a page of the guide, or explain a sentence.")
@click.argument("words", nargs=-1, type=Text(4000), metavar="[TOPIC | SENTENCE]")
@click.option("--browser", is_flag=True, help="Open the page in the browser. The site must have been built.")
@json_option
def help_(words: tuple[str, ...], browser: bool, as_json: bool) -> None:
    """Show the page of a TOPIC, explain a SENTENCE that the program said, or list all topics.

    Examples: fullturn help night, fullturn help "the port is in use".
    """
    text = " ".join(words)
    if browser:
        opened = help_work.browse_command(text)
        show({"opened": str(opened)} if as_json else f"Opened {opened}")
        return
    found = help_work.help_command(text)
    if as_json:
        show(found.value)
    else:
        formatted.show_markdown(found.text)
