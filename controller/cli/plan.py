"""`fullturn plan`: its options, and how the result is printed."""

from pathlib import Path
from typing import Any

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.plan_options import asked_for, plan_options
from controller.cli.shared_options import FILE, OUTPUT, json_option, show

with later():
    from controller import own_names
    from controller.cli import searching as search
    from controller.commands import plan as plan_work
    from controller.kit import exposing
    from controller.report import plan_words


@click.command(cls=Command, short_help="Plan the fewest frames for a KIT, and prove that none is missing.")
@click.argument("kit", type=FILE)
@click.option("--out", type=OUTPUT, help="The plan to write. Default: KIT-plan.json here, or KIT-plan-2.json and so on.")
@click.option("--replace", is_flag=True, help="Replace the plan at --out; no other file is ever replaced.")
@plan_options
@json_option
def plan(kit: Path, out: Path | None, replace: bool, as_json: bool, **options: Any) -> None:
    """Plan the fewest frames for the camera of the KIT file, and prove that nothing is missing."""
    asked = asked_for(options)
    out = out or own_names.free_path(Path(), f"{kit.stem}-plan", own_names.PLAN)
    if asked.request.arrangement == "fewest":
        with search.searching(asked.request.effort_s) as effort:
            made = plan_work.plan_command(kit, out, asked, effort, replace=replace)
        if effort.cut_short:
            click.echo(search.stopped_text(effort, len(made.plan.first_pass)), err=True)
    else:
        made = plan_work.plan_command(kit, out, asked, replace=replace)
    compared = {way: {"frames": frames, "seconds": seconds} for way, (frames, seconds) in made.compared.items()}
    more = {"out": str(out), "compared": compared, "notes": exposing.kit_sentences(made.plan.kit)}
    shown = made.plan.model_dump(mode="json", exclude={"kit", "frames"}) | more
    show(shown if as_json else plan_words.plan_text(made.plan, made.compared, made.calibration, out))
