"""One axis as it truly moves: pulses in, an angle out, with everything in between that can go wrong.

The board's pulses are a `Motion` in steps. The rotor follows them unless it stalls or slips. The play between rotor and
head is a hysteresis: the head rests until the rotor has crossed it. An off-centre gear adds an error that repeats once
per turn. The axis remembers each step that the head has made, for `sim.ringing`.
"""

import math
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from sim.events import Events, together
from sim.motors import Motion, at_rest
from sim.stretch import Gearing, PlateStretch
from sim.torque import Drive

# A motor rests on whole steps. A flag at zero changes between step -1 and step 0, at different places up and down.
FLAG_UP_STEPS, FLAG_DOWN_STEPS = -0.4, -0.6


@dataclass(frozen=True, slots=True)
class AxisSpec:
    """How the axis is built. Angles in degrees; `wobble_deg` is the amplitude of the error that repeats once per turn.

    `switch` says whether a flag marks its zero; `flag_scatter_deg` is the standard deviation of where the flag is seen to
    change. `limits_deg` is where the limit switches are, None if there are none. `drive` is the strength of the motor,
    None if it is unlimited. `jerk_deg_s3` limits the jerk of the board's ramps, None for ramps of constant acceleration.
    `ring_hz`, `ring_damping` and `ring_over_pitch` (rows of pitch in degrees and Hz) say how the camera swings about this
    axis if not as the head's figures say.
    """

    steps_per_degree: float
    play_deg: float = 0.0
    wobble_deg: float = 0.0
    flag_scatter_deg: float = 0.0
    limits_deg: tuple[float, float] | None = None
    drive: Drive | None = None
    jerk_deg_s3: float | None = None
    switch: bool = True
    ring_hz: float | None = None
    ring_damping: float | None = None
    ring_over_pitch: tuple[tuple[float, float], ...] = ()


