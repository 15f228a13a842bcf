"""The options of `fullturn plan`, and what they ask for."""

from typing import TYPE_CHECKING, Any

import click

from controller.quantity import Number, Share, Whole
from controller.shared_options import with_options

if TYPE_CHECKING:
    from controller.commands.plan import Asked
    from controller.planning.request import SunWatch


PITCH = Number(-90, 90, unit="deg")
YAW = Number(-360, 360, unit="deg")

OPTIONS = (
    click.option("--overlap", type=Share(0, 0.9), default=0.30, show_default=True,
                 help="Share of the picture that neighbours have in common."),
    click.option("--region", type=click.Choice(["sphere", "band", "window", "single-row"]), default="sphere",
                 show_default=True, help="Part of the sphere to cover."),
    click.option("--pitch-from", type=PITCH, help="Lower bound of a band or window, degrees."),
    click.option("--pitch-to", type=PITCH, help="Upper bound of a band or window, degrees."),
    click.option("--yaw-from", type=YAW, help="Left bound of a window, degrees."),
    click.option("--yaw-to", type=YAW, help="Right bound of a window, degrees; may lie across the zero."),
    click.option("--row-pitch", type=PITCH, default=0.0, show_default=True, help="Pitch of a single row, degrees."),
    click.option("--floor", type=PITCH, help="Leave out everything below this pitch, degrees."),
    click.option("--allow-unreachable", is_flag=True, help="Plan the rest if the head cannot reach everything."),
    click.option("--nadir-by-hand", is_flag=True, help="One frame straight down, hand-held; the run asks for it."),
    click.option("--arrangement", type=click.Choice(["rows", "fewest"]), default="rows", show_default=True,
                 help="Complete rows, or free poses with as few frames as can be found."),
    click.option("--effort", type=Number(0, 100_000, unit="s"), default=10.0, show_default=True,
                 help="Seconds to search for fewer frames; Ctrl-C keeps the best so far."),
    click.option("--seed", type=Whole(0), default=0, show_default=True, help="Chance in that search."),
    click.option("--order", type=click.Choice(["quickest", "rows", "columns"]), default="quickest",
                 show_default=True, help="quickest: the shortest run; rows, columns: neighbours soon after each other."),
    click.option("--mounted", type=click.Choice(["portrait", "landscape", "best"]),
                 help="How the camera is mounted; default: as in the kit. best compares both."),
    click.option("--resolution", type=Number(0, min_open=True), help="Lowest resolution to accept, pixels per degree."),
    click.option("--print-width-cm", type=Number(0, min_open=True), help="Require enough for a print this wide, cm."),
    click.option("--dpi", type=Number(0, min_open=True), default=300.0, show_default=True, help="Dots per inch of it."),
    click.option("--max-frames", type=Whole(1), help="Refuse a plan with more frames than this."),
    click.option("--max-seconds", type=Number(0, min_open=True), help="Refuse a plan that takes longer, seconds."),
    click.option("--latitude", type=Number(-90, 90, unit="deg"), help="Latitude of the head, degrees north."),
    click.option("--longitude", type=Number(-180, 180, unit="deg"), help="Longitude of the head, degrees east."),
    click.option("--start", help="When the run starts, for example 2026-06-21T05:30:00+02:00."),
    click.option("--north-yaw", type=YAW, default=0.0, show_default=True, help="Yaw that points north, degrees."),
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

    if options["start"] is None:
        return None
    try:
        start = datetime.fromisoformat(options["start"])
    except ValueError:
        raise click.UsageError(
            f"--start {options['start']} is not a date and time like 2026-06-21T05:30+02:00."
        ) from None
    if start.tzinfo is None:
        raise click.UsageError(f"--start {options['start']} needs its offset from UTC, like +02:00 or Z.")
    return SunWatch(options["latitude"], options["longitude"], start, options["north_yaw"], options["sun"])
