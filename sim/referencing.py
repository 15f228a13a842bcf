"""Finding zero on one axis with a half-turn flag: on from the true zero upward, off below it.

Seek upward until the flag is on, retreat until it is off, creep up until it is on again: the edge is always
approached slowly and from below, so it is found in the same place every time. Then back to it over the few steps of
braking.
"""

import math
from enum import Enum, auto

from sim.axis import Axis
from sim.motors import move, stop

SEEK_DEG = 400.0


class Phase(Enum):
    """Where a reference run stands."""

    SEEK = auto()
    RETREAT = auto()
    CREEP = auto()
    HOME = auto()
    DONE = auto()


class ReferenceRun:
    """The run on one axis. `next_deadline` and `handle_deadline` drive it."""

    def __init__(self, axis: Axis, now_ns: int, search: float, creep: float, accel: float) -> None:
        self._axis, self._accel = axis, accel
        self._speed = {Phase.SEEK: search, Phase.RETREAT: -search, Phase.CREEP: creep}
        self._braking = False
        self._edge_ns: int | None = None
        self._slips = axis.slips  # when that edge was foreseen
        self.zero_steps = round(axis.motion.steps_at(now_ns))
        """The first step at which the flag was seen on, found by creeping; without a flag, where it stands."""
        if not axis.spec.switch:
            self.phase = Phase.DONE
            return
        self._begin(Phase.RETREAT if axis.flag_on(now_ns) else Phase.SEEK, now_ns)

    def _begin(self, phase: Phase, now_ns: int) -> None:
        self.phase = phase
        if phase is Phase.DONE:
            self._edge_ns = None
            return
        start = round(self._axis.motion.steps_at(now_ns))
        if phase is Phase.HOME:
            self._axis.begin(move(now_ns, start, self.zero_steps, self._speed[Phase.CREEP], self._accel))
            self._braking = True
            return
        far = round(SEEK_DEG * self._axis.steps_per_degree)
        speed = self._speed[phase]
        motion = move(now_ns, start, start + round(math.copysign(far, speed)), abs(speed), self._accel)
        self._axis.begin(motion)
        self._braking = False
        self._foresee()

    def _foresee(self) -> None:
        """Where and when the flag will change, if the motor does not slip until then."""
        self._slips = self._axis.slips
        motion, up = self._axis.motion, self._speed[self.phase] > 0
        edge = self._axis.flag_edge_steps(up=up)
        start = motion.steps_at(motion.begin_ns)
        # After a slip the flag may be as it is looked for already.
        self._edge_ns = motion.begin_ns if (start >= edge if up else start <= edge) else motion.when_at(edge)
        if self.phase is Phase.CREEP:
            self.zero_steps = math.ceil(max(edge, start))

    def next_deadline(self) -> int | None:
        """When the flag changes or the axis comes to rest; None when done."""
        if self.phase is Phase.DONE:
            return None
        if not self._braking and self._slips != self._axis.slips:
            self._foresee()
        return self._axis.motion.end_ns if self._braking else self._edge_ns

    def handle_deadline(self, now_ns: int) -> None:
        """Brake at the flag's edge; from rest, begin the next phase."""
        deadline = self.next_deadline()
        if deadline is None or now_ns < deadline:
            return
        if not self._braking:
            self._axis.begin(stop(self._axis.motion, now_ns, self._accel))
            self._braking = True
            return
        order = list(Phase)
        self._begin(order[order.index(self.phase) + 1], now_ns)
