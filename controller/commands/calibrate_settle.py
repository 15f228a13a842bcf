"""`fullturn calibrate settle`: how the head vibrates after a move, and whether shaping works.

From a sensor's readings or a burst of photographs, or after moves that the head makes by itself.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from controller import clock
from controller.amounts import counted
from controller.calibration import records
from controller.calibration.finding import Finding, record_of
from controller.calibration.kept_readings import ALL, MOVES, KeptReadings
from controller.calibration.mover import HandMover
from controller.calibration.photographs import photographs_in, read_photographs
from controller.calibration.readings import Readings, names_in, read_csv
from controller.calibration.records import AxisName, CalibrationKind, kit_digest
from controller.calibration.settle import FEWEST
from controller.calibration.settle_course import course, shapers_to_test
from controller.calibration.settle_finding import Still, burst_finding, readings_finding
from controller.calibration.settle_moves import has_moves, moves_in
from controller.calibration.settle_session import Made, Sensor, measured
from controller.calibration.shaping_series import fails, series_findings
from controller.calibration.typed_readings import PersonAtHead, asked_ringing
from controller.calibration.validity import calibrated
from controller.capture.hand import UNSHAPED
from controller.commands.calibrate import Keeping, Kept, KeptAll, keep, keep_all
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.planning.plan import Plan
from controller.planning.plan_file import load_plan
from controller.planning.shaping_gain import ShapingGain, shaping_gain
from controller.program.build import build_program
from controller.program.program import slowed
from protocol.shaper import Shaper

LEVEL_DEG = 0.0
MEASURED = "the readings"
ONCE_SHAPED = ("The time with shaping is reached only once shaping works.",)


@dataclass(frozen=True, slots=True)
class SensorUse:
    """How to read: without readings before `from_ms`; degrees of one unit (None: unknown); what counts as still."""

    from_ms: float
    degrees_per_unit: float | None
    still: Still


@dataclass(frozen=True, slots=True)
class WantedMoves:
    """The moves to make: which axes, at which pitches in degrees."""

    axes: tuple[AxisName, ...] = tuple(AxisName)
    pitches_deg: tuple[float, ...] = (LEVEL_DEG,)


def settle_readings_command(
    path: Path | None, reading: SensorUse, keeping: Keeping, operator: PersonAtHead, plan_path: Path | None = None
) -> Kept | KeptAll:
    """From a CSV file, or as typed in. Columns: time_ms,value, and for several moves axis,shaped[,pitch_deg].

    Raises InputError, ReadingsRefused, StorageFailed.
    """
    if path is not None and has_moves(names_in(path)):
        words = ("axis", "shaped")
        readings = read_csv(path, ("time_ms", "value", *words), ("pitch_deg",), words)
        return _kept_moves(readings, reading, keeping, plan_path)
    kit = keeping.kit()
    readings = asked_ringing(operator) if path is None else read_csv(path, ("time_ms", "value"))
    finding = readings_finding(kit, readings, reading.from_ms, reading.degrees_per_unit, reading.still)
    return _with_plan(finding, keeping, plan_path)


def settle_photographs_command(
    paths: Sequence[Path], every_ms: float | None, still: Still, keeping: Keeping, plan_path: Path | None = None
) -> Kept | KeptAll:
    """From a burst of photographs. Raises InputError, ReadingsRefused, StorageFailed."""
    kit = keeping.kit()
    files = photographs_in(paths)
    if len(files) < FEWEST:
        raise InputError(
            f"{paths[0]}: {counted(len(files), 'photograph')} are too few; shoot a burst of {FEWEST} or more."
        )
    return _with_plan(burst_finding(kit, read_photographs(files), every_ms, still), keeping, plan_path)


def settle_moving_command(
    mover: HandMover,
    sensor: Sensor,
    wanted: WantedMoves,
    reading: SensorUse,
    keeping: Keeping,
    tell: Callable[[str], None],
    plan_path: Path | None = None,
    *,
    lists: bool = True,
) -> KeptAll:
    """Make the moves with the head, and take the readings after each. `lists`: keep files of the moves and readings.

    Raises InputError, ReadingsRefused, WorldError.
    """
    kit = keeping.kit_now()
    assert kit is not None
    plan = _plan(plan_path, keeping)
    settings = slowed(build_program(kit, ())).axes
    shapers = _own_shapers(kit, plan, reading.still)
    moves = course(kit, settings, shapers, wanted.axes, wanted.pitches_deg)
    keepers = (KeptReadings(tell, stem="moves", said=MOVES), KeptReadings(tell, said=ALL)) if lists else (_drop, _drop)
    made = measured(mover, moves, settings, sensor, keepers)
    if not made.rows:
        return KeptAll((), {"moves": made.moves}, (_without_readings(made),))
    return _kept_moves(made.readings(MEASURED), reading, keeping, plan_path, made)


def _drop(_: str) -> None:
    """Keep nothing: a rehearsal writes no files."""


def _without_readings(made: Made) -> str:
    return (
        f"{counted(len(made.moves), 'move')} made, without readings. Give the sensor's readings with --from: columns "
        "time_ms,value,axis,shaped,pitch_deg, the last three as in the list of moves."
    )


def _kept_moves(
    readings: Readings, reading: SensorUse, keeping: Keeping, plan_path: Path | None, made: Made | None = None
) -> KeptAll:
    kit, plan = keeping.kit_now(), _plan(plan_path, keeping)
    factor = 1.0 if reading.degrees_per_unit is None else reading.degrees_per_unit
    moves = moves_in(readings, reading.from_ms, factor)

    def own() -> tuple[Shaper, Shaper]:
        assert kit is not None
        return _own_shapers(kit, plan, reading.still)

    findings = series_findings(moves, kit, own, reading.degrees_per_unit, reading.still)
    gain = None if plan is None else _gain(plan, findings, keeping)
    more = ({} if made is None else {"moves": made.moves}) | ({} if gain is None else {"plan": gain.as_json()})
    said = () if gain is None else (gain.text(str(plan_path)), *(ONCE_SHAPED if fails(findings) else ()))
    return keep_all(findings, keeping, more, said)


def _with_plan(finding: Finding, keeping: Keeping, plan_path: Path | None) -> Kept | KeptAll:
    plan = _plan(plan_path, keeping)
    if plan is None:
        return keep(finding, keeping)
    gain = _gain(plan, [finding], keeping)
    return keep_all([finding], keeping, {"plan": gain.as_json()}, (gain.text(str(plan_path)),))


def _plan(plan_path: Path | None, keeping: Keeping) -> Plan | None:
    """The plan, which must be for this head and lens. Raises InputError."""
    kit = keeping.kit()
    if plan_path is None or kit is None:
        return None
    plan = load_plan(plan_path)
    if kit_digest(plan.kit, CalibrationKind.SETTLE) != kit_digest(kit, CalibrationKind.SETTLE):
        raise InputError(f"{plan_path}: was planned for another head or lens than {keeping.kit_path}; plan again.")
    return plan


def _own_shapers(kit: Kit, plan: Plan | None, still: Still) -> tuple[Shaper, Shaper]:
    """The shapers of pan and tilt: those of the plan's program, or for these moves alone, also if the plan needs none."""
    exposed_s = still.shutter_for(kit)
    assert exposed_s is not None
    planned = UNSHAPED if plan is None else tuple(axis.shaper for axis in build_program(kit, plan.frames).axes)
    if all(shaper.impulses for shaper in planned):
        return planned[0], planned[1]
    own = shapers_to_test(kit, slowed(build_program(kit, ())).axes, exposed_s)
    pan, tilt = (shaper if shaper.impulses else other for shaper, other in zip(planned, own, strict=True))
    return pan, tilt


def _gain(plan: Plan, findings: Sequence[Finding], keeping: Keeping) -> ShapingGain:
    kit, path = keeping.kit(), keeping.kit_path
    assert kit is not None
    assert path is not None
    kept = records.read(path)
    new = [record_of(finding, kit, "", clock.wall_time()) for finding in findings]
    return shaping_gain(plan, calibrated(plan.kit, kept), calibrated(plan.kit, [*kept, *new]))
