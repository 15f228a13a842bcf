"""The `fullturn` command: its groups and commands, and how failures are reported."""

import sys
from collections.abc import Callable
from typing import Any

import click

from controller import __version__
from controller.cli.align import align
from controller.cli.board import board
from controller.cli.calibrate import calibrate
from controller.cli.calibrate_pictures import centre, parallax, rail
from controller.cli.calibrate_settle import settle
from controller.cli.capture import capture, jog, report, resume, tell, watch
from controller.cli.command import CommandGroup
from controller.cli.completion import completion
from controller.cli.doctor import doctor, version
from controller.cli.help import help_
from controller.cli.inspect import inspect
from controller.cli.install_service import install_service
from controller.cli.kit import kit
from controller.cli.match import match
from controller.cli.page import page
from controller.cli.plan import plan
from controller.cli.rehearse import rehearse
from controller.cli.shared_options import say
from controller.cli.simulate import simulate
from controller.errors import InputError, WorldError
from controller.system.chosen import terminals


@click.group(cls=CommandGroup, context_settings={"max_content_width": 100})
@click.version_option(__version__, prog_name="fullturn", message="%(prog)s %(version)s")
def cli() -> None:
    """Plan, rehearse and run large stitched panoramas on a motorised pan/tilt head.

    `fullturn help` shows the guide, and explains any sentence that the program says.

    Nothing in this program is an emergency stop: motor power must have a switch of its own.
    """


for lens_command in (centre, parallax, rail, settle):
    calibrate.add_command(lens_command)
for command in (
    plan, rehearse, simulate, kit, board, calibrate, jog, capture, resume, tell, watch, report, match, inspect, align,
    page, install_service, doctor, version, help_, completion,
):  # fmt: skip
    cli.add_command(command)


def main(command: Callable[..., Any] = cli) -> None:
    """Run the command line. Failures become sentences and an exit status: 1 for WorldError, 2 for wrong use."""
    for stream in (sys.stdout, sys.stderr):
        terminals.prepare(stream)
    try:
        command()
    except InputError as error:
        for sentence in error.sentences:
            say(sentence, err=True)
        sys.exit(2)
    except WorldError as error:
        say(str(error), err=True)
        sys.exit(1)
