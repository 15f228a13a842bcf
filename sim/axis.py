"""One axis as it truly moves: pulses in, an angle out, with everything in between that can go wrong.

The board's pulses are a `Motion` in steps. The rotor follows them unless it stalls or slips. The play between rotor and
head is a hysteresis: the head rests until the rotor has crossed it. An off-centre gear adds an error that repeats once
per turn. The axis also keeps the changes of speed that still ring, for `SimulatedHead` to add up.
"""

import math
from collections import deque
from dataclasses import dataclass
from random import Random

from protocol.units import NS
from sim.motors import Motion, at_rest
from sim.torque import Drive

REMEMBERED_MOTIONS = 4  # that may still ring; each complete, since only the steps of a complete motion add up to zero
# A motor rests on whole steps. A flag at zero changes between step -1 and step 0, at different places up and down.
FLAG_UP_STEPS, FLAG_DOWN_STEPS = -0.4, -0.6


@dataclass(frozen=True, slots=True)
class AxisSpec:
    """How the axis is built. Angles in degrees; `wobble_deg` is the amplitude of the error that repeats once per turn.

    `switch` says whether a flag marks its zero; `flag_scatter_deg` is the standard deviation of where the flag is seen to
    change. `limits_deg` is where the limit switches are, None if there are none. `drive` is the strength of the motor,
    None if it is unlimited. `jerk_deg_s3` limits the jerk of the board's ramps, None for ramps of constant acceleration.
    """

    steps_per_degree: float
    play_deg: float = 0.0
    wobble_deg: float = 0.0
    flag_scatter_deg: float = 0.0
    limits_deg: tuple[float, float] | None = None
    drive: Drive | None = None
    jerk_deg_s3: float | None = None
    switch: bool = True


