"""`fullturn calibrate parallax`, `centre` and `rail`: where the lens must be to turn about its entrance pupil."""

from collections.abc import Sequence
from pathlib import Path

from controller.calibration import records
from controller.calibration.centre_finding import centre_finding
from controller.calibration.finding import Finding
from controller.calibration.known_lens import LensGiven, typed_focal
from controller.calibration.parallax import Scene, TypedShift
from controller.calibration.parallax_finding import Rail, typed_finding
from controller.calibration.parallax_photographs import MarkGiven, seen_finding
from controller.calibration.photographs import read_two
from controller.calibration.rail import RailReading, Reading, rail_at, rail_table
from controller.commands.calibrate import Keeping
from controller.errors import InputError
from controller.kit.load import load_kit


def focal_px_of(given: LensGiven, keeping: Keeping) -> float:
    """The focal length in the camera's own pixels, as stated or from the kit. Raises InputError."""
    return typed_focal(keeping.kit(), given)[1]


def typed_parallax_command(
    given: LensGiven, scene: Scene, typed: TypedShift, rail: Rail | None, keeping: Keeping
) -> Finding:
    """The offset from a shift in pixels. Raises InputError, ReadingsRefused."""
    return typed_finding(keeping.kit(), given, scene, typed, rail)


def seen_parallax_command(
    paths: Sequence[Path],
    mark: MarkGiven,
    given: LensGiven,
    scene: Scene,
    keeping: Keeping,
    *,
    u_sideways_mm: float,
    rail: Rail | None,
) -> Finding:
    """The offset from two photographs. Raises InputError, ReadingsRefused."""
    kit = keeping.kit()
    return seen_finding(read_two(paths), mark, kit, given, scene, u_sideways_mm=u_sideways_mm, rail=rail)


def centre_command(
    given: LensGiven, distance_mm: float, places_px: tuple[float, float], u_aim_deg: float, keeping: Keeping
) -> Finding:
    """How far the lens is to one side of the pan axis. Raises InputError."""
    return centre_finding(keeping.kit(), given, distance_mm, places_px, u_aim_deg)


def rail_command(kit_path: Path, focal_mm: float | None) -> tuple[tuple[RailReading, ...], float, Reading]:
    """The table of the kit's lens, the requested focal length and the rail's reading there. Raises InputError."""
    kit = load_kit(kit_path)
    table = rail_table(records.read(kit_path), kit)
    if not table:
        raise InputError(
            f"{records.calibration_path(kit_path)}: contains no rail reading of this lens; run `fullturn calibrate "
            "parallax` with --rail-mm."
        )
    focal = focal_mm or kit.lens.focal_length_mm
    return table, focal, rail_at(table, focal)
