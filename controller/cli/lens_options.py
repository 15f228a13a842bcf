"""Options of `fullturn calibrate` for lenses and photographs."""

from typing import TYPE_CHECKING, Any

import click

from controller.cli.later import later
from controller.cli.numbers import bounded
from controller.cli.option_types import Text
from controller.cli.shared_options import ANYTHING, FILE, with_options

with later():
    from controller.calibration import known_lens, lens_terms, records
    from controller.commands import calibrate_pictures

if TYPE_CHECKING:
    from controller.calibration.finding import Finding
    from controller.calibration.known_lens import LensGiven
    from controller.commands.calibrate import Keeping

LENS_OPTIONS = (
    click.option(
        "--focal-length-mm",
        type=bounded("focal_length_mm"),
        help="Focal length; default: the kit's, or the photograph's.",
    ),
    click.option("--pixel-um", type=bounded("pixel_um"), help="Pixel pitch of the camera; default: the kit's."),
)
UNSURE_LENS_OPTIONS = (
    *LENS_OPTIONS,
    click.option(
        "--u-focal-length-mm",
        type=bounded("u_focal_length_mm"),
        help="Standard uncertainty of the focal length; default: 1 %.",
    ),
)
STEPS_OPTIONS = (
    click.option("--ring", type=ANYTHING, multiple=True, metavar="FOLDER|FILE",
                 help="Photographs of a full turn, in order, with --commanded-steps; for an unknown lens."),
    click.option("--pair", type=FILE, nargs=2, metavar="FIRST SECOND",
                 help="Two photographs with a known lens, with --commanded-steps, instead of readings."),
    click.option("--commanded-steps", type=Text(4000), metavar="STEPS|FILE.csv",
                 help="Steps between neighbours, or the position of each: a,b,c or a file's column of that name."),
    click.option("--u-pose-deg", type=bounded("u_pose_deg"), default=0.01, show_default=True,
                 help="With --pair: standard uncertainty of the head's poses."),
    click.option("--u-pupil-mm", type=bounded("u_pupil_mm"), default=10.0, show_default=True,
                 help="With photographs: standard uncertainty of the lens's distance from its no-parallax point."),
    click.option("--nearest-mm", type=bounded("nearest_mm"), default=10_000.0, show_default=True,
                 help="With photographs: distance of the nearest object in them."),
)  # fmt: skip


lens_options = with_options(LENS_OPTIONS)
"""Adds focal_length_mm and pixel_um to a command."""


unsure_lens_options = with_options(UNSURE_LENS_OPTIONS)
"""Adds u_focal_length_mm as well."""


steps_picture_options = with_options((*UNSURE_LENS_OPTIONS, *STEPS_OPTIONS))
"""Adds the options with which `calibrate steps` uses photographs."""


def lens_given(options: dict[str, Any]) -> "LensGiven":
    """The values of `lens_options` or `unsure_lens_options`."""
    return known_lens.LensGiven(options["focal_length_mm"], options.get("u_focal_length_mm"), options["pixel_um"])


def steps_by_photographs(axis: str, options: dict[str, Any], keeping: "Keeping") -> "Finding | None":
    """The finding from photographs, None if there are none. Raises click.UsageError and the errors of the commands."""
    ring, pair, steps = options["ring"], options["pair"], options["commanded_steps"]
    if not ring and not pair:
        return None
    given, standing = lens_given(options), lens_terms.PupilPlace(options["u_pupil_mm"], options["nearest_mm"])
    if ring:
        return calibrate_pictures.ring_command(ring, steps, given, standing, keeping)
    return calibrate_pictures.pair_command(
        pair, steps, records.AxisName(axis), given, keeping, standing=standing, u_pose_deg=options["u_pose_deg"]
    )
