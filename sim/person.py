"""The operator as part of the world: reads the screen, answers in human time, and has hands at the head now and then.

Whatever the program shows reaches this person as sentences; what comes back is typed lines, late, early or wrong. The
world in turn knows when hands were at the head, and the truth counts every motion that began then without a warning:
`unannounced_steps` must be zero. Like the rest of the simulator this repeats exactly for a seed.
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
"""A warning counts if it came this long before the motion: 5 s were promised, rounded to whole seconds on the screen."""
REACHING_NS = 300 * MS  # what is on its way to the board already when somebody reaches out is not counted
AT_ONCE_NS = 500 * MS
RUBBISH = ("", "yy", "ja", "what?", "go on", "pause-after", "3")


@dataclass(frozen=True, slots=True)
class PersonSpec:
    """How somebody behaves. Times are drawn evenly in their logarithm between two bounds; shares are probabilities."""

    answers_s: tuple[float, float] = (0.5, 120.0)
    leaves_s: tuple[float, float] = (0.3, 4.0)
    """From reading a warning until the hands are away."""
    comes_share: float = 0.7
    """How often somebody comes to a head that stands still."""
    says_no_share: float = 0.1
    mistypes_share: float = 0.2
    types_ahead: int = 3
    """Lines that are typed at any time, without a question."""
    walks_away_share: float = 0.05
    """How often a question stays unanswered for half an hour."""
    commands: tuple[str, ...] = ()
    """Requests that are typed at any time."""
    within_s: float = 250.0
    """The time in which `types_ahead` and `commands` come."""


@dataclass(slots=True)
class Moved:
    """A motion that began while somebody was within reach and had not been told in time."""

    at_ns: int
    steps: int


@dataclass
class Person:
    """One operator. `now` is the world's clock; `wake` ends the host's wait at a moment, as a key press does."""

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
        self._near_ns: int | None = 0  # sets up the head when the world begins
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
        """Steps of all motions that began within somebody's reach unannounced."""
        return sum(moved.steps for moved in self.unannounced)

    # The screen.

    def say(self, sentence: str) -> None:
        """A sentence is shown."""
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
        """Press a key that moves the head: whoever does so knows that it moves."""
        self._pressed_ns = self.now()

    def touch(self, now_ns: int) -> None:
        """Press the stop switch, pull the cable, change the battery: hands are at the head."""
        self._come(now_ns + REACHING_NS)

    def _stand_by(self, now: int) -> None:
        """The head stands still: perhaps come and look."""
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
        """A whole line that was typed by now, or None."""
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
        """What was typed by now is dropped."""
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
        """Whether hands are within reach of what turns."""
        if self._near_ns is None or at_ns < self._near_ns:
            return False
        return self._left_ns is None or at_ns < self._left_ns

    def watch(self, head: SimulatedHead) -> None:
        """Look at the motors: has something begun to turn?"""
        for name, axis in (("pan", head.pan), ("tilt", head.tilt)):
            motion, before = axis.motion, self._motions.get(name)
            if motion is before:
                continue
            self._motions[name] = motion
            begin_ns = motion.begin_ns
            # A board goes from one phase of its search for zero to the next without a pause: that is one motion.
            turning = before is not None and before.legs and before.end_ns >= begin_ns
            if turning or not motion.legs or not self.near(begin_ns):
                continue
            if begin_ns - self._pressed_ns < AT_ONCE_NS:
                continue  # by this person's own key
            if self._told_ns is None or self._told_ns > begin_ns - IN_TIME_S * NS:
                self.unannounced.append(Moved(begin_ns, abs(motion.target - round(motion.steps_at(begin_ns)))))
