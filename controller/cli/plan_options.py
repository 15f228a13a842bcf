"""The options of `fullturn plan`, and the request that they make."""

from typing import TYPE_CHECKING, Any

import click

from controller.cli.later import later
from controller.cli.numbers import bounded, bounded_whole
from controller.cli.option_types import DateAndTime, OneOf
from controller.cli.shared_options import with_options

with later():
    from controller.commands import plan as plan_work
    from controller.planning import order as orders
    from controller.planning import request as requests

if TYPE_CHECKING:
    from controller.commands.plan import PlanExtras
    from controller.planning.request import SunWatch


PITCH = bounded("pitch_deg")
YAW = bounded("yaw_deg")

OPTIONS = (
    click.option("--overlap", type=bounded("overlap"), default=0.30, show_default=True,
                 help="Share of the picture that neighbours have in common."),
    click.option("--region", type=OneOf(["sphere", "band", "window", "single-row"]), default="sphere",
                 show_default=True, help="Part of the sphere to cover."),
    click.option("--pitch-from", type=PITCH, help="Lower bound of a band or window, degrees."),
    click.option("--pitch-to", type=PITCH, help="Upper bound of a band or window, degrees."),
    click.option("--yaw-from", type=YAW, help="Left bound of a window, degrees."),
    click.option("--yaw-to", type=YAW, help="Right bound of a window, degrees; a window may cross zero."),
    click.option("--row-pitch", type=PITCH, default=0.0, show_default=True, help="Pitch of a single row, degrees."),
    click.option("--floor", type=PITCH, help="Leave out everything below this pitch, degrees."),
    click.option("--allow-unreachable", is_flag=True, help="Plan the rest if the head cannot reach everything."),
    click.option("--nadir-by-hand", is_flag=True, help="Shoot one frame straight down by hand; the run asks for it."),
    click.option("--arrangement", type=OneOf(["rows", "fewest"]), default="rows", show_default=True,
                 help="Complete rows, or free poses with as few frames as can be found."),
    click.option("--effort", type=bounded("effort"), default=10.0, show_default=True,
                 help="Seconds to search for fewer frames; Ctrl-C keeps the best so far."),
    click.option("--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of that search."),
    click.option("--order", type=OneOf(["quickest", "rows", "columns"]), default="quickest",
                 show_default=True, help="quickest: the shortest run; rows, columns: neighbours soon after each other."),
    click.option("--passes", type=bounded_whole("passes"), default=1, show_default=True,
                 help="How often to shoot the set, pass after pass, so that people and cars can be left out."),
    click.option("--passes-within", type=bounded("passes_within"),
                 help="After the first pass, shoot only frames whose pitch is within this of the horizon, degrees."),
    click.option("--mounted", type=OneOf(["portrait", "landscape", "best"]),
                 help="How the camera is mounted; default: as in the kit. best compares both."),
    click.option("--resolution", type=bounded("resolution"), help="Lowest resolution to accept, pixels per degree."),
    click.option("--print-width-cm", type=bounded("print_width_cm"), help="Require enough for a print this wide, cm."),
    click.option("--dpi", type=bounded("dpi"), default=300.0, show_default=True, help="Dots per inch of that print."),
    click.option("--max-frames", type=bounded_whole("max_frames"), help="Refuse a plan with more frames than this."),
    click.option("--max-seconds", type=bounded("max_seconds"), help="Refuse a plan that takes longer, seconds."),
    click.option("--latitude", type=bounded("latitude"), help="Latitude of the head, degrees north."),
    click.option("--longitude", type=bounded("longitude"), help="Longitude of the head, degrees east."),
    click.option("--start", type=DateAndTime(), metavar="TIME",
                 help="Start of the run, for example 2026-06-21T05:30:00+02:00."),
    click.option("--north-yaw", type=YAW, default=0.0, show_default=True, help="Yaw that points north, degrees."),
    click.option("--sun", type=OneOf(["any", "first", "last"]), default="any", show_default=True,
                 help="When to shoot the frames that see the sun."),
)  # fmt: skip


plan_options = with_options(OPTIONS)
"""Adds all options above to a command, in their order."""


def asked_for(options: dict[str, Any]) -> "PlanExtras":
    """The request of the options. Raises click.UsageError for options that exclude each other."""
    request = requests.Request(
        region=requests.RegionKind(options["region"]),
        pitch_from_deg=options["pitch_from"],
        pitch_to_deg=options["pitch_to"],
        yaw_from_deg=options["yaw_from"],
        yaw_to_deg=options["yaw_to"],
        row_pitch_deg=options["row_pitch"],
        floor_deg=options["floor"],
        arrangement=requests.Arrangement(options["arrangement"]),
        order=orders.Order(options["order"]),
        effort_s=options["effort"],
        seed=options["seed"],
        allow_unreachable=options["allow_unreachable"],
        nadir_by_hand=options["nadir_by_hand"],
        max_frames=options["max_frames"],
        max_seconds=options["max_seconds"],
        sun=_sun_watch(options),
        passes=options["passes"],
        passes_within_deg=options["passes_within"],
    )
    return plan_work.PlanExtras(
        overlap=options["overlap"],
        request=request,
        mounted=options["mounted"],
        resolution=options["resolution"],
        print_width_cm=options["print_width_cm"],
        dpi=options["dpi"],
    )


def _sun_watch(options: dict[str, Any]) -> "SunWatch | None":
    start = options["start"]
    if start is None:
        return None
    return requests.SunWatch(options["latitude"], options["longitude"], start, options["north_yaw"], options["sun"])
