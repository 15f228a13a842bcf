"""The command `fullturn calibrate settle`: options only."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.calibrate import (
    from_option,
    keeping_of,
    keeping_options,
    moving_options,
    operator,
    person_with_head,
    show_kept,
    tell,
)
from controller.cli.command import Command
from controller.cli.later import later
from controller.cli.lens_options import lens_given, lens_options
from controller.cli.numbers import bounded
from controller.cli.option_types import OneOf
from controller.cli.shared_options import ANYTHING, FILE

with later():
    from controller.calibration import records, settle_finding, settle_session
    from controller.commands import calibrate_rehearsal, calibrate_settle
    from controller.kit import load as kit_load

if TYPE_CHECKING:
    from controller.commands.calibrate import Keeping, KeptAll
    from controller.commands.calibrate_settle import SensorUse


@click.command(cls=Command)
@from_option
@click.option(
    "--pictures", type=ANYTHING, multiple=True, metavar="FOLDER|FILE", help="A burst of photographs, instead of readings."
)
@click.option("--every-ms", type=bounded("every_ms"), help="Time between them, if they do not record milliseconds.")
@click.option(
    "--from-ms", type=bounded("from_ms"), default=0.0, show_default=True, help="Ignore readings before this time."
)
@click.option(
    "--degrees-per-unit",
    type=bounded("degrees_per_unit"),
    help="Degrees for one unit of the sensor; default: unknown.",
)
@click.option(
    "--shutter-s", type=bounded("shutter_s"), help="The shutter time to settle for; default: the kit's longest."
)
@click.option("--blur-px", type=bounded("blur_px"), help="How far a picture may move meanwhile and count as still.")
@click.option("--axis", type=OneOf(["pan", "tilt"]), help="MeasuredMove this axis only; default: both.")
@click.option(
    "--pitch",
    "pitches",
    type=bounded("pitch_deg"),
    multiple=True,
    help="Camera's pitch at which to make the moves, degrees; default: 0.",
)
@click.option("--plan", type=FILE, help="State how long this plan takes by the figures measured.")
@lens_options
@moving_options
@keeping_options
def settle(readings: Path | None, pictures: tuple[Path, ...], as_json: bool, **options: Any) -> None:
    """Measure how the head rings after a move, how long it must settle, and whether shaping works.

    Columns of the file: time_ms,value from any sensor; time 0 is the end of the move. Use the fastest and longest
    move: a gentle one leaves too little to measure. For several moves, add axis (pan or tilt), shaped (no, yes or the
    impulses) and pitch_deg; each is compared with the move without the shaper.

    With --port the head makes these moves by itself. You start the sensor before each one, and name the file with its
    readings after it.
    """
    keeping = keeping_of(options)
    still = settle_finding.Still(lens_given(options), options["shutter_s"])
    if options["blur_px"] is not None:
        still = settle_finding.Still(still.lens, still.shutter_s, options["blur_px"])
    plan, reading = options["plan"], calibrate_settle.SensorUse(options["from_ms"], options["degrees_per_unit"], still)
    if pictures:
        kept = calibrate_settle.settle_photographs_command(pictures, options["every_ms"], still, keeping, plan)
    elif options["port"] is not None or options["rehearse"] is not None:
        kept = _moved(options, reading, keeping)
    else:
        kept = calibrate_settle.settle_readings_command(readings, reading, keeping, operator(), plan)
    show_kept(kept, as_json)


def _moved(options: dict[str, Any], reading: "SensorUse", keeping: "Keeping") -> "KeptAll":
    axes = tuple(records.AxisName) if options["axis"] is None else (records.AxisName(options["axis"]),)
    wanted = calibrate_settle.WantedMoves(axes, options["pitches"] or (calibrate_settle.LEVEL_DEG,))
    if options["rehearse"] is not None:
        kit = kit_load.load_kit(options["kit"])
        mover, sensor = calibrate_rehearsal.ringing_head(kit, options["rehearse"], tell)
        in_degrees = calibrate_settle.SensorUse(0.0, 1.0, reading.still)
        return calibrate_settle.settle_moving_command(
            mover, sensor, wanted, in_degrees, keeping, tell, options["plan"], lists=False
        )
    person, mover = person_with_head(options)
    by_hand = settle_session.PersonSensor(person)
    return calibrate_settle.settle_moving_command(mover, by_hand, wanted, reading, keeping, tell, options["plan"])
