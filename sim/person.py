"""The operator as part of the world: reads the screen, answers in human time, and sometimes has hands at the head.

The program's sentences reach this person; typed lines come back, late, early or wrong. The world records when hands are
at the head, and the truth counts every motion that begins then without a warning: `unannounced_steps` must be zero. Like
the rest of the simulator this repeats exactly for a seed.
"""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

from protocol.units import MS, NS
from sim.head import SimulatedHead
from sim.motors import Motion

WARNING = re.compile(r"The head moves (?:in (\d+) s|now)")
QUESTION = "Type y or n, then Enter."
HOLD = re.compile(r"shot by hand: aim at yaw (-?[\d.]+)°, pitch (-?[\d.]+)°")
STANDS_STILL = ("Paused", "suspended", "Nothing moves until", "about to stop")
IN_TIME_S = 4.4
"""A warning counts if it came this long before the motion: 5 s are promised, rounded to whole seconds on the screen."""
REACHING_NS = 300 * MS  # a command already on its way to the board when somebody reaches out does not count
AT_ONCE_NS = 500 * MS
RUBBISH = ("", "yy", "ja", "what?", "go on", "pause-after", "3")


@dataclass(frozen=True, slots=True)
class PersonSpec:
    """How a person behaves. Times are drawn log-uniformly between two bounds; shares are probabilities."""

    answers_s: tuple[float, float] = (0.5, 120.0)
    leaves_s: tuple[float, float] = (0.3, 4.0)
    """From reading a warning to withdrawing the hands."""
    comes_share: float = 0.7
    """How often the person comes to a head that has stopped."""
    says_no_share: float = 0.1
    mistypes_share: float = 0.2
    types_ahead: int = 3
    """Number of lines typed at random times, without a question."""
    walks_away_share: float = 0.05
    """How often a question stays unanswered for half an hour."""
    commands: tuple[str, ...] = ()
    """Requests typed at random times."""
    within_s: float = 250.0
    """The time in which `types_ahead` and `commands` are typed."""


@dataclass(slots=True)
class Moved:
    """A motion that began within somebody's reach without a timely warning."""

    at_ns: int
    steps: int


@dataclass
class Person:
    """One operator. `now` is the world's clock; `wake` ends the host's wait at a given time, as a key press does."""

    spec: PersonSpec
    seed: int
    now: Callable[[], int]
    wake: Callable[[int], None]
    head: SimulatedHead
    read: list[tuple[int, str]] = field(default_factory=list)
    typed: list[tuple[int, str]] = field(default_factory=list)
    unannounced: list[Moved] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._random = Random(self.seed)
        self._lines: list[tuple[int, str]] = []
        self._near_ns: int | None = 0  # sets up the head at the beginning
        self._left_ns: int | None = None
        self._told_ns: int | None = None
        self._pressed_ns = -AT_ONCE_NS
        self._hold: tuple[float, float] | None = None
        self._motions: dict[str, Motion] = {}
        for _ in range(self.spec.types_ahead):
            self._type(self._random.choice(("y", "n", "", "y")), self._random.uniform(0, self.spec.within_s))
        for command in self.spec.commands:
            self._type(command, self._random.uniform(0, self.spec.within_s))

    @property
    def unannounced_steps(self) -> int:
        """Steps of all motions that began within somebody's reach without a warning."""
        return sum(moved.steps for moved in self.unannounced)

    # The screen.

    def say(self, sentence: str) -> None:
        """Show the person a sentence."""
        now = self.now()
        self.read.append((now, sentence))
        if WARNING.search(sentence):
            self._told_ns = now
            if self._near_ns is not None and self._near_ns > now:
                self._near_ns = None  # was about to come, and stays away
            elif self._left_ns is None:
                self._left_ns = now + self._drawn(self.spec.leaves_s)
        elif QUESTION in sentence:
            self._stand_by(now)
            self._answer(sentence)
        elif any(words in sentence for words in STANDS_STILL):
            self._stand_by(now)
            if sentence.startswith("Paused"):
                self._type(self._random.choice(("", "go-on")), self._drawn(self.spec.answers_s) / NS)

    def press(self) -> None:
        """Press a key that moves the head: the person expects the motion."""
        self._pressed_ns = self.now()

    def touch(self, now_ns: int) -> None:
        """Put hands at the head: press the stop switch, pull the cable, change the battery."""
        self._come(now_ns + REACHING_NS)

    def _stand_by(self, now: int) -> None:
        """Perhaps come and look, as the head has stopped."""
        if self._random.random() < self.spec.comes_share:
            self._come(now + round(self._random.uniform(1, 20) * NS))

    def _come(self, at_ns: int) -> None:
        if self._near_ns is None or (self._left_ns is not None and self._left_ns <= at_ns):
            self._near_ns = at_ns
        self._left_ns = self._told_ns = None

    def _answer(self, sentence: str) -> None:
        found = HOLD.search(sentence)
        self._hold = None if found is None else (float(found[1]), float(found[2]))
        after_s = self._drawn(self.spec.answers_s) / NS
        if self._random.random() < self.spec.walks_away_share:
            after_s += 1800
        if self._random.random() < self.spec.mistypes_share:
            self._type(self._random.choice(RUBBISH), after_s)
            after_s += self._drawn(self.spec.answers_s) / NS
        says_no = self._random.random() < self.spec.says_no_share
        self._type("n" if says_no else "y", after_s)

    # The keyboard.

    def next_line(self) -> str | None:
        """A whole line typed by now, or None."""
        if not self._lines or self._lines[0][0] > self.now():
            return None
        line = self._lines.pop(0)[1]
        self.typed.append((self.now(), line))
        if line == "y" and self._hold is not None:
            self.head.hold_by_hand(*self._hold)
            self._come(self.now())
            self._hold = None
        return line

    def forget(self) -> None:
        """Drop the lines typed by now."""
        self._lines = [(at_ns, line) for at_ns, line in self._lines if at_ns > self.now()]

    def _type(self, line: str, after_s: float) -> None:
        at_ns = self.now() + round(after_s * NS)
        self._lines.append((at_ns, line))
        self._lines.sort()
        self.wake(at_ns)

    def _drawn(self, bounds_s: tuple[float, float]) -> int:
        low, high = map(math.log, bounds_s)
        return round(math.exp(self._random.uniform(low, high)) * NS)

    # The head.

    def near(self, at_ns: int) -> bool:
        """Whether hands are within reach of the moving parts."""
        if self._near_ns is None or at_ns < self._near_ns:
            return False
        return self._left_ns is None or at_ns < self._left_ns

    def watch(self, head: SimulatedHead) -> None:
        """Look at the motors, and record motions that began without a warning."""
        for name, axis in (("pan", head.pan), ("tilt", head.tilt)):
            motion, before = axis.motion, self._motions.get(name)
            if motion is before:
                continue
            self._motions[name] = motion
            begin_ns = motion.begin_ns
            # A board searches for zero in phases without a pause between them: they are one motion.
            turning = before is not None and before.legs and before.end_ns >= begin_ns
            if turning or not motion.legs or not self.near(begin_ns):
                continue
            if begin_ns - self._pressed_ns < AT_ONCE_NS:
                continue  # started by this person's own key
            if self._told_ns is None or self._told_ns > begin_ns - IN_TIME_S * NS:
                self.unannounced.append(Moved(begin_ns, abs(motion.target - round(motion.steps_at(begin_ns)))))
