"""`fullturn calibrate steps|backlash|level|verify`: from readings, out of a file or typed in, to a finding."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from controller.calibration import asking, backlash, found, level, records, steps, verify
from controller.calibration.asking import PersonAtHead, axis_of
from controller.calibration.finding import Finding
from controller.calibration.readings import names_in, read_csv
from controller.calibration.records import AxisName
from controller.calibration.use import calibrated
from controller.calibration.wave import HEAD_ECCENTRICITY_DEG
from controller.commands.calibrate import Keeping
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.planning.plan import Plan, load_plan

ASSUMED_NEED_DEG = 0.2  # what a pose may be off where neither plan nor kit says. Our own choice.
STEEPEST_DEG = 60.0  # the pitch of the steepest row of many a sphere, where nothing else is known
POSES = 5
GUIDED_POSES = ((20.0, 0.0), (155.0, 30.0), (250.0, -30.0), (310.0, 50.0), (95.0, -10.0))


@dataclass(frozen=True, slots=True)
class ReadingSource:
    """Where the readings come from: a CSV file, or the operator."""

    path: Path | None
    operator: PersonAtHead


def _kit_now(keeping: Keeping) -> Kit | None:
    """The kit with what is calibrated already, None where none is named. Raises InputError."""
    kit = keeping.kit()
    return kit if kit is None or keeping.kit_path is None else calibrated(kit, records.read(keeping.kit_path))


def steps_command(
    keeping: Keeping, source: ReadingSource, axis: AxisName, reading_error_deg: float | None, by_turns: bool
) -> Finding:
    """Steps per degree by angles, or by whole turns (a file says which by its columns).

    Raises InputError; NotBelievable where the result is not to be relied on.
    """
    kit = keeping.kit()
    plain = axis_of(kit, axis)
    nominal = None if plain is None else plain.nominal_steps_per_degree
    if source.path is None:
        readings = asking.asked_turns(source.operator) if by_turns else asking.asked_angles(source.operator, axis, kit)
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
    return found.steps_found(result, readings, axis, nominal, eccentricity_deg)


def backlash_command(
    keeping: Keeping,
    source: ReadingSource,
    axis: AxisName,
    positions: int,
    times: int,
    reading_error_deg: float | None = None,
) -> Finding:
    """The play of an axis after ISO 230-2. Raises InputError, NotBelievable."""
    kit = _kit_now(keeping)
    if source.path is None:
        readings = asking.asked_approaches(source.operator, axis, kit, positions, times)
    else:
        readings = read_csv(source.path, ("target_deg", "direction", "measured_deg"), words=("direction",))
    plain = axis_of(kit, axis)
    rate = None if plain is None else plain.steps_per_degree
    return found.backlash_found(backlash.from_approaches(readings, reading_error_deg), readings, axis, rate)


def level_command(
    keeping: Keeping, source: ReadingSource, reading_error_deg: float | None, leg_yaw_deg: float, leg_radius_mm: float
) -> Finding:
    """The lean of the pan axis, and which leg to raise. Raises InputError, NotBelievable."""
    kit = _kit_now(keeping)
    if source.path is None:
        readings = asking.asked_tilts(source.operator, kit)
    else:
        readings = read_csv(source.path, ("yaw_deg", "reading_deg"), ("u_reading_deg",))
        if "u_reading_deg" in readings.numbers:
            readings.must_be_positive("u_reading_deg")
    result = level.from_tilts(readings, reading_error_deg)
    legs = level.legs_to_raise(result.lean_deg, result.toward_deg, leg_yaw_deg, leg_radius_mm)
    return found.level_found(result, readings, legs, STEEPEST_DEG)


def verify_command(
    keeping: Keeping,
    source: ReadingSource,
    plan_path: Path | None,
    needed_deg: float | None,
    times: int,
    seed: int,
    reading_error_deg: float | None = None,
) -> Finding:
    """Pose accuracy and repeatability after ISO 9283, held against what the plan needs.

    Raises InputError, NotBelievable.
    """
    kit = _kit_now(keeping)
    plan = None if plan_path is None else load_plan(plan_path)
    needed, by = _need(needed_deg, plan, kit)
    columns = ("target_yaw_deg", "target_pitch_deg", "yaw_deg", "pitch_deg")
    if source.path is None:
        poses = _poses(plan)
        if verify.distinct(poses) < verify.LEAST_POSES:
            raise InputError(
                f"{plan_path}: has fewer than {verify.LEAST_POSES} poses that lie apart, too few to verify by. Leave "
                "--plan out, and give --needed-deg."
            )
        order = verify.visiting_order(poses, times, seed)
        readings = asking.asked_visits(source.operator, kit, order)
    else:
        readings = read_csv(source.path, columns)
    return found.verify_found(verify.from_visits(readings, reading_error_deg), readings, needed, by)


def _need(needed_deg: float | None, plan: Plan | None, kit: Kit | None) -> tuple[float, str]:
    """How far a pose may be off, and who says so. A plan's margin may be used up; where it has none, what it assumed."""
    if needed_deg is not None:
        return needed_deg, "asked for were"
    if plan is not None:
        if plan.proof.worst_margin_deg >= plan.proof.pointing_error_deg:
            return plan.proof.worst_margin_deg, "the plan survives"
        return plan.proof.pointing_error_deg, "the plan was made for a head that is off by at most"
    if kit is not None:
        return kit.head.pointing_error_deg(), "by the kit this head is off by at most"
    return ASSUMED_NEED_DEG, "taken as needed, as no plan was named, were"


def _poses(plan: Plan | None) -> Sequence[tuple[float, float]]:
    """Some poses to visit: spread over the plan's frames, or over the sphere."""
    if plan is None:
        return GUIDED_POSES
    frames = [frame for frame in plan.frames if not frame.by_hand]
    picked = sorted({round(number * (len(frames) - 1) / (POSES - 1)) for number in range(POSES)})
    return [(frames[number].yaw_deg, frames[number].pitch_deg) for number in picked]
