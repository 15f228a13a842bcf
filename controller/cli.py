"""The `fullturn` command. Options are read here; the work is imported only when its command runs."""

import sys
from collections.abc import Callable
from io import TextIOWrapper
from pathlib import Path
from typing import Any

import click

from controller import __version__
from controller.board_commands import board
from controller.calibrate_commands import calibrate
from controller.calibrate_picture_commands import centre, parallax, rail, settle
from controller.capture_commands import capture, jog, report, resume, tell
from controller.command import Group
from controller.completion import completion
from controller.errors import InputError, WorldError
from controller.kit_commands import kit
from controller.match_commands import match
from controller.option_types import Text
from controller.picture_options import darkroom_for, picture_options
from controller.plan_options import asked_for, plan_options
from controller.ports.address import Address, Host
from controller.quantity import bounded, bounded_whole
from controller.shared_options import (
    FILE,
    OUTPUT,
    OUTPUT_FOLDER,
    json_option,
    offer_removal,
    say,
    show,
    unfinished_option,
)


@click.group(cls=Group, context_settings={"max_content_width": 100})
@click.version_option(__version__, prog_name="fullturn", message="%(prog)s %(version)s")
def cli() -> None:
    """Plan, rehearse and run large stitched panoramas on a motorised pan/tilt head.

    Nothing in this program is an emergency stop: motor power must have a switch of its own.
    """


@cli.command(short_help="Plan the fewest frames for a KIT, and prove that none is missing.")
@click.argument("kit", type=FILE)
@click.option("--out", type=OUTPUT, required=True, help="The plan to write.")
@click.option("--replace", is_flag=True, help="Replace the plan at --out; no other file is ever replaced.")
@plan_options
@json_option
def plan(kit: Path, out: Path, replace: bool, as_json: bool, **options: Any) -> None:
    """Plan what the KIT file's camera must shoot, with the fewest frames, and prove that nothing is missing."""
    from controller.commands.plan import plan_command, plan_text  # noqa: PLC0415
    from controller.kit.exposing import kit_sentences  # noqa: PLC0415

    asked = asked_for(options)
    if asked.request.arrangement == "fewest":
        from controller.searching import searching, stopped_text  # noqa: PLC0415

        with searching(asked.request.effort_s) as effort:
            made = plan_command(kit, out, asked, effort, replace=replace)
        if effort.cut_short:
            click.echo(stopped_text(effort, made.plan.budget.frames), err=True)
    else:
        made = plan_command(kit, out, asked, replace=replace)
    compared = {way: {"frames": frames, "seconds": seconds} for way, (frames, seconds) in made.compared.items()}
    more = {"out": str(out), "compared": compared, "notes": kit_sentences(made.plan.kit)}
    shown = made.plan.model_dump(mode="json", exclude={"kit", "frames"}) | more
    show(shown if as_json else plan_text(made, out))


def _list_faults(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        from controller.commands.faults import scenarios_text  # noqa: PLC0415

        click.echo(scenarios_text())
        context.exit()


@cli.command(short_help="Run a PLAN on a simulated rig, and report on it.")
@click.argument("plan", type=FILE)
@click.option("--out", type=OUTPUT_FOLDER, required=True, help="New folder for the results.")
@click.option("--replace", is_flag=True, help="Replace an earlier rehearsal in that folder, never a capture.")
@unfinished_option
@click.option(
    "--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of chance in the simulated world."
)
@click.option("--faults", type=Text(4000), metavar="NAME|FILE", help="Inject the faults of this scenario.")
@click.option(
    "--list-faults",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_list_faults,
    help="List the scenarios that come with the program.",
)
@picture_options
@json_option
def rehearse(
    plan: Path, out: Path, replace: bool, yes: bool, seed: int, faults: str | None, as_json: bool, **options: Any
) -> None:
    """Run the PLAN on a simulated rig, in virtual time, and report on it."""
    from controller.commands.rehearse import rehearsal_text, rehearse_command  # noqa: PLC0415
    from controller.progress import progress  # noqa: PLC0415
    from controller.report.wording import counted  # noqa: PLC0415

    offer_removal(out, yes=yes)
    darkroom = darkroom_for(options)
    if darkroom is not None:
        offer_removal(darkroom.folder, yes=yes)
    with progress("Rehearsing, exposures") as begin:
        rehearsed = rehearse_command(plan, out, seed, begin, darkroom, faults, replace=replace)
    summary = rehearsed.summary
    shown, text = summary.model_dump(mode="json"), rehearsal_text(rehearsed, out)
    if faults is not None:
        shown["tale"] = [{"at_s": line.at_ns / 1e9, "who": line.who, "what": line.what} for line in rehearsed.tale]
    if darkroom is not None:
        with progress("Rendering, pictures") as begin:
            count = darkroom.make(seed, begin)
        shown["pictures"] = {"folder": str(darkroom.folder), "count": count}
        text += f"\n{counted(count, 'picture')} of what the camera saw: {darkroom.folder}"
    show(shown if as_json else text)
    if summary.exit_status:
        raise SystemExit(summary.exit_status)


@cli.command(short_help="Serve a simulated rig at a port, in real time.")
@click.option("--kit", type=FILE, required=True, help="The kit whose rig is simulated.")
@click.option("--port-name", type=OUTPUT, help="A second name for the path of the pseudo-terminal.")
@click.option("--tcp", type=Address(), metavar="HOST:PORT", help="Serve over TCP instead; open it as socket://HOST:PORT.")
@click.option("--truth", type=OUTPUT, help="Write every true exposure to this file.")
@click.option(
    "--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of chance in the simulated world."
)
@click.option(
    "--speed",
    type=bounded("speed"),
    default=1.0,
    show_default=True,
    help="Simulated seconds per real second; above 1 the kit needs a patient board (silence_ms).",
)
@click.option(
    "--faults",
    type=Text(4000),
    metavar="NAME|FILE",
    help="Inject the faults of this scenario, but not those of the host.",
)
@json_option
def simulate(
    kit: Path,
    port_name: Path | None,
    tcp: Host | None,
    truth: Path | None,
    seed: int,
    speed: float,
    faults: str | None,
    as_json: bool,
) -> None:
    """Serve a simulated rig in real time at a port that any program can open, until interrupted."""
    from controller.commands.simulate import Place, Served, simulate_command, simulation_text  # noqa: PLC0415

    def tell(served: Served) -> None:
        from dataclasses import asdict  # noqa: PLC0415

        show(asdict(served) if as_json else simulation_text(served))

    exposures = simulate_command(kit, Place(port_name, tcp), truth, seed, speed, tell, faults)
    if not as_json:
        click.echo(f"Over; {exposures} exposures were truly made.")


for lens_command in (centre, parallax, rail, settle):
    calibrate.add_command(lens_command)
for command in (kit, board, calibrate, jog, capture, resume, tell, report, match, completion):
    cli.add_command(command)


def main(command: Callable[..., Any] = cli) -> None:
    """Run the command line; turn what went wrong into sentences and an exit status (1 the world, 2 wrong use)."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # a file's name may hold bytes that are no text
            stream.reconfigure(errors="backslashreplace")
    try:
        command()
    except InputError as error:
        for sentence in error.sentences:
            say(sentence, err=True)
        sys.exit(2)
    except WorldError as error:
        say(str(error), err=True)
        sys.exit(1)
