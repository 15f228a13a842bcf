"""`fullturn inspect`: its options, and how the result is printed."""

from pathlib import Path

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.option_types import CheckedText
from controller.cli.shared_options import FILE, FOLDER, OUTPUT_FOLDER, json_option, offer_removal, show, unfinished_option

with later():
    from controller import progress as bars
    from controller.commands import calibrate as calibrate_work
    from controller.commands import inspect as inspect_work
    from controller.commands import match as match_work
    from controller.inspection import inspection_words
    from controller.inspection import limits as limit_table


def _show_limits(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        show("\n".join(limit_table.limit_lines()))
        context.exit()


@click.command(cls=Command, short_help="Check that the pictures of a SESSION will stitch.")
@click.argument("session", type=FILE)
@click.argument("folder", type=FOLDER)
@click.option("--out", type=OUTPUT_FOLDER, help="A new folder for the proof sheet and the tables.")
@click.option("--xmp", is_flag=True, help="Write an XMP sidecar for each file of the set.")
@click.option(
    "--limit",
    "settings",
    type=CheckedText(lambda setting: limit_table.limits_from([setting])),
    metavar="NAME=VALUE",
    multiple=True,
    help="Change a limit of the verdicts. May be repeated.",
)
@click.option(
    "--limits",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_limits,
    help="List the limits with their defaults and reasons, and stop.",
)
@click.option("--nearest-mm", type=bounded("nearest_mm"), help="The distance of the nearest things from the axis.")
@click.option("--axis-height-mm", type=bounded("axis_height_mm"), help="The height of the tilt axis above level ground.")
@click.option("--calibrate", "kit", type=FILE, help="Store what the set measured as calibration records of this kit.")
@unfinished_option
@json_option
def inspect(
    session: Path,
    folder: Path,
    out: Path | None,
    xmp: bool,
    settings: tuple[str, ...],
    nearest_mm: float | None,
    axis_height_mm: float | None,
    kit: Path | None,
    yes: bool,
    as_json: bool,
) -> None:
    """Look at all pictures in FOLDER together: does every frame of the SESSION agree with its neighbours?

    Points that neighbours share give the pose of every frame, the lens and the head, each with its uncertainty. Nothing
    is blended, and the files are never changed. Needs the extra `pictures`. Exit status 1: a frame is to be shot again.
    """
    asked = inspect_work.Asked(limit_table.limits_from(settings), nearest_mm, axis_height_mm)
    keeping = calibrate_work.Keeping(kit)
    keeping.must_have_place()
    if out is not None:
        offer_removal(out, yes=yes)
        match_work.must_be_free_for(out, folder)
    with bars.progress("Inspecting, percent") as begin:
        found, inspected = inspect_work.inspect_command(session, folder, asked, begin)
    if out is not None:
        with bars.progress("Drawing the proof sheet, frames") as begin:
            inspect_work.write_inspection(found, inspected, folder, out, begin, xmp=xmp)
    kept = None if kit is None else inspect_work.offer_records(inspected, keeping)
    if as_json:
        records = [] if kept is None else [each.as_json() for each in kept[0].kept]
        show(
            {
                "out": out and str(out),
                "other_run": found.other_run,
                **inspect_work.inspection_values(inspected),
                "records": records,
            }
        )
    else:
        lines = [
            *([] if found.other_run is None else [found.other_run]),
            *inspection_words.inspection_sentences(inspected),
            *place_lines(out),
        ]
        if kept is not None:
            lines += [*(each.text() for each in kept[0].kept), *(f"Not stored. {reason}" for reason in kept[1])]
        if inspected.retake:
            lines.append(f"To reshoot: `fullturn tell {session} retake {','.join(map(str, inspected.retake))}`")
        show("\n".join(lines))
    if inspected.retake:
        raise SystemExit(1)


def place_lines(out: Path | None) -> list[str]:
    """Where the results were written."""
    if out is None:
        return []
    return [f"The proof sheet is in {out / 'proof.html'}, the table of poses in {out / 'poses.csv'}."]