class SimulatedAxis:
    """One axis: its motion, its lost steps, and the acceleration steps of the latest motions, which may still ring."""

    def __init__(self, spec: AxisSpec, steps: int, random: Random) -> None:
        self.spec = spec
        self.steps_per_degree = spec.steps_per_degree
        self.motion: Motion = at_rest(steps)
        self.flag_deg = 0.0
        self.slips = 0  # how often the rotor has slipped
        self._random = random
        self._lost_steps = 0.0  # how far the rotor is behind the pulses
        self._stuck_ns: int | None = None  # since when it has not followed
        self._rested_deg = steps / spec.steps_per_degree  # the head's position when the motion began
        self._flag_was_on = False  # at that moment
        self._shaken: deque[list[tuple[int, float]]] = deque(maxlen=REMEMBERED_MOTIONS)
        self._jolts: deque[tuple[int, float]] = deque(maxlen=REMEMBERED_MOTIONS)

    # Actions of the board.

    def begin(self, motion: Motion) -> None:
        """Begin `motion` and drop the rest of the motion before it."""
        now_ns = motion.begin_ns
        self._rested_deg = self._head_deg(now_ns)
        if self._stuck_ns is not None:
            self._lost_steps = self._behind(now_ns)
            self._stuck_ns = None
        latest = self._shaken[-1] if self._shaken else []
        undone = 0.0
        while latest and latest[-1][0] >= now_ns:
            undone += latest.pop()[1]
        if undone:  # it was accelerating when it was cut short
            latest.append((now_ns, undone))
        changes = [(at_ns, change / self.steps_per_degree) for at_ns, change in motion.accelerations()]
        if changes:
            self._shaken.append(changes)
        self.motion = motion
        self._flag_was_on = self.flag_on(now_ns)
        if self.spec.drive is not None:
            self._stuck_ns = self.spec.drive.stalls_ns(motion, self.steps_per_degree)

    def jolt(self, now_ns: int) -> None:
        """End the pulses at once: the speed drops to zero instantly."""
        self._jolts.append((now_ns, -self.motion.speed_at(now_ns) / self.steps_per_degree))
        self.begin(at_rest(round(self.motion.steps_at(now_ns)), now_ns))

    def flag_edge_steps(self, *, up: bool) -> float:
        """The step of the pulses at which the flag at zero changes, on the way up or down."""
        half_play = self.spec.play_deg / 2 * (1 if up else -1)
        scatter = self._random.gauss(0, self.spec.flag_scatter_deg) if self.spec.flag_scatter_deg else 0.0
        edge = FLAG_UP_STEPS if up else FLAG_DOWN_STEPS
        return edge + (self.flag_deg + half_play + scatter) * self.steps_per_degree + self._lost_steps

    def flag_on(self, now_ns: int) -> bool:
        """Whether the half-turn flag at zero is on: the head is at zero or above."""
        return self._head_deg(now_ns) >= self.flag_deg + FLAG_DOWN_STEPS / 2 / self.steps_per_degree

    def flag_change(self, now_ns: int) -> tuple[int, bool, bool] | None:
        """Where the motion under way has made the flag change by now: the step, whether upward, whether it turned on."""
        if not self.spec.switch or not self.motion.legs:
            return None
        on = self.flag_on(now_ns)
        if on == self._flag_was_on:
            return None
        up = self.motion.target > self.motion.legs[0].steps
        edge = self.flag_edge_steps(up=up)
        return (math.ceil(edge) if up else math.floor(edge)), up, on

    def limit_met_ns(self) -> int | None:
        """When the motion under way reaches a limit switch, None if it does not."""
        if self.spec.limits_deg is None or not self.motion.legs:
            return None
        up = self.motion.target > self.motion.legs[0].steps
        limit_deg = self.spec.limits_deg[1] if up else self.spec.limits_deg[0]
        half_play = self.spec.play_deg / 2 * (1 if up else -1)
        return self.motion.when_at((limit_deg + half_play) * self.steps_per_degree + self._lost_steps)

    # Actions of the outside world.

    def lose(self, steps: float) -> None:
        """Slip the rotor by so many steps against the pulses."""
        self._lost_steps += steps
        self.slips += 1

    def stall(self, now_ns: int) -> None:
        """Stop the rotor until the next motion."""
        if self._stuck_ns is None:
            self._stuck_ns = now_ns

    def kick(self, at_ns: int, deg_s: float) -> None:
        """Strike the camera: a sudden change of speed."""
        self._jolts.append((at_ns, deg_s))

    # The truth.

    def angle_deg(self, now_ns: int) -> float:
        """The head's angle without ringing."""
        angle = self._head_deg(now_ns)
        if self.spec.wobble_deg:
            angle += self.spec.wobble_deg * math.sin(math.radians(angle))
        return angle

    def _behind(self, now_ns: int) -> float:
        if self._stuck_ns is None or now_ns <= self._stuck_ns:
            return self._lost_steps
        stuck = round(self.motion.steps_at(self._stuck_ns))
        return self._lost_steps + round(self.motion.steps_at(now_ns)) - stuck

    def _head_deg(self, now_ns: int) -> float:
        rotor_deg = (round(self.motion.steps_at(now_ns)) - self._behind(now_ns)) / self.steps_per_degree
        half_play = self.spec.play_deg / 2
        return min(max(self._rested_deg, rotor_deg - half_play), rotor_deg + half_play)

    def shakes(self, now_ns: int) -> list[tuple[float, float]]:
        """Steps of acceleration up to now: (seconds ago, change in degrees/s^2)."""
        return [
            ((now_ns - at_ns) / NS, change) for changes in self._shaken for at_ns, change in changes if at_ns <= now_ns
        ]

    def jolts(self, now_ns: int) -> list[tuple[float, float]]:
        """Sudden changes of speed up to now: (seconds ago, change in degrees/s)."""
        return [((now_ns - at_ns) / NS, change) for at_ns, change in self._jolts if at_ns <= now_ns]
