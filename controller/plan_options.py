"""The options of `fullturn plan`, and what they ask for."""

import math
from typing import TYPE_CHECKING, Any

import click

from controller.shared_options import with_options

if TYPE_CHECKING:
    from controller.commands.plan import Asked
    from controller.planning.request import SunWatch


class Number(click.FloatRange):
    """A number in a range; unlike its parent it does not let nan through."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Convert and check. Fails like any click type."""
        number = float(super().convert(value, param, ctx))
        if math.isnan(number):
            self.fail(f"{value!r} is not a number.", param, ctx)
        return number


PITCH = Number(-90, 90)
YAW = Number(-360, 360)

OPTIONS = (
    click.option("--overlap", type=Number(0, 0.9), default=0.30, show_default=True,
                 help="Share of the picture that neighbours have in common."),
    click.option("--region", type=click.Choice(["sphere", "band", "window", "single-row"]), default="sphere",
                 show_default=True, help="What part of the sphere."),
    click.option("--pitch-from", type=PITCH, help="Lower bound of a band or window, degrees."),
    click.option("--pitch-to", type=PITCH, help="Upper bound of a band or window, degrees."),
    click.option("--yaw-from", type=YAW, help="Left bound of a window, degrees."),
    click.option("--yaw-to", type=YAW, help="Right bound of a window, degrees; may lie across the zero."),
    click.option("--row-pitch", type=PITCH, default=0.0, show_default=True, help="Pitch of a single row, degrees."),
    click.option("--floor", type=PITCH, help="Nothing below this pitch is asked for, degrees."),
    click.option("--allow-unreachable", is_flag=True, help="Plan the rest where the head cannot reach all."),
    click.option("--nadir-by-hand", is_flag=True, help="One frame straight down, held by hand: the run asks for it."),
    click.option("--arrangement", type=click.Choice(["rows", "fewest"]), default="rows", show_default=True,
                 help="Complete rows, or any poses, as few as can be found."),
    click.option("--effort", type=Number(0, 100_000), default=10.0, show_default=True,
                 help="Seconds to search for fewer frames; Ctrl-C keeps the best so far."),
    click.option("--seed", type=click.IntRange(0), default=0, show_default=True, help="Chance in that search."),
    click.option("--order", type=click.Choice(["quickest", "rows", "columns"]), default="quickest",
                 show_default=True, help="Shortest run, or neighbours soon after one another."),
    click.option("--mounted", type=click.Choice(["portrait", "landscape", "best"]),
                 help="How the camera stands, in place of the kit's word; best compares both."),
    click.option("--resolution", type=Number(0, min_open=True), help="Pixels per degree that must be reached."),
    click.option("--print-width-cm", type=Number(0, min_open=True), help="The resolution for a print this wide."),
    click.option("--dpi", type=Number(0, min_open=True), default=300.0, show_default=True, help="Of that print."),
    click.option("--max-frames", type=click.IntRange(1), help="Refuse a plan with more frames."),
    click.option("--max-seconds", type=Number(0, min_open=True), help="Refuse a plan that takes longer."),
    click.option("--latitude", type=Number(-90, 90), help="Where the head stands: degrees north."),
    click.option("--longitude", type=Number(-180, 180), help="Degrees east."),
    click.option("--start", help="When the run begins: 2026-06-21T05:30:00+02:00."),
    click.option("--north-yaw", type=YAW, default=0.0, show_default=True, help="The yaw that looks north."),
    click.option("--sun", type=click.Choice(["any", "first", "last"]), default="any", show_default=True,
                 help="When to shoot the frames that see the sun."),
)  # fmt: skip


plan_options = with_options(OPTIONS)
"""Gives a command all options above, in their order."""


def asked_for(options: dict[str, Any]) -> "Asked":
    """What the options ask for. Raises click.UsageError for options that do not go together."""
    from controller.commands.plan import Asked  # noqa: PLC0415
    from controller.planning.order import Order  # noqa: PLC0415
    from controller.planning.request import Arrangement, RegionKind, Request  # noqa: PLC0415

    request = Request(
        region=RegionKind(options["region"]),
        pitch_from_deg=options["pitch_from"],
        pitch_to_deg=options["pitch_to"],
        yaw_from_deg=options["yaw_from"],
        yaw_to_deg=options["yaw_to"],
        row_pitch_deg=options["row_pitch"],
        floor_deg=options["floor"],
        arrangement=Arrangement(options["arrangement"]),
        order=Order(options["order"]),
        effort_s=options["effort"],
        seed=options["seed"],
        allow_unreachable=options["allow_unreachable"],
        nadir_by_hand=options["nadir_by_hand"],
        max_frames=options["max_frames"],
        max_seconds=options["max_seconds"],
        sun=_sun_watch(options),
    )
    return Asked(
        overlap=options["overlap"],
        request=request,
        mounted=options["mounted"],
        resolution=options["resolution"],
        print_width_cm=options["print_width_cm"],
        dpi=options["dpi"],
    )


def _sun_watch(options: dict[str, Any]) -> "SunWatch | None":
    from datetime import datetime  # noqa: PLC0415

    from controller.planning.request import SunWatch  # noqa: PLC0415

    given = [options[name] is not None for name in ("latitude", "longitude", "start")]
    if not any(given):
        if options["sun"] != "any":
            raise click.UsageError("--sun needs --latitude, --longitude and --start.")
        return None
    if not all(given):
        raise click.UsageError("--latitude, --longitude and --start belong together.")
    try:
        start = datetime.fromisoformat(options["start"])
    except ValueError:
        raise click.UsageError(
            f"--start {options['start']} is not a date and time like 2026-06-21T05:30+02:00."
        ) from None
    if start.tzinfo is None:
        raise click.UsageError(f"--start {options['start']} needs its offset from UTC, like +02:00 or Z.")
    return SunWatch(options["latitude"], options["longitude"], start, options["north_yaw"], options["sun"])
