"""What the head's limits leave of a region."""

from dataclasses import replace

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Head
from controller.optics.field import Field
from controller.optics.outline import core_outline
from controller.planning.bands import band
from controller.planning.pose import start_yaw_deg
from controller.planning.region import Bounds
from controller.planning.rows import SMALLEST_MARGIN_RAD, reachable_deg


def reachable(field: Field, head: Head, wanted: Bounds, *, nadir_by_hand: bool) -> tuple[Bounds, float]:
    """The part of `wanted` that the head can cover, and how much is left out, in steradians.

    Raises InputError when nothing can be reached.
    """
    low, high = reachable_deg(field, max(-90.0, head.tilt.min_deg), min(90.0, head.tilt.max_deg))
    if nadir_by_hand:
        low = -90.0
    low, high = max(low, wanted.pitch_from_deg), min(high, wanted.pitch_to_deg)
    if low >= high:
        raise InputError(
            "the head's tilt limits (head.tilt.min_deg, head.tilt.max_deg) leave nothing of this region in reach."
        )
    found = replace(wanted, pitch_from_deg=low, pitch_to_deg=high)
    turn = head.pan.max_deg - head.pan.min_deg
    if turn < 360 and found.yaw_width_deg > turn:
        found = replace(found, yaw_from_deg=head.pan.min_deg % 360, yaw_width_deg=turn)
    return found, max(0.0, wanted.solid_angle_sr() - found.solid_angle_sr())


def turns_deg(head: Head, bounds: Bounds) -> tuple[float, float] | None:
    """How far the head turns either way, counted like the yaw of `bounds`; None where it turns all round."""
    low, high = head.pan.min_deg, head.pan.max_deg
    if high - low >= 360:
        return None
    middle = start_yaw_deg(bounds) + bounds.yaw_width_deg / 2
    whole = 360 * round((middle - (low + high) / 2) / 360)
    return low + whole, high + whole


def single_row(field: Field, head: Head, pitch_deg: float) -> Bounds:
    """The band of one complete row at `pitch_deg` with as few frames as close it.

    Raises InputError where the head cannot take that pitch, or one frame sees the pole and there is no row.
    """
    if not max(-90.0, head.tilt.min_deg) <= pitch_deg <= min(90.0, head.tilt.max_deg):
        raise InputError(f"the head's tilt limits do not allow a row at pitch {pitch_deg:g}.")
    pitch = np.radians([pitch_deg])
    for count in range(1, 20_000):
        low, high = band(
            core_outline(field), np.array([2 * np.pi / count]), pitch, np.zeros(1, dtype=int), SMALLEST_MARGIN_RAD
        )
        if low[0] < pitch[0] < high[0] or low[0] < high[0] == np.pi / 2:
            return Bounds(float(np.degrees(low[0])), float(np.degrees(high[0])))
    raise InputError(f"a row at pitch {pitch_deg:g} would need more than 20000 frames.")
