"""`fullturn calibrate steps|backlash|level|verify`: from readings, in a file or typed in, to a finding."""

from dataclasses import dataclass
from pathlib import Path

from controller.calibration import axis_findings, backlash, level, steps, typed_readings, verify
from controller.calibration.finding import Finding
from controller.calibration.readings import names_in, read_csv
from controller.calibration.records import AxisName, axis_of
from controller.calibration.typed_readings import PersonAtHead
from controller.calibration.verify_needs import need_of, poses_to_visit
from controller.calibration.wave import HEAD_ECCENTRICITY_DEG
from controller.commands.calibrate import Keeping
from controller.errors import InputError
from controller.planning.plan_file import load_plan

STEEPEST_DEG = 60.0  # the pitch of the steepest row of many spheres, if nothing else is known


@dataclass(frozen=True, slots=True)
class ReadingSource:
    """Where the readings come from: a CSV file, or the operator's typing."""

    path: Path | None
    operator: PersonAtHead


def steps_command(
    keeping: Keeping, source: ReadingSource, axis: AxisName, reading_error_deg: float | None, by_turns: bool
) -> Finding:
    """Steps per degree by angles or by whole turns; in a file, its columns say which.

    Raises InputError; ReadingsRefused if the result is unreliable.
    """
    kit = keeping.kit()
    plain = axis_of(kit, axis)
    nominal = None if plain is None else plain.nominal_steps_per_degree
    if source.path is None:
        readings = (
            typed_readings.asked_turns(source.operator, kit)
            if by_turns
            else typed_readings.asked_angles(source.operator, axis, kit)
        )
    elif "turns" in names_in(source.path):
        readings = read_csv(source.path, ("turns", "steps"))
    else:
        readings = read_csv(source.path, ("commanded_steps", "angle_deg"), ("u_angle_deg",))
        if "u_angle_deg" in readings.numbers:
            readings.must_be_positive("u_angle_deg")
    eccentricity_deg = HEAD_ECCENTRICITY_DEG if plain is None else plain.eccentricity_deg
    if "turns" in readings.numbers:
        result = steps.from_turns(readings, nominal, reading_error_deg)
    else:
        result = steps.from_angles(readings, nominal, reading_error_deg, eccentricity_deg)
    return axis_findings.steps_found(result, readings, axis, nominal, eccentricity_deg)


def backlash_command(
    keeping: Keeping,
    source: ReadingSource,
    axis: AxisName,
    positions: int,
    times: int,
    reading_error_deg: float | None = None,
) -> Finding:
    """The play of an axis after ISO 230-2. Raises InputError, ReadingsRefused."""
    kit = keeping.kit_now()
    if source.path is None:
        readings = typed_readings.asked_approaches(source.operator, axis, kit, positions, times)
    else:
        readings = read_csv(source.path, ("target_deg", "direction", "measured_deg"), words=("direction",))
    plain = axis_of(kit, axis)
    rate = None if plain is None else plain.steps_per_degree
    return axis_findings.backlash_found(backlash.from_approaches(readings, reading_error_deg), readings, axis, rate)


def level_command(
    keeping: Keeping, source: ReadingSource, reading_error_deg: float | None, leg_yaw_deg: float, leg_radius_mm: float
) -> Finding:
    """The lean of the pan axis, and which leg to raise. Raises InputError, ReadingsRefused."""
    kit = keeping.kit_now()
    if source.path is None:
        readings = typed_readings.asked_tilts(source.operator, kit)
    else:
        readings = read_csv(source.path, ("yaw_deg", "reading_deg"), ("u_reading_deg",))
        if "u_reading_deg" in readings.numbers:
            readings.must_be_positive("u_reading_deg")
    result = level.from_tilts(readings, reading_error_deg)
    legs = level.legs_to_raise(result.lean_deg, result.toward_deg, leg_yaw_deg, leg_radius_mm)
    return axis_findings.level_found(result, readings, legs, STEEPEST_DEG)


def verify_command(
    keeping: Keeping,
    source: ReadingSource,
    plan_path: Path | None,
    *,
    needed_deg: float | None,
    times: int,
    seed: int,
    reading_error_deg: float | None = None,
) -> Finding:
    """Pose accuracy and repeatability after ISO 9283, compared with what the plan needs.

    Raises InputError, ReadingsRefused.
    """
    kit = keeping.kit_now()
    plan = None if plan_path is None else load_plan(plan_path)
    needed, by = need_of(needed_deg, plan, kit)
    columns = ("target_yaw_deg", "target_pitch_deg", "yaw_deg", "pitch_deg")
    if source.path is None:
        poses = poses_to_visit(plan)
        if verify.distinct(poses) < verify.LEAST_POSES:
            raise InputError(
                f"{plan_path}: has fewer than {verify.LEAST_POSES} poses that lie apart, too few to verify by. Leave "
                "--plan out, and give --needed-deg."
            )
        order = verify.visiting_order(poses, times, seed)
        readings = typed_readings.asked_visits(source.operator, kit, order)
    else:
        readings = read_csv(source.path, columns)
    return axis_findings.verify_found(verify.from_visits(readings, reading_error_deg), readings, needed, by)
