"""The `fullturn calibrate` group: its options, and how results are printed."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from controller.cli.command import CommandGroup
from controller.cli.later import later
from controller.cli.lens_options import steps_by_photographs, steps_picture_options
from controller.cli.numbers import bounded, bounded_whole
from controller.cli.option_types import OneOf, PortName, Text
from controller.cli.shared_options import FILE, OUTPUT, PORT_HELP, countdown_option, json_option, show, with_options
from controller.errors import WorldError

with later():
    from controller.calibration import kept_readings, mover, records, typed_readings
    from controller.cli import terminal
    from controller.commands import calibrate as calibrate_work
    from controller.commands import calibrate_readings, calibrate_rehearsal
    from controller.commands import jog as jog_work
    from controller.kit import load as kit_load

if TYPE_CHECKING:
    from controller.calibration.mover import HandMover
    from controller.calibration.typed_readings import PersonAtHead
    from controller.commands.calibrate import Keeping, Kept, KeptAll
    from controller.commands.calibrate_readings import ReadingSource

axis_option = click.option("--axis", type=OneOf(["pan", "tilt"]), required=True, help="The axis to measure.")
from_option = click.option("--from", "readings", type=FILE, help="Readings from this CSV file, instead of asking.")
KEEPING_OPTIONS = (
    click.option("--kit", type=FILE, help="The kit to store the result for; without it nothing is stored."),
    click.option("--dry", is_flag=True, help="Store nothing."),
    click.option(
        "--with",
        "with_what",
        type=Text(may_be_empty=True),
        default="",
        metavar="TEXT",
        help="The instrument used, for the record.",
    ),
    click.option("--page", type=OUTPUT, help="Write an HTML page with the plots."),
    click.option("--replace", is_flag=True, help="Replace the page at --page; no other file is ever replaced."),
    json_option,
)


keeping_options = with_options(KEEPING_OPTIONS)
"""Adds the options that say what to do with a finding: kit, dry, with_what, page, as_json."""


def keeping_of(options: dict[str, Any]) -> "Keeping":
    """The values of those options. Raises StorageFailed, before any reading, if the finding could not be stored."""
    dry = options["dry"] or options.get("rehearse") is not None
    keeping = calibrate_work.Keeping(
        options["kit"], dry, options["with_what"], options["page"], replace=options["replace"]
    )
    keeping.must_have_place()
    return keeping


def show_kept(kept: "Kept | KeptAll", as_json: bool) -> None:
    """Print a finding, and where it was stored."""
    show(kept.as_json() if as_json else kept.text())


@click.group(cls=CommandGroup, short_help="Calibrate head and lens, with uncertainties.")
def calibrate() -> None:
    """Calibrate the head and the lens, with uncertainties, and keep the records."""


def tell(text: str) -> None:
    """Print a sentence on stderr, so that stdout contains only the result."""
    click.echo(text, err=True)


def operator() -> "PersonAtHead":
    """The person at the terminal. Questions go to stderr, so that stdout contains only the result."""

    def ask(question: str) -> str:
        return str(click.prompt(question, default="", show_default=False, err=True))

    return typed_readings.PersonAtHead(tell, ask, keep=kept_readings.KeptReadings(tell))


MOVING_OPTIONS = (
    click.option("--port", type=PortName(), help="Move the head to each reading. " + PORT_HELP),
    click.option("--yes", is_flag=True, help="Answer yes to the question before the head moves."),
    countdown_option,
    click.option("--rehearse", type=bounded_whole("rehearse"), metavar="SEED",
                 help="Rehearse on a simulated head that differs slightly from the kit; nothing is stored."),
)  # fmt: skip


moving_options = with_options(MOVING_OPTIONS)
"""Adds the options that say who moves the head: port, yes, rehearse."""


def _source(readings: Path | None, options: dict[str, Any], *, leans: bool = False) -> "ReadingSource":
    if readings is not None or (options["port"] is None and options["rehearse"] is None):
        return calibrate_readings.ReadingSource(readings, operator())
    if options["rehearse"] is not None:
        return calibrate_readings.ReadingSource(
            None,
            calibrate_rehearsal.rehearsed(kit_load.load_kit(options["kit"]), options["rehearse"], tell, leans=leans),
        )

    person, moves = person_with_head(options)
    return calibrate_readings.ReadingSource(None, replace(person, mover=moves))


def person_with_head(options: dict[str, Any]) -> "tuple[PersonAtHead, HandMover]":
    """The operator and what moves the head at --port, once the way is clear. Raises WorldError, LinkLost, InputError."""
    people = terminal.people_here(yes=options["yes"], countdown_s=options["countdown"])
    held = jog_work.held_head(options["kit"], options["port"], "fullturn calibrate", people)
    hand, _ = click.get_current_context().with_resource(held)
    if not hand.wait_answer(jog_work.CLEAR):
        raise WorldError("Not started: nothing was moved. Clear the way first; then --yes answers for you.")

    def ask(question: str) -> str:
        typed = hand.wait_text(f"{question}:")  # Ctrl-C also works during the reading
        return here.ask(question) if typed is None else typed

    here = operator()
    return replace(here, ask=ask), mover.HandMover(hand, people)


reading_error_option = click.option(
    "--reading-error-deg",
    type=bounded("reading_error_deg"),
    help="The instrument's standard uncertainty of one reading (or aim), without its resolution.",
)


@calibrate.command()
@axis_option
@from_option
@click.option(
    "--by",
    type=OneOf(["angles", "turns"]),
    default="angles",
    show_default=True,
    help="An instrument that reads angles, or whole turns seen through the viewfinder.",
)
@reading_error_option
@steps_picture_options
@moving_options
@keeping_options
def steps(
    axis: str, readings: Path | None, by: str, reading_error_deg: float | None, as_json: bool, **options: Any
) -> None:
    """Measure an axis's steps per degree by readings of angles, by whole turns, or by photographs.

    Columns of the file: commanded_steps,angle_deg[,u_angle_deg] or turns,steps. Rows are in the order of time. It
    is best to shuffle the positions, and to read the first again at the end.
    """
    keeping = keeping_of(options)
    finding = steps_by_photographs(axis, options, keeping)
    if finding is None:
        finding = calibrate_readings.steps_command(
            keeping, _source(readings, options), records.AxisName(axis), reading_error_deg, by == "turns"
        )
    show_kept(calibrate_work.keep(finding, keeping), as_json)


@calibrate.command()
@axis_option
@from_option
@click.option(
    "--positions",
    type=bounded_whole("positions"),
    default=5,
    show_default=True,
    help="Positions to measure at.",
)
@click.option(
    "--times",
    type=bounded_whole("approaches"),
    default=5,
    show_default=True,
    help="Approaches to each position from each side.",
)
@reading_error_option
@moving_options
@keeping_options
def backlash(
    axis: str,
    readings: Path | None,
    positions: int,
    times: int,
    reading_error_deg: float | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Measure the play of an axis (ISO 230-2) at positions approached from both sides.

    Columns of the file: target_deg,direction,measured_deg with direction up (from below) or down, rows in order of time.
    """
    keeping = keeping_of(options)
    finding = calibrate_readings.backlash_command(
        keeping, _source(readings, options), records.AxisName(axis), positions, times, reading_error_deg
    )
    show_kept(calibrate_work.keep(finding, keeping), as_json)


