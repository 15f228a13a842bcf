"""The people who may be near the head: how they are told, what they are asked, and how much time they get.

A head that moves unannounced can hurt somebody, so the run treats people as it treats the board: as a party that takes
its time, may not answer, and must be told before anything happens.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from protocol.units import NS

LEAD_AGAIN_NS = 5 * NS
"""The shortest warning before motion after an interruption: time to take the hands away. Common practice, no source."""
MOMENT_NS = 2 * NS
"""A warning that is older than this when the head could move is given again. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class YesNoQuestion:
    """A question that is answered by yes or no.

    `needs_person`: only somebody who is there can answer it, so `--yes` does not. `hold_deg` is the yaw and pitch at
    which the camera is to be held by hand, if that is what is asked.
    """

    words: str
    needs_person: bool = False
    hold_deg: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Care:
    """What a run does for people before the head moves.

    `lead_ns`: how long the first warning lasts. `asks`: somebody is there to answer, so after an interruption in which a
    person was probably at the head the run asks. `always_asks`: it asks after every interruption.
    """

    lead_ns: int
    asks: bool = False
    always_asks: bool = False

    @property
    def lead_again_ns(self) -> int:
        """How long later warnings last."""
        return max(self.lead_ns, LEAD_AGAIN_NS)


@dataclass(slots=True)
class Heed:
    """What people were told while a run goes on, and what is known of them. `care` is None where nobody can be near."""

    care: Care | None
    announced: bool
    """The gate is open: they were told that the head moves, and had their time."""
    begun: bool = False
    """The first announcement of this run was made."""
    question: YesNoQuestion | None = None
    """What was asked last."""
    in_hand: bool = False
    """The camera is, or was last, in somebody's hands."""
    person_seen: bool = False
    """Somebody was probably at the head since it stood still: a cable, the supply or a switch."""
    opens_ns: int = 0
    """When the time of the latest announcement is over."""
    may_move: bool = False
    """Somebody has said so since it stood still."""

    @property
    def asks_to_hold(self) -> bool:
        """The question was whether the camera is held for a frame by hand."""
        return self.question is not None and self.question.hold_deg is not None


class Lines(Protocol):
    """Lines that somebody types."""

    def next_line(self) -> str | None:
        """The next whole line without its end, or None. Never waits."""

    def forget(self) -> None:
        """Drop everything typed so far, also what has no end yet."""


class NoLines:
    """Nobody types."""

    def next_line(self) -> str | None:
        """None."""
        return None

    def forget(self) -> None:
        """There is nothing to drop."""


@dataclass(frozen=True, slots=True)
class People:
    """Who may be near the head, and how to reach them.

    `say` shows a sentence, `ring` calls for attention, `lines` is what is typed. `at_terminal`: somebody can answer by
    typing. `yes`: every question counts as answered, but for those that need a person.
    """

    say: Callable[[str], None] = lambda _: None
    ring: Callable[[], None] = lambda: None
    lines: Lines = field(default_factory=NoLines)
    at_terminal: bool = False
    yes: bool = False
    lead_ns: int = 0
    ask_before_moving: bool = False

    @property
    def care(self) -> Care:
        """What a run does for them."""
        return Care(self.lead_ns, asks=self.at_terminal and not self.yes, always_asks=self.ask_before_moving)
