"""The contents of a session as values: runs, intents and outcomes, doubts, requests and happenings."""

from collections.abc import Container, Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Self

from controller.system.clock_trust import ClockTrust

AXES = ("pan", "tilt")
CAPTURE, REHEARSAL = "capture", "rehearsal"
"""The values of the fact `kind`: what a session records."""


BOARD_SHAPES = "board_shapes"
"""The fact, yes or no, that the board of the latest run shapes its ramps; absent in older sessions."""
YES, NO = "yes", "no"


class RunReason(StrEnum):
    """Why a run began."""

    BEGUN = "begun"
    """The first run of its session."""
    RESUMED = "resumed"
    """A command continued the session."""
    ZERO_SET = "zero set"
    """The previous run lost zero, and a person set it again."""


class Word(StrEnum):
    """A request to a run, as it is typed and as a session stores it."""

    PAUSE = "pause"
    PAUSE_AFTER_ROW = "pause-after-row"
    GO_ON = "go-on"
    RETAKE = "retake"
    """The only request that stays valid after the run that received it has ended."""
    STOP = "stop"
    HALT = "halt"
    YES = "yes"
    NO = "no"


class ShotOutcome(StrEnum):
    """How an exposure ended, as far as the host can claim it."""

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
    """The operator wants it again."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment by two clocks: monotonic nanoseconds, and UTC as ISO 8601."""

    at_ns: int
    utc: str


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of a session: the number of the first exposure that it could make, why it began, and how it ended.

    `began` is None if the time of day is not known, as in a rehearsal. `sentence` and `complete` are the run's verdict at
    its end; None while it is under way, or if it was killed. `ended_utc` is None also if it was not recorded.
    `began_after` and `ended_after` are the numbers of the latest sentence then; None in a session of version 6 or older.
    """

    first: int
    why: RunReason
    began: Moment | None
    ended_utc: str | None = None
    sentence: str | None = None
    complete: bool | None = None
    began_after: int | None = field(default=None, compare=False)
    ended_after: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class ClockRow:
    """The time of day at one moment of a run, and how far it could be believed: at its beginning, and after each change.

    `run` is the run's number in its session. Monotonic times compare within one `boot` of the computer, which is empty
    if unknown.
    """

    run: int
    at_ns: int
    utc: str
    trust: ClockTrust
    boot: str


@dataclass(frozen=True, slots=True)
class WalkRow:
    """How far a walk round the extremes went, in motor steps; everything was clear."""

    pan_from_steps: int
    pan_to_steps: int
    tilt_from_steps: int
    tilt_to_steps: int

    def covers(self, other: Self) -> bool:
        """Whether it went at least as far as `other`."""
        return (
            self.pan_from_steps <= other.pan_from_steps
            and self.pan_to_steps >= other.pan_to_steps
            and self.tilt_from_steps <= other.tilt_from_steps
            and self.tilt_to_steps >= other.tilt_to_steps
        )


@dataclass(frozen=True, slots=True)
class Intent:
    """One exposure about to be made: which one, where the axes were sent, and the command's id.

    `pan_deg` and `tilt_deg` are angles of the axes. The camera's pose differs from them if the head leans (see
    `program.kinematics`). They are None if the camera is held by hand. The commanded position is the same in motor steps;
    None also if the session is older than version 3.
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

    The reported position is where the board said the head was when the exposure ended, in motor steps. It is None if the
    board did not say, or if the session is older than version 3.
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
    """What a resumed run knows of the one before. `boot_id` is the board's boot that found zero, None if none did.

    `unchecked` holds, for each axis, the exposures made since its switch was last seen in place. `in_doubt` is the
    exposure without a known outcome: its command id, frame and number. `exposures` is how often the camera opened its
    shutter before that, None if unknown for some of them; `latest` is the frame of the latest row.
    """

    boot_id: int | None = None
    unchecked: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    in_doubt: tuple[int, int, int] | None = None
    exposures: int | None = 0
    latest: int | None = None


NOTHING = Remembered()


@dataclass(frozen=True, slots=True)
class DoubtRow:
    """Rows of this exposure up to number `upto` do not count, for this reason."""

    frame: int
    exposure: int
    upto: int
    why: DoubtReason


@dataclass(frozen=True, slots=True)
class Doubts:
    """The exposures that no longer count: the latest doubt of each, by frame and number."""

    latest: dict[tuple[int, int], DoubtRow]

    @classmethod
    def of(cls, rows: Iterable[DoubtRow]) -> Self:
        """The latest doubts of `rows`, which are in the order of writing."""
        return cls({(doubt.frame, doubt.exposure): doubt for doubt in rows})

    def against(self, frame: int, exposure: int, number: int) -> DoubtRow | None:
        """The doubt that applies to the row of this number, or None."""
        doubt = self.latest.get((frame, exposure))
        return doubt if doubt is not None and number <= doubt.upto else None

    def counting(self, shots: Iterable["ShotRow"]) -> list["ShotRow"]:
        """The rows to which no doubt applies."""
        return [row for row in shots if not self.against(row.intent.frame, row.intent.exposure, row.number)]


def with_requests(doubts: Iterable[DoubtRow], shots: Iterable[ShotRow], frames: Container[int]) -> list[DoubtRow]:
    """The doubts, and one more for each exposure that counts in these `frames`, because they are wanted again.

    A run does the same when it takes up a request to retake (`Session.doubt_frames`).
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
    """A request from another terminal: its word, the frames of a retake, and the number of the question answered."""

    wanted: str
    frames: tuple[int, ...] = ()
    question: int | None = None


class QuestionKind(StrEnum):
    """What a question is about, so that a window can show it well."""

    BY_HAND = "by hand"
    """A frame is to be shot by hand: somebody must aim the camera."""
    AT_HEAD = "at the head"
    """Only somebody who sees the head can answer it."""
    PLAIN = "plain"


@dataclass(frozen=True, slots=True)
class QuestionRow:
    """An open question. `asked_utc` and `kind` are None in a question of version 5 or older."""

    number: int
    words: str
    asked_utc: str | None
    kind: QuestionKind | None


@dataclass(frozen=True, slots=True)
class Happening:
    """One event of a run: when, the state that followed, and the event; `file` is the one that arrived."""

    at_ns: int
    state: str
    what: str
    frame: int | None
    file: str | None = None
