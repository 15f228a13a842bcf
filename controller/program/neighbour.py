"""What the commonest move costs: from one frame to the next in its row."""

import math
from dataclasses import dataclass

from controller.kit.kit import Kit
from controller.program.arrival import Approach, Moves, shapers_of
from controller.program.build import plain_settings, to_steps
from controller.program.program import Settings
from controller.program.shapes import choose

ROW = 12
"""Moves of the row by which ramps and shapers are chosen."""


@dataclass(frozen=True, slots=True)
class NeighbourMove:
    """A move of pan over `degrees`, of which the shaper takes `shaper_s`, and the wait after it; in seconds."""

    degrees: float
    turning_s: float
    shaper_s: float
    wait_s: float


def neighbour_move(kit: Kit, *, shaped: bool) -> NeighbourMove:
    """The move to the next frame of a level row, on a board that shapes its ramps or does not."""
    row, settings = neighbour_ramps(kit, shaped=shaped)
    shapers = shapers_of(settings)
    took_s, waits_s = Moves(kit, settings, row).seconds(shapers, row[-1].exposures)
    wait_s = float(waits_s[-1]) if kit.head.settle_ms is None else kit.head.settle_ms / 1000
    degrees = row[0].stops[-1][0] / kit.head.pan.steps_per_degree
    return NeighbourMove(degrees, float(took_s[-1]), shapers[0].duration_ms / 1000, wait_s)


def neighbour_ramps(kit: Kit, *, shaped: bool) -> tuple[list[Approach], Settings]:
    """The ways to the frames of a level row, and the ramps and shapers with which they take the least time.

    The step is two thirds of what the picture shows, as with an overlap of a third. The first way takes up the play; the
    others do not meet it.
    """
    kit = kit.with_board(shapes_ramps=shaped)
    steps = to_steps(math.degrees(2 * kit.field(1 / 3).core_half_width_rad), kit.head.pan)
    exposures = ((0.0, max(kit.exposure.times_s)),)
    row = [Approach(((each * steps, 0), ((each + 1) * steps, 0)), 0.0, exposures) for each in range(ROW)]
    return row, choose(kit, plain_settings(kit), row)
