"""The `fullturn board` group: its options, and how results are printed."""

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.board_firmware import build, flash
from controller.cli.command import CommandGroup
from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.option_types import PathOrInput, PortName
from controller.cli.shared_options import (
    FILE,
    PORT_HELP,
    baud_option,
    confirmed,
    countdown_option,
    json_option,
    port_option,
    show,
)
from controller.reading import RECORDING, open_file

with later():
    from controller.cli import terminal
    from controller.commands import board as board_work
    from controller.commands import listen as listen_work
    from controller.conformance import reach as board_reach
    from controller.kit import load as kit_load
    from controller.kit import own_head

if TYPE_CHECKING:
    from controller.conformance.battery import RuleResult
    from controller.ports.traffic import Heard


@click.group(cls=CommandGroup)
def board() -> None:
    """Find a board on a serial port, test it, measure the connection, listen to it, and write its firmware."""


board.add_command(build)
board.add_command(flash)


@board.command()
@click.option("--port", type=PortName(), help="Test this port alone. " + PORT_HELP)
@baud_option
@json_option
def find(port: str | None, baud: int, as_json: bool) -> None:
    """List the ports of this computer, and test each for a board.

    Nothing moves, but opening a port restarts many boards: the motors go off, and an unbalanced tilt may drop. Support
    the camera first. With --port it also tests a line over a network, which no list contains.
    """
    found = board_work.find_command(baud, port)
    if as_json:
        show([asdict(candidate) | {"name": candidate.name} for candidate in found])
        return
    if not found:
        click.echo("No serial ports were found; plug the board in.")
    for candidate in found:
        known_as = "  ".join(dict.fromkeys(filter(None, (candidate.port, candidate.name, candidate.description))))
        click.echo(f"{known_as}: {candidate.answer}")


@board.command()
@port_option
@baud_option
@click.option("--yes", is_flag=True, help="Answer yes before the head moves and the camera is released.")
@click.option(
    "--kit",
    "kit_file",
    type=FILE,
    help="The kit: search for zero within its limits, at its speed. Default: 4,000 steps either way, slowly.",
)
@countdown_option
@json_option
def check(port: str, baud: int, yes: bool, kit_file: Path | None, countdown: int, as_json: bool) -> None:
    """Test a board against the rules of the protocol.

    Most rules turn nothing, but some of these switch the motors on. You are asked before anything turns. Before each
    rule that switches the motors on, you read what moves, for how long, and how to stop it.
    """
    reach = None
    if kit_file is not None:
        kit = kit_load.load_kit(kit_file)
        own_head.must_be_own_head(kit, str(kit_file))
        reach = board_reach.reach_of(kit)

    def may_move() -> bool:
        if as_json:
            return yes
        return confirmed("The next rules turn both axes and release the camera. Is everything clear?", yes=yes)

    def tell(verdict: "RuleResult") -> None:
        if not as_json:
            show(verdict.words())

    people = terminal.people_here(yes=yes, countdown_s=countdown)
    verdicts = board_work.check_command(port, baud, may_move, tell, people=people, reach=reach)
    if as_json:
        show([asdict(verdict) for verdict in verdicts])
    if any(verdict.kept is False for verdict in verdicts):
        raise SystemExit(1)


@board.command()
@port_option
@baud_option
@click.option("--seconds", type=bounded("seconds"), default=10.0, show_default=True, help="How long to measure.")
@json_option
def soak(port: str, baud: int, seconds: float, as_json: bool) -> None:
    """Measure the connection: round trips, repeats, damaged frames."""
    health = board_work.soak_command(port, baud, seconds)
    if as_json:
        show(health.as_json())
        return
    click.echo(
        f"{health.exchanges} exchanges in {health.seconds:.1f} s: median {health.median_ms:.2f} ms, worst "
        f"{health.worst_ms:.2f} ms; {health.retransmitted} repeated, {health.damaged} damaged, {health.dropped} dropped."
    )
    most = max(health.histogram.values()) or 1
    for bound, count in health.histogram.items():
        if count:
            click.echo(f"  {bound:>7} ms {count:8}  {'#' * max(1, 40 * count // most)}")
    if health.silent:
        click.echo("The board stopped answering.", err=True)
        raise SystemExit(1)


@board.command()
@click.option(
    "--port",
    type=PortName(),
    help=PORT_HELP + " No other program may use it; to listen to another program's line, use --tap.",
)
@click.option("--tap", is_flag=True, help="Only listen: --port is an adapter whose receiver is wired to the line.")
@click.option("--from", "file", type=PathOrInput(), help="Decode recorded bytes instead of a line; - for standard input.")
@baud_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object a line instead of sentences.")
def listen(port: str | None, tap: bool, file: Path | None, baud: int, as_json: bool) -> None:
    """Print the decoded traffic of a line, both ways: one line a frame, damaged bytes as hex. Ctrl-C ends it.

    Without --tap the board is asked for its status once a second. Nothing moves, but opening a port restarts many
    boards: the motors go off, and an unbalanced tilt may drop. Support the camera first.
    """

    def print_one(heard: "Heard") -> None:
        show(heard.as_json() if as_json else heard.line())

    if file is not None:
        with sys.stdin.buffer if str(file) == "-" else open_file(file, RECORDING) as recorded:
            summary = listen_work.decode_command(recorded, print_one)
    else:
        assert port is not None
        summary = listen_work.listen_command(port, baud, tap=tap, show=print_one)
    show({"summary": summary.as_json()} if as_json else summary.sentence())