@calibrate.command()
@from_option
@click.option(
    "--leg-yaw-deg",
    type=bounded("leg_yaw_deg"),
    default=0.0,
    show_default=True,
    help="Yaw of one leg of the tripod, degrees.",
)
@click.option(
    "--leg-radius-mm",
    type=bounded("leg_radius_mm"),
    default=500.0,
    show_default=True,
    help="Horizontal distance from the pan axis to a foot of the tripod.",
)
@reading_error_option
@moving_options
@keeping_options
def level(
    readings: Path | None,
    leg_yaw_deg: float,
    leg_radius_mm: float,
    reading_error_deg: float | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Measure how far and toward which yaw the pan axis leans, and which leg to raise.

    Columns of the file: yaw_deg,reading_deg[,u_reading_deg], the tilt (up: plus) read at yaws round the turn.
    Rows are in the order of time. It is best to shuffle the yaws, and to read the first again at the end.
    """
    keeping = keeping_of(options)
    finding = calibrate_readings.level_command(
        keeping, _source(readings, options, leans=True), reading_error_deg, leg_yaw_deg, leg_radius_mm
    )
    show_kept(calibrate_work.keep(finding, keeping), as_json)


@calibrate.command()
@from_option
@click.option("--plan", type=FILE, help="The plan whose tolerance the head must meet.")
@click.option(
    "--needed-deg",
    type=bounded("needed_deg"),
    help="Largest pose error to accept, degrees; default: the plan's tolerance.",
)
@click.option("--times", type=bounded_whole("visits"), default=5, show_default=True, help="Visits to each pose.")
@click.option("--seed", type=bounded_whole("seed"), default=0, show_default=True, help="Seed of their random order.")
@reading_error_option
@moving_options
@keeping_options
def verify(
    readings: Path | None,
    plan: Path | None,
    needed_deg: float | None,
    times: int,
    seed: int,
    reading_error_deg: float | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Verify the whole head: visit poses in random order (ISO 9283), and compare their errors with the plan's tolerance.

    Columns of the file, in the order of the visits: target_yaw_deg,target_pitch_deg,yaw_deg,pitch_deg. The exit status is
    1 unless the head is shown to be good enough.
    """
    keeping = keeping_of(options)
    source = _source(readings, options, leans=True)
    finding = calibrate_readings.verify_command(
        keeping, source, plan, needed_deg=needed_deg, times=times, seed=seed, reading_error_deg=reading_error_deg
    )
    show_kept(calibrate_work.keep(finding, keeping), as_json)
    if not finding.more["passed"]:
        raise SystemExit(1)


kit_argument = click.argument("kit", type=FILE)
id_argument = click.argument("record_id", metavar="[ID]", type=bounded_whole("record_id"), required=False)


@calibrate.command("list")
@kit_argument
@json_option
def list_records(kit: Path, as_json: bool) -> None:
    """List the records of a KIT: time, result, uncertainty, and whether it is used."""
    listed = calibrate_work.list_command(kit)
    if as_json:
        show([each.as_json() for each in listed])
    else:
        show("\n".join(each.line() for each in listed) or "Nothing was calibrated yet.")


@calibrate.command("show")
@kit_argument
@id_argument
@json_option
def show_record(kit: Path, record_id: int | None, as_json: bool) -> None:
    """Show one record of a KIT in full; without ID, the newest."""
    listed = calibrate_work.show_command(kit, record_id)
    show(listed.as_json() if as_json else listed.text())


@calibrate.command("undo")
@kit_argument
@id_argument
@json_option
def undo_record(kit: Path, record_id: int | None, as_json: bool) -> None:
    """Mark a record of a KIT as undone; without ID, the newest. It stays in the file but is no longer used."""
    listed = calibrate_work.undo_command(kit, record_id)
    show(listed.as_json() if as_json else listed.line())