class SimulatedAxis:
    """One axis: its motion now and earlier, its lost steps, and the blows that the camera got."""

    def __init__(self, spec: AxisSpec, steps: int, random: Random) -> None:
        self.spec = spec
        self.flag_deg = 0.0
        self.slips = 0  # how often the rotor has slipped
        self._random = random
        self._flag_was_on = False  # when the motion began
        gearing = Gearing(spec.steps_per_degree, spec.play_deg / 2, spec.wobble_deg)
        self._stretches = [PlateStretch(0, at_rest(steps), gearing, steps / spec.steps_per_degree)]
        self._kicks: list[tuple[int, float]] = []
        self._changed_ns: int | None = None

    @property
    def motion(self) -> Motion:
        """The latest motion of the pulses."""
        return self._stretches[-1].motion

    @property
    def steps_per_degree(self) -> float:
        """Microsteps per degree; another number is another gear from now on."""
        return self._stretches[-1].gearing.steps_per_degree

    @steps_per_degree.setter
    def steps_per_degree(self, steps_per_degree: float) -> None:
        latest = self._stretches[-1]
        self._stretches[-1] = replace(latest, gearing=replace(latest.gearing, steps_per_degree=steps_per_degree))

    # Actions of the board.

    def begin(self, motion: Motion) -> None:
        """Begin `motion` and drop the rest of the motion before it."""
        now_ns, latest = motion.begin_ns, self._stretches[-1]
        drive, lost = self.spec.drive, latest.behind(now_ns)
        stuck_ns = None if drive is None else drive.stalls_ns(motion, self.steps_per_degree)
        self._go_on(PlateStretch(now_ns, motion, latest.gearing, latest.head_deg(now_ns), lost, stuck_ns))
        self._flag_was_on = self.flag_on(now_ns)

    def jolt(self, now_ns: int) -> None:
        """End the pulses at once: the speed drops to zero instantly."""
        self.begin(at_rest(round(self.motion.steps_at(now_ns)), now_ns))

    def flag_edge_steps(self, *, up: bool) -> float:
        """The step of the pulses at which the flag at zero changes, on the way up or down."""
        half_play = self.spec.play_deg / 2 * (1 if up else -1)
        scatter = self._random.gauss(0, self.spec.flag_scatter_deg) if self.spec.flag_scatter_deg else 0.0
        edge = FLAG_UP_STEPS if up else FLAG_DOWN_STEPS
        lost = self._stretches[-1].lost_steps
        return edge + (self.flag_deg + half_play + scatter) * self.steps_per_degree + lost

    def flag_on(self, now_ns: int) -> bool:
        """Whether the half-turn flag at zero is on: the head is at zero or above."""
        return self._at(now_ns).head_deg(now_ns) >= self.flag_deg + FLAG_DOWN_STEPS / 2 / self.steps_per_degree

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
        lost = self._stretches[-1].lost_steps
        return self.motion.when_at((limit_deg + half_play) * self.steps_per_degree + lost)

    # Actions of the outside world.

    def lose(self, now_ns: int, steps: float) -> None:
        """Slip the rotor by so many steps against the pulses."""
        latest = self._stretches[-1]
        after = replace(latest, begin_ns=now_ns, rested_deg=latest.head_deg(now_ns), lost_steps=latest.lost_steps + steps)
        self._go_on(replace(after, rested_deg=after.head_deg(now_ns)))
        self.slips += 1

    def stall(self, now_ns: int) -> None:
        """Stop the rotor until the next motion."""
        latest = self._stretches[-1]
        if latest.stuck_ns is None:
            self._go_on(replace(latest, begin_ns=now_ns, rested_deg=latest.head_deg(now_ns), stuck_ns=now_ns))

    def kick(self, at_ns: int, deg_s: float) -> None:
        """Strike the camera: a sudden change of its speed."""
        self._kicks.append((at_ns, deg_s))
        self._note_change(at_ns)

    def _go_on(self, stretch: PlateStretch) -> None:
        self._stretches.append(stretch)
        self._note_change(stretch.begin_ns)

    def _note_change(self, at_ns: int) -> None:
        self._changed_ns = at_ns if self._changed_ns is None else min(self._changed_ns, at_ns)

    # The truth.

    def angle_deg(self, now_ns: int) -> float:
        """The angle of the plate, on which the camera swings; of an earlier time too, if it is not forgotten."""
        return self._at(now_ns).angle_deg(now_ns)

    def _at(self, now_ns: int) -> PlateStretch:
        return next((one for one in reversed(self._stretches) if one.begin_ns <= now_ns), self._stretches[0])

    @property
    def busy_until_ns(self) -> int:
        """When all that is known of now is over: the motion, a slip, the blows."""
        latest = self._stretches[-1]
        return max(latest.begin_ns, latest.motion.end_ns, *(at_ns for at_ns, _ in self._kicks), 0)

    def changes_after(self, after_ns: int) -> list[int]:
        """When, after that time, this axis began to do anything else."""
        return [one.begin_ns for one in self._stretches if one.begin_ns > after_ns]

    def take_change(self) -> int | None:
        """From when on this axis does anything else than it did at the last call; None if nothing has changed."""
        changed_ns, self._changed_ns = self._changed_ns, None
        return changed_ns

    def events(self, after_ns: int) -> Events:
        """All that makes the camera swing about this axis after that time: each step of the plate, and blows."""
        parts = []
        for before, one, following in zip(
            [None, *self._stretches], self._stretches, [*self._stretches[1:], None], strict=False
        ):
            until_ns = following.begin_ns if following is not None else max(one.motion.end_ns, one.begin_ns)
            if until_ns <= after_ns and following is not None:
                continue
            if before is not None and one.begin_ns > after_ns:
                slip = one.angle_deg(one.begin_ns) - before.angle_deg(one.begin_ns)
                parts.append(Events.of_jumps(np.array([one.begin_ns]), np.array([slip])))
            parts.append(one.jumps(after_ns, until_ns))
        kicks = [(at_ns, kick) for at_ns, kick in self._kicks if at_ns > after_ns]
        parts += [Events(np.array([at_ns]), np.zeros(1), np.array([kick])) for at_ns, kick in kicks]
        return together(parts)

    def forget(self, most: int) -> int:
        """Forget all but the latest stretches and blows, `most` of each. Returns since when everything is known."""
        del self._stretches[:-most], self._kicks[:-most]
        return self._stretches[0].begin_ns
