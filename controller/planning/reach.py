"""The part of a region that the head's limits allow."""

from dataclasses import replace

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Head
from controller.optics.field import Field
from controller.optics.outline import core_outline
from controller.planning.bands import band
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.leaning import pitch_limits_deg
from controller.planning.reached_poses import poses_of
from controller.planning.region import Bounds
from controller.planning.row_poses import poses_of_rows
from controller.planning.rows import SMALLEST_MARGIN_RAD, Row, Task, reachable_deg

# A row's band is computed on some meridians only. If it is lower between them, the proof asks for a slightly smaller one.
ROW_MARGINS_RAD = (SMALLEST_MARGIN_RAD, *np.radians([0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 6.0]))


def reachable(field: Field, head: Head, wanted: Bounds, *, nadir_by_hand: bool) -> tuple[Bounds, float]:
    """The part of `wanted` that the head can cover, and the size of the rest, in steradians.

    Raises InputError if nothing can be reached.
    """
    low, high = reachable_deg(field, *pitch_limits_deg(head))
    if nadir_by_hand:
        low = -90.0
    low, high = max(low, wanted.pitch_from_deg), min(high, wanted.pitch_to_deg)
    if low >= high:
        raise InputError(
            "The head's tilt limits (head.tilt.min_deg, head.tilt.max_deg) put all of this region out of reach."
        )
    found = replace(wanted, pitch_from_deg=low, pitch_to_deg=high)
    turn = head.pan.max_deg - head.pan.min_deg
    if turn < 360 and found.yaw_width_deg > turn:
        found = replace(found, yaw_from_deg=head.pan.min_deg % 360, yaw_width_deg=turn)
    return found, max(0.0, wanted.solid_angle_sr() - found.solid_angle_sr())


def single_row(field: Field, head: Head, pitch_deg: float) -> tuple[Bounds, Row]:
    """The band of one complete row at `pitch_deg` with as few frames as cover it, and that row.

    Raises InputError if the head cannot reach that pitch, or if one frame sees the pole and there is no row.
    """
    lowest_deg, highest_deg = pitch_limits_deg(head)
    if not lowest_deg <= pitch_deg <= highest_deg:
        raise InputError(f"The head's tilt limits do not allow a row at pitch {pitch_deg:g}.")
    for margin_rad in ROW_MARGINS_RAD:
        count, bounds = _row_band(field, pitch_deg, margin_rad)
        task = Task(field, bounds, pitch_deg, pitch_deg)
        row = Row(count, pitch_deg)
        poses = poses_of_rows([row], task)
        if prove_coverage(cores_at(field, *poses_of(head, poses)), bounds).covered:
            break
    return bounds, row


def _row_band(field: Field, pitch_deg: float, margin_rad: float) -> tuple[int, Bounds]:
    """The fewest frames that complete a row, and the band that they cover with a margin."""
    pitch = np.radians([pitch_deg])
    for count in range(1, 20_000):
        low, high = band(core_outline(field), np.array([2 * np.pi / count]), pitch, np.zeros(1, dtype=int), margin_rad)
        if low[0] < pitch[0] < high[0] or low[0] < high[0] == np.pi / 2:
            return count, Bounds(float(np.degrees(low[0])), float(np.degrees(high[0])))
    raise InputError(f"A row at pitch {pitch_deg:g} would need more than 20000 frames.")
