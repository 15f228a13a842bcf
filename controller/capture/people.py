"""The people who may be near the head: how they are warned, what they are asked, and how much time they get.

A head that moves without warning can hurt somebody. So the run treats people like the board: as a party that takes its
time, may not answer, and must be told before anything happens.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

from controller.session.talk_rows import SentenceKind
from protocol.units import NS

BY_KEYS, BY_REQUEST = "Ctrl-C", "A request to pause"
"""What people stop the head with: at the run's own terminal, or from another window."""
LEAD_AGAIN_NS = 5 * NS
"""The shortest warning before motion after an interruption: time to withdraw the hands. Common practice, no source."""
MOMENT_NS = 2 * NS
"""A warning older than this when the head could move is repeated. Common practice, no source."""
THEN_ENTER = ", then Enter"
"""The end of words that ask for nothing but Enter; where there is no such key, a button takes its place."""


@dataclass(frozen=True, slots=True)
class YesNoQuestion:
    """A question with the answer yes or no.

    `needs_person`: only somebody present can answer it, so `--yes` does not. `hold_deg` is the yaw and pitch at which to
    hold the camera by hand, if that is the question.
    """

    words: str
    needs_person: bool = False
    hold_deg: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Precautions:
    """What a run does for people before the head moves.

    `lead_ns`: the length of the first warning. `asks`: somebody is present to answer, so the run asks after an
    interruption in which a person was probably at the head. `always_asks`: it asks after every interruption.
    """

    lead_ns: int
    asks: bool = False
    always_asks: bool = False

    @property
    def lead_again_ns(self) -> int:
        """The length of later warnings."""
        return max(self.lead_ns, LEAD_AGAIN_NS)


@dataclass(slots=True)
class PeopleState:
    """What people were told during a run, and what is known of them. `care` is None if nobody can be near the head."""

    care: Precautions | None
    announced: bool
    """The gate is open: people were warned and had their time."""
    begun: bool = False
    """Whether this run has given its first warning."""
    question: YesNoQuestion | None = None
    """The latest question."""
    in_hand: bool = False
    """The camera is in somebody's hands, or was when last known."""
    person_seen: bool = False
    """Somebody was probably at the head since it stopped: a cable, the supply or a switch shows it."""
    opens_ns: int = 0
    """When the time of the latest warning is over."""
    may_move: bool = False
    """Somebody has allowed motion since the head stopped."""

    @property
    def asks_to_hold(self) -> bool:
        """Whether the question was if the camera is held for a frame by hand."""
        return self.question is not None and self.question.hold_deg is not None


class Lines(Protocol):
    """A source of typed lines."""

    def next_line(self) -> str | None:
        """The next whole line without its end, or None. Never waits."""

    def forget(self) -> None:
        """Drop everything typed so far, including an unfinished line."""


class NoLines:
    """Nobody types."""

    def next_line(self) -> str | None:
        """Return None: nobody types."""
        return None

    def forget(self) -> None:
        """Do nothing: there is nothing to drop."""


Keep = Callable[[SentenceKind, str, int | None], None]
"""Keeps a sentence that people are told: its kind, its words, and how long an announcement lasts, nanoseconds."""


@dataclass(frozen=True, slots=True)
class People:
    """The people who may be near the head, and how to reach them.

    `tell` and `say` are the only ways to tell them anything: both show the sentence (`show`) and keep it (`keep`).
    `ring` calls for attention, `lines` are what is typed. `at_terminal`: somebody can answer by typing.
    `through_session`: somebody can answer from another window, as late as it may be. `yes`: every question counts as
    answered, except those that need a person. `stops_by` is what they stop the head with, at the beginning of a sentence.
    """

    show: Callable[[str], None] = lambda _: None
    ring: Callable[[], None] = lambda: None
    lines: Lines = field(default_factory=NoLines)
    at_terminal: bool = False
    yes: bool = False
    lead_ns: int = 0
    ask_before_moving: bool = False
    through_session: bool = False
    keep: Keep = lambda *_: None
    stops_by: str = BY_KEYS

    def tell(self, words: str, kind: SentenceKind = SentenceKind.SAID, lasts_ns: int | None = None) -> None:
        """Tell people a sentence: show it and keep it."""
        self.show(words)
        self.keep(kind, words, lasts_ns)

    def say(self, words: str) -> None:
        """Tell people a sentence of no special kind."""
        self.tell(words)

    def announce(self, words: str, lasts_ns: int) -> None:
        """Tell people that the head moves in `lasts_ns`."""
        self.tell(words, SentenceKind.ANNOUNCED, lasts_ns)

    @property
    def can_answer(self) -> bool:
        """Whether somebody can answer a question."""
        return self.at_terminal or self.through_session

    @property
    def care(self) -> Precautions:
        """What a run does for these people."""
        return Precautions(self.lead_ns, asks=self.can_answer and not self.yes, always_asks=self.ask_before_moving)
