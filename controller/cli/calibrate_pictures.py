"""The commands of `fullturn calibrate` for lenses and photographs: options only."""

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.calibrate import keeping_of, keeping_options, operator, show_kept
from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.lens_options import lens_given, lens_options, unsure_lens_options
from controller.cli.numbers import bounded
from controller.cli.option_types import OneOf
from controller.cli.shared_options import FILE, json_option, show

with later():
    from controller.calibration import parallax as parallax_sums
    from controller.calibration import parallax_finding, parallax_photographs, typed_marks
    from controller.commands import calibrate as calibrate_work
    from controller.commands import calibrate_lens

if TYPE_CHECKING:
    from controller.calibration.parallax import TypedShift
    from controller.calibration.parallax_finding import Rail

FACTOR_95 = 1.96  # half-width of the 95 % interval of a normal distribution, in standard deviations
PLACE = bounded("place_px")


@click.command(cls=Command)
@unsure_lens_options
@click.option("--near-mm", type=bounded("near_mm"), help="Distance from the pan axis to the near mark.")
@click.option(
    "--far-mm",
    type=bounded("far_mm"),
    help="Distance from the pan axis to the far mark (with --pictures: to the background).",
)
@click.option(
    "--far-at-least-mm",
    type=bounded("far_at_least_mm"),
    help="Instead: the least possible distance; the uncertainty allows for more.",
)
@click.option("--u-near-mm", type=bounded("u_near_mm"), help="Standard uncertainty of the near distance; default: 0.5 %.")
@click.option("--u-far-mm", type=bounded("u_far_mm"), help="Standard uncertainty of the far distance; default: 0.5 %.")
@click.option("--angle-deg", type=bounded("angle_deg"), help="Angle right of the middle to which the marks moved.")
@click.option("--shift-px", type=PLACE, help="Distance of the near mark to the right of the far one then.")
@click.option(
    "--u-angle-deg",
    type=bounded("u_angle_deg"),
    default=0.1,
    show_default=True,
    help="Standard uncertainty of the angle.",
)
@click.option(
    "--reading-error-px",
    type=bounded("reading_error_px"),
    default=1.0,
    show_default=True,
    help="Standard uncertainty of lining the marks up by eye, and of reading their shift.",
)
@click.option(
    "--u-shift-px", type=bounded("u_shift_px"), help="Standard uncertainty of the shift alone, with its rounding."
)
@click.option(
    "--u-distortion-percent",
    type=bounded("u_distortion_percent"),
    default=2.0,
    show_default=True,
    help="Standard uncertainty of the marks' distance from the middle, because of distortion.",
)
@click.option(
    "--u-sideways-mm",
    type=bounded("u_sideways_mm"),
    default=1.0,
    show_default=True,
    help="Standard uncertainty of the lens's distance beside the pan axis; see `centre`.",
)
@click.option(
    "--pictures", type=FILE, nargs=2, metavar="FIRST SECOND", help="Two photographs, instead of angle and shift."
)
@click.option(
    "--mark", type=(PLACE, PLACE), metavar="X Y", help="Position of the near mark in the first photograph, pixels."
)
@click.option("--mark-px", type=bounded("mark_px"), help="Size of the mark there; default: a sixteenth of the picture.")
@click.option(
    "--nearest-mm",
    type=bounded("nearest_mm"),
    help="Distance of the nearest object to be photographed; default: the near mark.",
)
@click.option("--rail-mm", type=bounded("rail_mm"), help="Current reading of the rail's scale, for the table.")
@click.option("--rail-grows", type=OneOf(["forward", "back"]), default="forward", show_default=True,
              help="Which way the camera slides as the scale counts up.")  # fmt: skip
