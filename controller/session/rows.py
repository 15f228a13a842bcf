"""What a session holds, as values: runs, intents and outcomes, doubts, requests, happenings, and what is remembered."""

from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Self

AXES = ("pan", "tilt")
CAPTURE, REHEARSAL = "capture", "rehearsal"
"""What a session may be the record of: the fact `kind`."""


class RunReason(StrEnum):
    """Why a run began."""

    BEGUN = "begun"
    """The first of its session."""
    RESUMED = "resumed"
    """A command went on with the session."""
    ZERO_SET = "zero set"
    """The run before had lost zero, and a person set it again."""


class Word(StrEnum):
    """What may be said to a run, as it is typed and as a session keeps it."""

    PAUSE = "pause"
    PAUSE_AFTER_ROW = "pause-after-row"
    GO_ON = "go-on"
    RETAKE = "retake"
    """The one request that is still good when the run that it was told to is over."""
    STOP = "stop"
    HALT = "halt"
    YES = "yes"
    NO = "no"


class ShotOutcome(StrEnum):
    """How an exposure ended, as the host may claim it."""

    CONFIRMED = "confirmed"
    ASSUMED = "assumed"
    UNCONFIRMED = "unconfirmed"
    INTERRUPTED = "interrupted"

    @property
    def made(self) -> bool:
        """Whether the exposure counts as made."""
        return self in {ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED}


class DoubtReason(StrEnum):
    """Why an exposure that was made does not count."""

    SUSPECT = "suspect"
    """The head may have pointed elsewhere."""
    RETAKE = "retake"
    """The operator wants it once more."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment by two clocks: monotonic nanoseconds, and UTC as ISO 8601."""

    at_ns: int
    utc: str


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of a session: the number of the first exposure that it could make, why it began, and how it ended.

    `began` is None if the time of day is not known, as in a rehearsal. `sentence` and `complete` are what the run said in
    the end; None if it is under way or was killed. `ended_utc` is None also if it was not noted.
    """

    first: int
    why: RunReason
    began: Moment | None
    ended_utc: str | None = None
    sentence: str | None = None
    complete: bool | None = None


@dataclass(frozen=True, slots=True)
class WalkRow:
    """How far a walk round the extremes went, in motor steps, after which everything was clear."""

    pan_from_steps: int
    pan_to_steps: int
    tilt_from_steps: int
    tilt_to_steps: int

    def covers(self, other: Self) -> bool:
        """Whether it went at least as far as the other."""
        return (
            self.pan_from_steps <= other.pan_from_steps
            and self.pan_to_steps >= other.pan_to_steps
            and self.tilt_from_steps <= other.tilt_from_steps
            and self.tilt_to_steps >= other.tilt_to_steps
        )


@dataclass(frozen=True, slots=True)
class Intent:
    """One exposure about to be made: what, where the axes were sent, and under which command.

    `pan_deg` and `tilt_deg` are angles of the axes, not the camera's pose, which a lean makes another (see
    `program.kinematics`); None if the camera is held by hand. The commanded position is the same in motor steps; None
    also if the session is older than version 3.
    """

    frame: int
    exposure: int
    attempt: int
    command_id: int
    pan_deg: float | None
    tilt_deg: float | None
    shutter_s: float
    commanded_pan_steps: int | None = None
    commanded_tilt_steps: int | None = None


@dataclass(frozen=True, slots=True)
class ShotRow:
    """One row of the session: an intent and, once it is known, its outcome.

    The reported position is where the board said that the head was when the exposure ended, in motor steps; None if it
    did not say, or the session is older than version 3.
    """

    number: int
    intent: Intent
    intended_ns: int
    outcome: ShotOutcome | None
    ended_ns: int | None
    board_clock_ms: int | None
    reported_pan_steps: int | None = None
    reported_tilt_steps: int | None = None


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a run that goes on knows of the one before: `boot_id` is the board's boot that found zero, None if none did.

    `unchecked` holds, for each axis, what was made since its switch was last seen in place; `in_doubt` is the exposure
    whose outcome was not heard of: its command id, frame and number. `exposures` is how often the camera opened its
    shutter before that, None where it is not known of some; `latest` the frame of the latest row.
    """

    boot_id: int | None = None
    unchecked: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    in_doubt: tuple[int, int, int] | None = None
    exposures: int | None = 0
    latest: int | None = None


NOTHING = Remembered()


@dataclass(frozen=True, slots=True)
class DoubtRow:
    """All rows of this exposure up to number `upto` do not count, for this reason."""

    frame: int
    exposure: int
    upto: int
    why: DoubtReason


@dataclass(frozen=True, slots=True)
class Doubts:
    """Which exposures do not count any more: the latest doubt of each, by frame and number."""

    latest: dict[tuple[int, int], DoubtRow]

    @classmethod
    def of(cls, rows: Iterable[DoubtRow]) -> Self:
        """The doubts, in their order."""
        return cls({(doubt.frame, doubt.exposure): doubt for doubt in rows})

    def against(self, frame: int, exposure: int, number: int) -> DoubtRow | None:
        """The doubt that the row of this number falls under, or None."""
        doubt = self.latest.get((frame, exposure))
        return doubt if doubt is not None and number <= doubt.upto else None

    def counting(self, shots: Iterable["ShotRow"]) -> list["ShotRow"]:
        """The rows that fall under no doubt."""
        return [row for row in shots if not self.against(row.intent.frame, row.intent.exposure, row.number)]


def with_requests(doubts: Iterable[DoubtRow], shots: Iterable[ShotRow], frames: Container[int]) -> list[DoubtRow]:
    """The doubts, and one more for each exposure that counts in these `frames`: they are wanted again.

    That is what a run makes of a request to retake when it takes it up (`Session.doubt_frames`).
    """
    found, shots = list(doubts), list(shots)
    doubted, upto = Doubts.of(found), max((shot.number for shot in shots), default=0)
    counting = {
        (shot.intent.frame, shot.intent.exposure)
        for shot in shots
        if shot.intent.frame in frames
        and shot.outcome is not None
        and shot.outcome.made
        and doubted.against(shot.intent.frame, shot.intent.exposure, shot.number) is None
    }
    return found + [DoubtRow(frame, exposure, upto, DoubtReason.RETAKE) for frame, exposure in sorted(counting)]


@dataclass(frozen=True, slots=True)
class RequestRow:
    """What somebody at another terminal wants: a word; the frames of a retake; the number of the question answered."""

    wanted: str
    frames: tuple[int, ...] = ()
    question: int | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """What happened to a run: when, the state that it is in since, and the event; `file` is the one that arrived."""

    at_ns: int
    state: str
    what: str
    frame: int | None
    file: str | None = None
