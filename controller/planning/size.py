"""How large a plan may be: limited by the time to search, prove and shoot it."""

import math

from controller.bounds import BOUNDS
from controller.errors import InputError
from controller.optics.field import Field
from controller.planning.request import RegionKind, Request

MOST_FRAMES = 20_000
"""Planning and proving take about a millisecond for each; a camera's shutter lasts for a few such sets."""
MOST_NEIGHBOURS = 200_000
"""Pairs of overlapping frames; each costs a fifth of a millisecond."""
SMALLEST_DEG = 0.25  # smallest core, either way: a row of such frames has thousands, and more are not worth a search
DAY_S = 86_400


def must_be_plannable(field: Field, overlap: float, request: Request) -> None:
    """Raise InputError if the region would need more frames than can be planned."""
    wide_deg, high_deg = (math.degrees(2 * half) for half in (field.core_half_width_rad, field.core_half_height_rad))
    size = f"{wide_deg:.2g} x {high_deg:.2g} degrees"
    if min(wide_deg, high_deg) < SMALLEST_DEG:
        raise InputError(
            f"The core of one frame would be {size}, too little to plan with: it must be {SMALLEST_DEG:g} or more. Use a "
            "shorter focal length, or check the sensor's size and --overlap."
        )
    if request.region is RegionKind.SINGLE_ROW:
        return
    count = request.bounds().solid_angle_sr() * math.degrees(1) ** 2 / (wide_deg * high_deg)
    most = min(MOST_FRAMES, MOST_NEIGHBOURS * (1 - overlap) ** 2)
    if count > most:
        raise InputError(
            f"This region needs about {count:.2g} frames of {size} each; about {most:.2g} can be planned at once. Plan "
            "a part of it (--region window), reduce the overlap, or use a shorter focal length."
        )


def must_end(seconds: float) -> None:
    """Raise InputError for a run that takes longer than anybody would wait, `seconds`."""
    most = BOUNDS["max_seconds"].most
    if not seconds <= most:
        raise InputError(
            f"This run would take {seconds / DAY_S:.3g} days; at most {most / DAY_S:.0f} can be planned. Plan fewer "
            "frames or shorter exposures, or a faster head."
        )
