"""`fullturn page`: its options, and how the keys are printed."""

from dataclasses import asdict
from pathlib import Path

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded_whole
from controller.cli.option_types import PortName
from controller.cli.shared_options import FOLDER, PORT_HELP, json_option, lan_option, say, show
from controller.extras import must_have

with later():
    from controller.page import serving


@click.command(cls=Command, short_help="Open the page for a phone: plan, set up, run and look on.")
@click.argument("folder", type=FOLDER)
@click.option("--port", type=PortName(), help="The head's port, which the page offers. " + PORT_HELP)
@lan_option
@click.option(
    "--port-number",
    type=bounded_whole("port_number"),
    default=8360,
    show_default=True,
    help="The TCP port to serve at; 0 for any that is free.",
)
@click.option("--open", "open_browser", is_flag=True, help="Open the page in this machine's browser.")
@click.option("--forget-devices", is_flag=True, help="Forget all paired devices: each must be paired again.")
@json_option
def page(
    folder: Path,
    port: str | None,
    lan: bool,
    port_number: int,
    open_browser: bool,
    forget_devices: bool,
    as_json: bool,
) -> None:
    """Serve the kits, plans and sessions of FOLDER as a page, until interrupted.

    A device is paired by a key that is printed here: one key to control, one to look on. A run goes on when
    the page ends.
    """
    must_have("page", "The page")

    def tell(served: serving.PageServed) -> None:
        show(asdict(served) if as_json else serving.served_text(served, lan=lan))

    serving.serve_page(
        folder,
        serving.PagePlace(port_number, lan),
        head_port=port or "",
        tell=tell,
        warn=lambda line: say(line, err=True),
        open_browser=open_browser,
        forget_devices=forget_devices,
    )