@keeping_options
def parallax(
    near_mm: float | None,
    far_mm: float | None,
    far_at_least_mm: float | None,
    u_near_mm: float | None,
    u_far_mm: float | None,
    nearest_mm: float | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Find how far to slide the camera, and which way, so that it turns about its no-parallax point.

    By eye, step by step without options: line up a near and a far mark in the middle of the picture. Turn the head to the
    left by --angle-deg (to the right: minus). Read how far right of the far mark the near one is now.

    By photographs: one with the near mark near one edge, one with it near the other. Keep the camera level, and move
    only the pan axis in between.
    """
    keeping, given = keeping_of(options), lens_given(options)
    pictures, mark, angle, shift = (options[name] for name in ("pictures", "mark", "angle_deg", "shift_px"))
    if not pictures and near_mm is None and angle is None and shift is None:
        asked = typed_marks.asked_marks(operator(), calibrate_lens.focal_px_of(given, keeping))
        near_mm, far_mm, far_at_least_mm = asked.near_mm, asked.far_mm, asked.far_at_least_mm
        angle, shift = asked.angle_deg, asked.shift_px
    assert near_mm is not None
    scene = parallax_sums.Scene(near_mm, far_mm, far_at_least_mm, u_near_mm, u_far_mm, nearest_mm)
    if pictures:
        finding = calibrate_lens.seen_parallax_command(
            pictures,
            parallax_photographs.MarkGiven(mark, options["mark_px"]),
            given,
            scene,
            keeping,
            u_sideways_mm=options["u_sideways_mm"],
            rail=_rail(options),
        )
    else:
        finding = calibrate_lens.typed_parallax_command(
            given, scene, _typed(angle, shift, options), _rail(options), keeping
        )
    show_kept(calibrate_work.keep(finding, keeping), as_json)


def _typed(angle_deg: float, shift_px: float, options: dict[str, Any]) -> "TypedShift":
    by_eye_px, u_shift_px = math.hypot(options["reading_error_px"], parallax_sums.READ_PX), options["u_shift_px"]
    return parallax_sums.TypedShift(
        angle_deg,
        shift_px,
        options["u_angle_deg"],
        by_eye_px if u_shift_px is None else u_shift_px,
        by_eye_px,
        options["u_distortion_percent"] / 100,
        options["u_sideways_mm"],
    )


def _rail(options: dict[str, Any]) -> "Rail | None":
    return (
        None
        if options["rail_mm"] is None
        else parallax_finding.Rail(options["rail_mm"], options["rail_grows"] == "forward")
    )


@click.command(cls=Command)
@lens_options
@click.option(
    "--distance-mm", type=bounded("distance_mm"), required=True, help="Distance from the lens straight down to the mark."
)
@click.option("--first-px", type=PLACE, required=True, help="Position of the mark, right of the picture's middle.")
@click.option("--second-px", type=PLACE, required=True, help="The same after the pan axis was turned by 180 degrees.")
@click.option("--u-aim-deg", type=bounded("u_aim_deg"), default=0.3, show_default=True,
              help="Standard uncertainty of the camera's aim straight down.")  # fmt: skip
@click.option("--kit", type=FILE, help="The kit whose lens it is.")
@json_option
def centre(
    distance_mm: float,
    first_px: float,
    second_px: float,
    u_aim_deg: float,
    kit: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Measure how far the lens is beside the pan axis: look straight down at a mark, before and after half a turn."""
    places = (first_px, second_px)
    finding = calibrate_lens.centre_command(
        lens_given(options), distance_mm, places, u_aim_deg, calibrate_work.Keeping(kit, dry=True)
    )
    show_kept(calibrate_work.Kept(finding, None, "This is not stored: correct it at once."), as_json)


@click.command(cls=Command)
@click.argument("kit", type=FILE)
@click.option(
    "--focal-length-mm", type=bounded("focal_length_mm"), help="Setting of a zoom; default: the kit's focal length."
)
@json_option
def rail(kit: Path, focal_length_mm: float | None, as_json: bool) -> None:
    """Print the rail's setting for the lens of a KIT, interpolated between the calibrated focal lengths."""
    table, focal, reading = calibrate_lens.rail_command(kit, focal_length_mm)
    if as_json:
        show({"focal_length_mm": focal, "table": [asdict(place) for place in table]} | asdict(reading))
        return
    lines = [
        f"{place.focal_length_mm:8g} mm lens  {place.rail_mm:8.1f} ± {FACTOR_95 * place.u_rail_mm:.1f} mm rail"
        for place in table
    ]
    lines.append(
        f"At {focal:g} mm set the rail to {reading.rail_mm:.1f} ± {FACTOR_95 * reading.u_rail_mm:.1f} mm (95 %)."
    )
    show("\n".join([*lines, reading.warning] if reading.warning else lines))
