"""What the commonest move costs: from one frame to the next in its row."""

import math
from dataclasses import dataclass

from controller.kit.kit import Kit
from controller.program.arrival import Approach, Moves
from controller.program.build import plain_settings, to_steps
from controller.program.program import Settings
from controller.program.shapes import choose


@dataclass(frozen=True, slots=True)
class NeighbourMove:
    """A move of pan over `degrees`, of which the shaper takes `shaper_s`, and the wait after it; in seconds."""

    degrees: float
    turning_s: float
    shaper_s: float
    wait_s: float


def neighbour_move(kit: Kit, *, shaped: bool) -> NeighbourMove:
    """The move to the next frame of a level row, on a board that shapes its ramps or does not."""
    approach, settings = neighbour_ramps(kit, shaped=shaped)
    steps = approach.stops[-1][0]
    shapers = settings[0].shaper, settings[1].shaper
    took_s, wait_s = Moves(kit, settings, [approach]).seconds(shapers, approach.exposures)
    waited_s = float(wait_s[0]) if kit.head.settle_ms is None else kit.head.settle_ms / 1000
    return NeighbourMove(steps / kit.head.pan.steps_per_degree, float(took_s[0]), shapers[0].duration_ms / 1000, waited_s)


def neighbour_ramps(kit: Kit, *, shaped: bool) -> tuple[Approach, Settings]:
    """The way to the next frame of a level row, and the ramps and shapers with which it takes the least time.

    The step is two thirds of what the picture shows, as with an overlap of a third.
    """
    kit = kit.model_copy(update={"board": kit.board.model_copy(update={"shapes_ramps": shaped})})
    steps = to_steps(math.degrees(2 * kit.field(1 / 3).core_half_width_rad), kit.head.pan)
    approach = Approach(((0, 0), (steps, 0)), 0.0, ((0.0, max(kit.exposure.times_s)),))
    return approach, choose(kit, plain_settings(kit), [approach])
