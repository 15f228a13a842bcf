"""Poses of complete rows over a region."""

from dataclasses import dataclass

import numpy as np

from controller.optics.outline import core_outline
from controller.planning.bands import lean_rad
from controller.planning.region import Bounds
from controller.planning.rows import Row, Task


@dataclass(frozen=True, slots=True)
class Pose:
    """One aim of the camera. `row` counts from the top; free poses near the same pitch share a number."""

    row: int
    yaw_deg: float
    pitch_deg: float
    by_hand: bool = False


def poses_of_rows(rows: list[Row], task: Task) -> list[Pose]:
    """Row by row from the top, each from left to right.

    Angles are shares of the whole turn, never sums of steps, so a row closes without error. Over a part of the turn, each
    frame is in the middle of its share. A frame that is a row of its own is in the middle of the region.
    """
    poses, bounds, outline = [], task.bounds, core_outline(task.field)
    for number, row in enumerate(sorted(rows, key=lambda row: -row.pitch_deg)):
        whole_turn = bounds.yaw_width_deg >= 360
        lean_deg = float(np.degrees(lean_rad(outline, np.radians([row.pitch_deg]))[0]))
        first = 0.0 if whole_turn else bounds.yaw_width_deg / (2 * row.count) - lean_deg
        for i in range(row.count):
            yaw_deg = start_yaw_deg(bounds) + first + bounds.yaw_width_deg * i / row.count
            poses.append(Pose(number, yaw_deg, row.pitch_deg))
    return poses


def start_yaw_deg(bounds: Bounds) -> float:
    """The left edge of a region; for a part of the turn, within half a turn of straight ahead.

    So a window across zero is one stretch for the head: 350 to 10 degrees is -10 to 10.
    """
    if bounds.yaw_width_deg >= 360:
        return bounds.yaw_from_deg
    middle = bounds.yaw_from_deg + bounds.yaw_width_deg / 2
    return bounds.yaw_from_deg - 360 * round(middle / 360)
