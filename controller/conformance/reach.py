"""How far and how fast the rules may turn each axis, in motor steps; the head need not be known."""

import math
from dataclasses import dataclass
from typing import Final

from controller.kit.kit import Axis, Kit
from controller.program.build import SEARCH_SHARE
from controller.program.timing import axis_speed, motion_ns
from protocol.units import NS

SMALL_STEPS: Final = 400
"""How far a rule with motion turns either axis: a few degrees at most on any usual head."""
SPEED: Final = 400
"""Steps/s of these moves, and of the search for zero without a kit."""
RAMP_S: Final = 0.5
UNKNOWN_STEPS: Final = 4_000
"""How far either way zero is searched without a kit: about ten degrees on a head with fine steps, a third of a turn on
one with coarse steps. More would wind up the cables of the latter.
"""
CREEP_DIVISOR: Final = 10


@dataclass(frozen=True, slots=True)
class AxisReach:
    """Limits of one axis in steps and its search speed in steps/s; `steps_per_degree` is None without a kit."""

    min_steps: int = -UNKNOWN_STEPS
    max_steps: int = UNKNOWN_STEPS
    search_steps_s: int = SPEED
    steps_per_degree: float | None = None

    @property
    def accel_steps_s2(self) -> int:
        """A ramp that reaches the search speed in half a second."""
        return max(1, round(self.search_steps_s / RAMP_S))

    @property
    def bound_steps(self) -> int:
        """How far one phase of the search may turn it (protocol/SPEC.md, Reference)."""
        travel = max(self.max_steps, 0) - min(self.min_steps, 0)
        return travel + travel // 32 + 32

    @property
    def search_s(self) -> float:
        """The longest search for zero: over the bound, and twice that over braking, back and creeping."""
        way = self.search_steps_s * RAMP_S / 2  # of braking
        far_s = motion_ns(self.bound_steps, self.search_steps_s, self.accel_steps_s2) / NS
        return far_s + 8 * RAMP_S + way / (self.search_steps_s / CREEP_DIVISOR) * 2

    @property
    def known(self) -> bool:
        """Whether a kit gives the limits of the head."""
        return self.steps_per_degree is not None

    def words(self) -> str:
        """How far the search may go, in words."""
        if self.steps_per_degree is None:
            return f"up to {self.bound_steps:,} steps at {self.search_steps_s} steps/s"
        bound_deg, speed_deg_s = (n / self.steps_per_degree for n in (self.bound_steps, self.search_steps_s))
        return f"up to {bound_deg:.0f} degrees at {speed_deg_s:.1f} degrees/s"


@dataclass(frozen=True, slots=True)
class Reach:
    """The reach of both axes."""

    pan: AxisReach = AxisReach()
    tilt: AxisReach = AxisReach()

    @property
    def search_s(self) -> float:
        """The longest search for zero on both axes, in seconds."""
        return max(self.pan.search_s, self.tilt.search_s)


def reach_of(kit: Kit) -> Reach:
    """The reach of the head in a kit, at its search speed."""
    return Reach(*(_axis_reach(axis, kit.board.max_step_rate_hz) for axis in (kit.head.pan, kit.head.tilt)))


def _axis_reach(axis: Axis, max_step_rate_hz: int) -> AxisReach:
    per_degree = axis.steps_per_degree
    search = max(1, round(axis_speed(axis, max_step_rate_hz) * SEARCH_SHARE))
    return AxisReach(math.floor(axis.min_deg * per_degree), math.ceil(axis.max_deg * per_degree), search, per_degree)
