"""`fullturn calibrate settle`: how the head vibrates after a move, from a sensor's readings or a burst of photographs."""

from collections.abc import Sequence
from pathlib import Path

from controller.amounts import counted
from controller.calibration.finding import Finding
from controller.calibration.photographs import photographs_in, read_photographs
from controller.calibration.readings import read_csv
from controller.calibration.settle import FEWEST
from controller.calibration.settle_finding import Still, burst_finding, readings_finding
from controller.calibration.typed_readings import PersonAtHead, asked_ringing
from controller.commands.calibrate import Keeping
from controller.errors import InputError


def settle_readings_command(
    path: Path | None,
    from_ms: float,
    degrees_per_unit: float | None,
    still: Still,
    keeping: Keeping,
    operator: PersonAtHead,
) -> Finding:
    """From a CSV file with the columns time_ms and value, or as typed in. Raises InputError, ReadingsRefused."""
    kit = keeping.kit()
    readings = asked_ringing(operator) if path is None else read_csv(path, ("time_ms", "value"))
    return readings_finding(kit, readings, from_ms, degrees_per_unit, still)


def settle_photographs_command(paths: Sequence[Path], every_ms: float | None, still: Still, keeping: Keeping) -> Finding:
    """From a burst of photographs. Raises InputError, ReadingsRefused."""
    kit = keeping.kit()
    files = photographs_in(paths)
    if len(files) < FEWEST:
        raise InputError(
            f"{paths[0]}: {counted(len(files), 'photograph')} are too few; shoot a burst of {FEWEST} or more."
        )
    return burst_finding(kit, read_photographs(files), every_ms, still)
