"""`fullturn align`: its options, and how the result is printed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.shared_options import FILE, FOLDER, OUTPUT, json_option, show

with later():
    from controller import progress as bars
    from controller.commands import align as align_work
    from controller.inspection import spot_words
    from controller.report import plan_words

if TYPE_CHECKING:
    from controller.commands.align import AlignedSpot


@click.command(cls=Command, short_help="Return to the spot of an earlier SESSION, and shoot its set again.")
@click.argument("session", type=FILE)
@click.argument("folder", type=FOLDER)
@click.argument("photograph", type=FILE)
@click.option(
    "--yaw",
    "yaw_deg",
    type=bounded("yaw_deg"),
    default=0.0,
    show_default=True,
    help="Yaw of today's head when it shot the PHOTOGRAPH, in degrees.",
)
@click.option(
    "--pitch",
    "pitch_deg",
    type=bounded("pitch_deg"),
    default=0.0,
    show_default=True,
    help="Pitch of today's head when it shot the PHOTOGRAPH, in degrees.",
)
@click.option("--yaw-only", is_flag=True, help="Leave the lean as in the kit: the camera was taken off the head.")
@click.option("--nearest-mm", type=bounded("nearest_mm"), help="The distance of the nearest things from the camera.")
@click.option("--out", type=OUTPUT, help="The plan to write, for the head as it is put up today.")
@click.option("--plan", "plan_path", type=FILE, help="The plan to align, instead of the session's own.")
@click.option("--replace", is_flag=True, help="Replace the plan at --out; no other file is ever replaced.")
@json_option
def align(
    session: Path,
    folder: Path,
    photograph: Path,
    yaw_deg: float,
    pitch_deg: float,
    yaw_only: bool,
    nearest_mm: float | None,
    out: Path | None,
    plan_path: Path | None,
    replace: bool,
    as_json: bool,
) -> None:
    """Find how today's PHOTOGRAPH lies in the pictures in FOLDER, which the SESSION shot from the same spot.

    It says by how much the head's zero, its lean and the place of the camera differ from then. With --out, the difference
    goes into a plan, whose frames lie on the earlier ones. Needs the extra `pictures`.
    """
    today = align_work.TodaysPhotograph(photograph, yaw_deg, pitch_deg, yaw_only)
    new = None if out is None else align_work.NewPlan(out, plan_path, replace)
    with (
        bars.progress("Comparing, pictures") as begin,
        bars.progress("Searching, pictures") as begin_search,
    ):
        made = align_work.align_command(session, folder, today, new, begin, begin_search)
    if as_json:
        values = spot_words.spot_values(made.found, made.difference, made.base, made.way, nearest_mm)
        left = None if made.left is None else {"middle_px": made.left.middle_px, "corner_px": made.left.corner_px}
        overlap = None if made.plan is None else made.plan.overlap
        show({**values, "out": out and str(out), "overlap": overlap, "leftover": left})
    else:
        show("\n".join(align_lines(made, out, nearest_mm)))


def align_lines(made: "AlignedSpot", out: Path | None, nearest_mm: float | None) -> list[str]:
    """The result in sentences."""
    lines = [
        spot_words.placed_sentence(made.found),
        *spot_words.head_lines(made.difference),
        spot_words.place_line(made.way, nearest_mm),
    ]
    if made.plan is None or made.left is None:
        return lines
    head = made.plan.kit.head
    lines += [spot_words.leftover_line(made.left), plan_words.proof_sentence(made.plan)]
    if head.lean_deg:
        lines.append(
            f"For `fullturn capture --kit`, today's kit needs lean_deg = {head.lean_deg!r} and "
            f"lean_toward_deg = {head.lean_toward_deg!r} under [head]."
        )
    return [*lines, f"The plan is in {out}"]
