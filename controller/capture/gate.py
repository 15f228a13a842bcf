"""The gate: the one place that every command passes which can start motion.

Words come before steps. The gate opens when people were told why the head moves and the time that they were promised
has passed. It shuts when the head stands still for a reason that may bring hands to it: a pause, a question, a line
that is gone. Whoever sends a command through a shut gate has a bug; nothing is sent then, and the run ends.
"""

from collections.abc import Callable
from dataclasses import dataclass

from controller.capture.people import People
from protocol.messages import Arm, Move, Reference, Request
from protocol.units import NS

STARTS_MOTION = (Arm, Reference, Move)


class Unannounced(Exception):
    """A command that can start motion was about to be sent before people were told: wrong use of the gate."""


@dataclass(frozen=True, slots=True)
class Announcement:
    """Why the head moves, and when people were told (monotonic ns). The motion may begin at `opens_ns`."""

    why: str
    told_ns: int
    opens_ns: int


class Gate:
    """`now` is the clock, `say` reaches the people and `ring` calls for their attention."""

    def __init__(
        self, now: Callable[[], int], say: Callable[[str], None], ring: Callable[[], None] = lambda: None
    ) -> None:
        self._now, self._say, self._ring = now, say, ring
        self.announced: Announcement | None = None

    @classmethod
    def of(cls, people: People, now: Callable[[], int]) -> "Gate":
        """A gate that tells these people."""
        return cls(now, people.say, people.ring)

    @classmethod
    def of_simulation(cls) -> "Gate":
        """A gate that stands open: for a simulated head, with nobody near it."""
        gate = cls(lambda: 0, lambda _: None)
        gate.announced = Announcement("simulated", 0, 0)
        return gate

    def announce(
        self, why: str, lead_ns: int, *, what: str = "The head moves", to_stop: str = "Ctrl-C keeps it still."
    ) -> int:
        """Tell people what happens in `lead_ns`, why and how to stop it; return the moment when the gate opens."""
        now = self._now()
        self.announced = Announcement(why, now, now + lead_ns)
        if lead_ns > 0:
            self._ring()
        when = f"in {max(1, round(lead_ns / NS))} s" if lead_ns > 0 else "now"
        self._say(f"{what} {when}: {why}. {to_stop}")
        return self.announced.opens_ns

    def shut(self) -> None:
        """Let nothing pass until it is announced again."""
        self.announced = None

    def check(self, request: Request) -> None:
        """Raise Unannounced for a command that can start motion, unless people were told in time."""
        if not isinstance(request, STARTS_MOTION):
            return
        if self.announced is None:
            raise Unannounced(f"{type(request).__name__} without an announcement")
        if self._now() < self.announced.opens_ns:
            raise Unannounced(f"{type(request).__name__} before the time that was promised: {self.announced.why}")
