"""`fullturn rehearse`: its options, and how the result is printed."""

from pathlib import Path
from typing import Any

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded_whole
from controller.cli.option_types import Text
from controller.cli.picture_options import darkroom_for, picture_options
from controller.cli.shared_options import FILE, OUTPUT_FOLDER, json_option, offer_removal, show, unfinished_option

with later():
    from controller import amounts, own_names
    from controller import progress as bars
    from controller.commands import faults as faults_work
    from controller.commands import rehearse as rehearse_work


def _list_faults(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        click.echo(faults_work.scenarios_text())
        context.exit()


@click.command(cls=Command, short_help="Run a PLAN on a simulated rig, and report on it.")
@click.argument("plan", type=FILE)
@click.option(
    "--out",
    type=OUTPUT_FOLDER,
    help="New folder for the results. Default: PLAN-rehearsal here, with a number if need be.",
)
@click.option("--replace", is_flag=True, help="Replace an earlier rehearsal in that folder, never a capture.")
@unfinished_option
@click.option(
    "--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of chance in the simulation."
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
    plan: Path, out: Path | None, replace: bool, yes: bool, seed: int, faults: str | None, as_json: bool, **options: Any
) -> None:
    """Run the PLAN on a simulated rig, in virtual time, and report on it."""
    out = out or own_names.free_path(Path(), f"{plan.stem}-rehearsal")
    offer_removal(out, yes=yes)
    darkroom = darkroom_for(options)
    if darkroom is not None:
        offer_removal(darkroom.folder, yes=yes)
    with bars.progress("Rehearsing, exposures") as begin:
        rehearsed = rehearse_work.rehearse_command(plan, out, seed, begin, darkroom, faults, replace=replace)
    summary = rehearsed.summary
    shown, text = summary.model_dump(mode="json"), rehearse_work.rehearsal_text(rehearsed, out)
    if faults is not None:
        shown["tale"] = [{"at_s": line.at_ns / 1e9, "who": line.who, "what": line.what} for line in rehearsed.tale]
    if darkroom is not None:
        with bars.progress("Rendering, pictures") as begin:
            count = darkroom.make(seed, begin)
        shown["pictures"] = {"folder": str(darkroom.folder), "count": count}
        text += f"\n{amounts.counted(count, 'picture')} of what the camera saw: {darkroom.folder}"
    show(shown if as_json else text)
    if summary.exit_status:
        raise SystemExit(summary.exit_status)
