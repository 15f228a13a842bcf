"""The finding of how far the lens is to one side of the pan axis."""

import math

from controller.calibration.finding import Finding
from controller.calibration.interval_words import plus_minus
from controller.calibration.known_lens import U_FOCAL_SHARE, LensGiven, lens_name, typed_focal
from controller.calibration.parallax import BY_EYE_PX, NEAREST_MM, U_DISTANCE_SHARE, sideways_mm
from controller.calibration.propagation import propagated
from controller.calibration.records import CalibrationKind
from controller.errors import InputError
from controller.kit.kit import Kit


def centre_finding(
    kit: Kit | None, given: LensGiven, distance_mm: float, places_px: tuple[float, float], u_aim_deg: float
) -> Finding:
    """How far the lens is to one side of the pan axis, from a mark on the ground before and after half a turn.

    The result is a sideways offset and not a place along the rail, so nothing is stored. Raises InputError.
    """
    _, focal_px = typed_focal(kit, given)
    if distance_mm <= NEAREST_MM:
        raise InputError(f"--distance-mm {distance_mm:g}: must be more than {NEAREST_MM:g} mm.")
    values = {"first_px": places_px[0], "second_px": places_px[1], "focal_px": focal_px, "distance_mm": distance_mm}
    value = sideways_mm(**values)
    unsure = {
        "first_px": BY_EYE_PX,
        "second_px": BY_EYE_PX,
        "focal_px": focal_px * U_FOCAL_SHARE,
        "distance_mm": distance_mm * U_DISTANCE_SHARE,
    }
    u_read, parts = propagated(sideways_mm, values, unsure)
    parts["aim_deg"] = distance_mm * math.radians(u_aim_deg)  # a lens that is not vertical looks beside its foot
    u = math.hypot(u_read, parts["aim_deg"])
    side = "left" if value > 0 else "right"
    where = f"{plus_minus(abs(value), u, math.inf)} mm {'right' if value > 0 else 'left'} of the pan axis (95 %)"
    advice = "too little to tell from zero" if abs(value) < 2 * u else f"so slide the camera {side} by that much"
    sentences = [f"The lens is {where}, {advice}."]
    if parts["aim_deg"] > max(part for name, part in parts.items() if name != "aim_deg"):
        sentences.append("Most of that uncertainty comes from how straight down the lens looks: use a nearer mark.")
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
