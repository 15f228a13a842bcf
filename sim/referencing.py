"""Finding zero with a half-turn flag on each axis: on from the true zero upward, off below it.

Seek upward until the flag is on, retreat until it is off, creep up until it is on again. The edge is always approached
slowly and from below, so it is found in the same place every time. Then return to it over the few steps of braking. No
phase turns an axis further than its bound. An axis that reaches its bound without the flag ends the run.
"""

import math
from collections.abc import Mapping
from enum import Enum, auto

from protocol.messages import Reference, SetAxis
from protocol.units import AxisId
from sim.axis import SimulatedAxis
from sim.motors import move, stop

MARGIN_PART, MARGIN_STEPS = 32, 32


def bound_steps(setting: SetAxis) -> int:
    """How far an axis may turn in one phase, in steps: its travel, including zero, and a little more."""
    travel = max(setting.max_steps, 0) - min(setting.min_steps, 0)
    return travel + travel // MARGIN_PART + MARGIN_STEPS


class Phase(Enum):
    """The phase of a reference run."""

    SEEK = auto()
    RETREAT = auto()
    CREEP = auto()
    HOME = auto()
    DONE = auto()
    FAILED = auto()


class ReferenceRun:
    """The run on one axis. `next_deadline` and `handle_deadline` drive it."""

    def __init__(
        self, axis: SimulatedAxis, now_ns: int, *, search: float, creep: float, accel: float, bound: int
    ) -> None:
        self._axis, self._accel, self._bound = axis, accel, bound
        self._speed = {Phase.SEEK: search, Phase.RETREAT: -search, Phase.CREEP: creep}
        self._braking = False
        self._edge_ns: int | None = None
        self._slips = axis.slips  # at the time when that edge was predicted
        self.zero_steps = round(axis.motion.steps_at(now_ns))
        """The first step at which the flag was seen on while creeping; without a flag, the present position."""
        self.known = not axis.spec.switch
        """Whether the edge was found, so that the position is known."""
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
        speed = self._speed[phase]
        motion = move(now_ns, start, start + round(math.copysign(self._bound, speed)), abs(speed), self._accel)
        self._axis.begin(motion)
        self._braking = False
        self._predict_edge()

    def _predict_edge(self) -> None:
        """Predict where and when the flag will change if the motor does not slip until then."""
        self._slips = self._axis.slips
        motion, up = self._axis.motion, self._speed[self.phase] > 0
        edge = self._axis.flag_edge_steps(up=up)
        start = motion.steps_at(motion.begin_ns)
        # After a slip the flag may already have the state that is searched for.
        self._edge_ns = motion.begin_ns if (start >= edge if up else start <= edge) else motion.when_at(edge)
        if self.phase is Phase.CREEP:
            self.zero_steps = math.ceil(max(edge, start))

    def next_deadline(self) -> int | None:
        """When the flag changes or the axis comes to rest; None when done or failed."""
        if self.phase in {Phase.DONE, Phase.FAILED}:
            return None
        if not self._braking and self._slips != self._axis.slips:
            self._predict_edge()
        return self._axis.motion.end_ns if self._braking or self._edge_ns is None else self._edge_ns

    def handle_deadline(self, now_ns: int) -> None:
        """Brake at the flag's edge; from rest, begin the next phase, or fail if there was no edge."""
        deadline = self.next_deadline()
        if deadline is None or now_ns < deadline:
            return
        if self._braking:
            order = list(Phase)
            self._begin(order[order.index(self.phase) + 1], now_ns)
        elif self._edge_ns is None:
            self.phase = Phase.FAILED
        else:
            self.known = self.phase is Phase.CREEP
            self._axis.begin(stop(self._axis.motion, now_ns, self._accel))
            self._braking = True


class Referencing:
    """A Reference under way, on both axes at once."""

    def __init__(
        self, command: Reference, now_ns: int, axes: Mapping[AxisId, SimulatedAxis], settings: Mapping[AxisId, SetAxis]
    ) -> None:
        searches = {AxisId.PAN: command.pan_search_steps_s, AxisId.TILT: command.tilt_search_steps_s}
        self._begin_ns = now_ns
        self._runs = {
            name: ReferenceRun(
                axes[name],
                now_ns,
                search=float(speed),
                creep=speed / command.creep_divisor,
                accel=settings[name].accel_steps_s2,
                bound=bound_steps(settings[name]),
            )
            for name, speed in searches.items()
        }

    def next_deadline(self) -> int:
        """When the next thing is due; without any switch everything is due at once."""
        moments = [at for run in self._runs.values() if (at := run.next_deadline()) is not None]
        return min(moments, default=self._begin_ns)

    def handle_deadline(self, now_ns: int) -> None:
        """Do what is due on both axes."""
        for run in self._runs.values():
            run.handle_deadline(now_ns)

    def zeros(self) -> dict[AxisId, int]:
        """Step 0 of the axes that have found their switch."""
        return {name: run.zero_steps for name, run in self._runs.items() if run.known}

    def phases(self) -> dict[AxisId, Phase]:
        """The phase of each axis."""
        return {name: run.phase for name, run in self._runs.items()}
