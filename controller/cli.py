"""The `fullturn` command. Options are read here; the work is imported only when its command runs."""

import math
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from controller import __version__
from controller.errors import InputError, WorldError


class Share(click.FloatRange):
    """A number in a range; unlike its parent it does not let nan through."""

    name = "share"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Convert and check. Fails like any click type."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences.")


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="fullturn", message="%(prog)s %(version)s")
def cli() -> None:
    """Plan, rehearse and run large stitched panoramas on a motorised pan/tilt head.

    Nothing in this program is an emergency stop: motor power must have a switch of its own.
    """


@cli.command()
@click.argument("kit", type=FILE)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), required=True, help="The plan to write.")
@click.option(
    "--overlap",
    type=Share(0, 0.9),
    default=0.30,
    show_default=True,
    help="Share of the picture that neighbours have in common.",
)
@as_json
def plan(kit: Path, out: Path, overlap: float, as_json: bool) -> None:
    """Plan the full sphere for the KIT file with the fewest frames, and prove that it is covered."""
    from controller.commands.plan import plan_command, plan_text  # noqa: PLC0415

    made = plan_command(kit, out, overlap)
    shown = {"out": str(out), "proof": made.proof.model_dump(), "budget": made.budget.model_dump()}
    _print(shown if as_json else plan_text(made, out))


@cli.command()
@click.argument("plan", type=FILE)
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), required=True, help="Folder for the results."
)
@click.option(
    "--seed", type=click.IntRange(0), default=0, show_default=True, help="Chance in the simulated world."
)
@as_json
def rehearse(plan: Path, out: Path, seed: int, as_json: bool) -> None:
    """Run the PLAN on a simulated rig, in virtual time, and report on it."""
    from controller.commands.rehearse import rehearsal_text, rehearse_command  # noqa: PLC0415
    from controller.progress import progress  # noqa: PLC0415

    with progress("Rehearsing, exposures") as begin:
        summary = rehearse_command(plan, out, seed, begin)
    _print(summary.model_dump(mode="json") if as_json else rehearsal_text(summary, out))
    if not summary.complete:
        raise SystemExit(1)


def _print(shown: str | dict[str, Any]) -> None:
    import json  # noqa: PLC0415

    click.echo(shown if isinstance(shown, str) else json.dumps(shown))


def main(command: Callable[..., Any] = cli) -> None:
    """Run the command line; turn what went wrong into sentences and an exit status (1 the world, 2 wrong use)."""
    try:
        command()
    except InputError as error:
        for sentence in error.sentences:
            click.echo(sentence, err=True)
        sys.exit(2)
    except WorldError as error:
        click.echo(str(error), err=True)
        sys.exit(1)
