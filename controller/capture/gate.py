"""The gate: the one place through which every command passes that can start motion.

People are warned before the head moves. The gate opens when they were told why the head moves and the promised time has
passed. It shuts when the head stops for a reason that may bring hands to it: a pause, a question, a lost line. Sending a
command through a shut gate is a bug: the command is not sent, and the run ends.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

from controller.capture.people import BY_KEYS, BY_REQUEST, People
from protocol.messages import Arm, Move, Reference, Request
from protocol.units import NS

KEEPS_STILL, STOPS_HEAD = "keeps it still.", "stops the head."
STARTS_MOTION = (Arm, Reference, Move)


class Unannounced(Exception):
    """A command that can start motion was about to be sent without a warning: wrong use of the gate."""


@dataclass(frozen=True, slots=True)
class Announcement:
    """Why the head moves, and when people were warned (monotonic ns). The motion may begin at `opens_ns`."""

    why: str
    told_ns: int
    opens_ns: int


def without_keys(words: str) -> str:
    """Words about a motion without their last sentence, if that says how the run's own terminal prevents or stops it."""
    for by, does in product((BY_KEYS, BY_REQUEST), (KEEPS_STILL, STOPS_HEAD)):
        words = words.removesuffix(f"{by} {does}").rstrip()
    return words


class Gate:
    """`now` is the clock, `tell` announces a motion to people and how long until it, `ring` calls their attention.
    `stops_by` is what they prevent the motion with.
    """

    def __init__(
        self,
        now: Callable[[], int],
        tell: Callable[[str, int], None],
        ring: Callable[[], None] = lambda: None,
        *,
        stops_by: str = BY_KEYS,
    ) -> None:
        self._now, self._tell, self._ring = now, tell, ring
        self._keeps_still = f"{stops_by} {KEEPS_STILL}"
        self.announced: Announcement | None = None

    @classmethod
    def of(cls, people: People, now: Callable[[], int]) -> "Gate":
        """A gate that warns these people."""
        return cls(now, people.announce, people.ring, stops_by=people.stops_by)

    @classmethod
    def of_simulation(cls) -> "Gate":
        """A gate that is always open: for a simulated head, with nobody near it."""
        gate = cls(lambda: 0, lambda *_: None)
        gate.announced = Announcement("simulated", 0, 0)
        return gate

    def announce(self, why: str, lead_ns: int, *, what: str = "The head moves", to_stop: str | None = None) -> int:
        """Warn people what happens in `lead_ns`, why, and how to stop it. Returns the time when the gate opens."""
        now = self._now()
        self.announced = Announcement(why, now, now + lead_ns)
        if lead_ns > 0:
            self._ring()
        when = f"in {max(1, round(lead_ns / NS))} s" if lead_ns > 0 else "now"
        self._tell(f"{what} {when}: {why}. {to_stop or self._keeps_still}", lead_ns)
        return self.announced.opens_ns

    def shut(self) -> None:
        """Shut the gate until the next warning."""
        self.announced = None

    def check(self, request: Request) -> None:
        """Raise Unannounced for a command that can start motion, unless people were warned in time."""
        if not isinstance(request, STARTS_MOTION):
            return
        if self.announced is None:
            raise Unannounced(f"{type(request).__name__} without an announcement")
        if self._now() < self.announced.opens_ns:
            raise Unannounced(f"{type(request).__name__} before the time that was promised: {self.announced.why}")
