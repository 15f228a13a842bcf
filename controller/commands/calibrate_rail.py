"""`fullturn calibrate centre` and `rail`: the lens over the pan axis sideways, and its place on the rail."""

import math
from pathlib import Path

from controller.calibration import records
from controller.calibration.finding import Finding
from controller.calibration.found import plus_minus
from controller.calibration.parallax import BY_EYE_PX, NEAREST_MM, U_DISTANCE_SHARE, sideways_mm
from controller.calibration.propagation import propagated
from controller.calibration.rail import RailReading, Reading, rail_at, rail_table
from controller.calibration.records import CalibrationKind
from controller.commands.calibrate import Keeping
from controller.commands.calibrate_pictures import U_FOCAL_SHARE, LensGiven, lens_name
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.kit.load import load_kit


def centre_command(
    given: LensGiven, distance_mm: float, places_px: tuple[float, float], u_aim_deg: float, keeping: Keeping
) -> Finding:
    """How far the lens stands beside the pan axis, from a mark on the ground before and after half a turn.

    It goes with the record of the lens's place but is no place along the rail, so nothing is stored. Raises InputError.
    """
    kit = keeping.kit()
    _, focal_px = typed_focal(kit, given)
    if distance_mm <= NEAREST_MM:
        raise InputError(f"--distance-mm {distance_mm:g}: a mark nearer than {NEAREST_MM:g} mm stands in the camera.")
    values = {"first_px": places_px[0], "second_px": places_px[1], "focal_px": focal_px, "distance_mm": distance_mm}
    value = sideways_mm(**values)
    unsure = {
        "first_px": BY_EYE_PX,
        "second_px": BY_EYE_PX,
        "focal_px": focal_px * U_FOCAL_SHARE,
        "distance_mm": distance_mm * U_DISTANCE_SHARE,
    }
    u_read, parts = propagated(sideways_mm, values, unsure)
    parts["aim_deg"] = distance_mm * math.radians(u_aim_deg)  # a lens not quite upright looks beside its foot
    u = math.hypot(u_read, parts["aim_deg"])
    side = "left" if value > 0 else "right"
    where = f"{plus_minus(abs(value), u, math.inf)} mm {'right' if value > 0 else 'left'} of the pan axis (95 %)"
    advice = "which cannot be told from none" if abs(value) < 2 * u else f"so slide the camera {side} by that much"
    sentences = [f"The lens stands {where}, {advice}."]
    if parts["aim_deg"] > max(part for name, part in parts.items() if name != "aim_deg"):
        sentences.append("Most of that uncertainty comes from how straight down the lens looks: a nearer mark says more.")
    return Finding(
        kind=CalibrationKind.PARALLAX,
        axis=None,
        values={"sideways_mm": value},
        uncertainties={"u_sideways_mm": u},
        degrees_of_freedom=None,
        how="a mark straight below, before and after half a turn",
        sentences=(*sentences, "Then find the place fore and aft: `fullturn calibrate parallax`."),
        more={"slide": side, "u_parts_mm": parts},
        lens=lens_name(kit),
    )


def rail_command(kit_path: Path, focal_mm: float | None) -> tuple[tuple[RailReading, ...], float, Reading]:
    """The table of the kit's lens, the focal length asked for and the rail's reading there. Raises InputError."""
    kit = load_kit(kit_path)
    table = rail_table(records.read(kit_path), kit)
    if not table:
        raise InputError(
            f"{records.calibration_path(kit_path)}: holds no place of this lens on the rail; run `fullturn calibrate "
            "parallax` "
            "with --rail-mm."
        )
    focal = focal_mm or kit.lens.focal_length_mm
    return table, focal, rail_at(table, focal)


def typed_focal(kit: Kit | None, given: LensGiven) -> tuple[float, float]:
    """Focal length in mm and in pixels of the camera's own. Raises InputError."""
    focal_mm = given.focal_mm or (kit.lens.focal_length_mm if kit is not None else None)
    if focal_mm is None:
        raise InputError("Give --focal-length-mm, or name the kit (--kit).")
    if given.pixel_um is not None:
        return focal_mm, focal_mm * 1000 / given.pixel_um
    if kit is None:
        raise InputError("Give --pixel-um, or name the kit (--kit).")
    field = kit.field(0.0)
    return focal_mm, focal_mm * field.pixels_across / field.width_mm
