"""`fullturn board build` and `fullturn board flash`: their options, and how results are printed."""

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded_whole
from controller.cli.option_types import OneOf, PortName, Text
from controller.cli.shared_options import (
    FOLDER,
    OUTPUT_FOLDER,
    baud_option,
    confirmed,
    countdown_option,
    json_option,
    port_option,
    say,
    show,
)

with later():
    from controller.cli import terminal
    from controller.commands import board_firmware as firmware_work

if TYPE_CHECKING:
    from controller.conformance.battery import RuleResult

TARGETS = ("avr", "arm")
LACKING = ("sync-contact", "pan-switch", "tilt-switch", "half-press")
PRECAUTIONS = (
    "Switch the motor supply off, support the camera, and unplug the camera's contacts. The board restarts, and its pins "
    "float meanwhile: a motor with power may jump, and a tilt without power may drop."
)


@click.command(cls=Command)
@click.option(
    "--target",
    type=OneOf(TARGETS),
    default="avr",
    show_default=True,
    help="The controller: avr is an ATmega328P at 16 MHz, arm an nRF51822.",
)
@click.option("--out", type=OUTPUT_FOLDER, required=True, help="New folder for the sources and the program.")
@click.option(
    "--without",
    type=OneOf(LACKING),
    multiple=True,
    help="What your head does not have. Repeat it for more. Default: it has everything.",
)
@baud_option
@json_option
def build(target: str, out: Path, without: tuple[str, ...], baud: int, as_json: bool) -> None:
    """Build the reference firmware for a board, with the compiler that is installed on this computer.

    The sources are copied to --out and built there; the last line says where the program is. To change pins or
    constants, edit the copy and run the printed command in it again. Nothing is written to a board.
    """
    built = firmware_work.build_command(target, out, baud, without, lambda text: say(text, err=True))
    if as_json:
        show(built.as_json())
        return
    write_it = f"fullturn board flash {shlex.quote(built.folder)}"
    show(f"The firmware for {built.target} is in {built.program}. Write it with `{write_it}`.")


@click.command(cls=Command)
@click.argument("folder", type=FOLDER)
@port_option
@click.option(
    "--programmer",
    type=Text(),
    required=True,
    help="What writes the program. For avr: avrdude's name of your programmer or bootloader. For arm: OpenOCD's file for "
    "your debug adapter, without .cfg.",
)
@click.option(
    "--programmer-port", type=PortName(), help="Port of an avr programmer. Default: that of --port, for a bootloader."
)
@click.option(
    "--programmer-baud",
    type=bounded_whole("baud"),
    default=115_200,
    show_default=True,
    help="Line speed of an avr programmer or bootloader, bits per second.",
)
@baud_option
@click.option("--yes", is_flag=True, help="Answer yes before the program is written.")
@countdown_option
@json_option
def flash(
    folder: Path,
    port: str,
    programmer: str,
    programmer_port: str | None,
    programmer_baud: int,
    baud: int,
    yes: bool,
    countdown: int,
    as_json: bool,
) -> None:
    """Write the firmware in FOLDER to a board, and find out whether it works.

    FOLDER is one that `board build` has made. You read the command and are asked before it runs. Switch the motor supply
    off and support the camera first: the board restarts. Afterwards the board is asked who it is, and the rules of
    `board check` are tested that do not switch the motors on.
    """
    tool = firmware_work.Programmer(programmer, programmer_port, programmer_baud)

    def may_flash(home: Path, line: list[str]) -> bool:
        say(f"{PRECAUTIONS}\nThis runs in {home}: {shlex.join(line)}", err=True)
        return confirmed("Write the program to the board now?", yes=yes)

    def tell(verdict: "RuleResult") -> None:
        if not as_json:
            show(verdict.words())

    people = terminal.people_here(yes=yes, countdown_s=countdown)
    flashed = firmware_work.flash_command(folder, port, baud, tool, may_flash, tell, people)
    if flashed is None:
        say("Nothing was written. To write it without a question, add --yes.", err=True)
        raise SystemExit(1)
    show(flashed.as_json() if as_json else flashed.sentence(port))
    if not flashed.works:
        raise SystemExit(1)
