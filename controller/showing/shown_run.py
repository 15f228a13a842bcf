"""What a person is shown of a run, from its session alone: every window shows the same, on any device, at any time."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any

from controller import clock
from controller.amounts import duration
from controller.capture.events import EventKind
from controller.capture.gate import without_keys
from controller.capture.states import RunState
from controller.capture.words.run import (
    GETTING_READY,
    HEAD_MOVES,
    NO_END,
    NO_RUN,
    PAUSED_NOW,
    PAUSES,
    PLANNED_PAUSE,
    doing_sentence,
)
from controller.errors import StorageFailed
from controller.lock import in_use
from controller.planning.plan import Plan
from controller.session.rows import DoubtReason, Doubts, QuestionRow, RunRow
from controller.session.session import Session
from controller.session.talk_rows import PulseRow, SentenceKind, SentenceRow
from protocol.units import NS

LATEST = 50  # sentences


class FrameStanding(StrEnum):
    """How far a frame is."""

    MADE = "made"
    BEGUN = "begun"
    """Some exposures of its bracket are made."""
    MISSING = "missing"
    SUSPECT = "suspect"
    """It was made, but the head may have pointed elsewhere."""
    WANTED_AGAIN = "wanted again"
    """It was made, and somebody asked for it again."""


@dataclass(frozen=True, slots=True)
class ShownFrame:
    """One frame of the plan. `made` of `of` exposures count; `current`: the run is at it now."""

    id: int
    yaw_deg: float
    pitch_deg: float
    pass_number: int
    by_hand: bool
    made: int
    of: int
    standing: FrameStanding
    current: bool


@dataclass(frozen=True, slots=True)
class ShownMotion:
    """An announced motion that has not begun: its words, when it may begin (UTC), and in how many seconds.

    The words leave out how the run's own terminal prevents it: every window must say how it does itself.
    """

    words: str
    opens_utc: str
    left_s: float


@dataclass(frozen=True, slots=True)
class ShownWarning:
    """The last warning, and when it was given (UTC)."""

    words: str
    at_utc: str
    fault: bool
    """Whether the run ended because of it."""


@dataclass(frozen=True, slots=True)
class ShownLine:
    """Frames sent over the line so far, and how many were repeated or damaged."""

    sent: int
    repeated: int
    damaged: int


@dataclass(frozen=True, slots=True)
class ShownEnd:
    """How the latest run ended."""

    sentence: str
    complete: bool


@dataclass(frozen=True, slots=True)
class ShownRun:
    """A run as a person is shown it. Times are UTC, ISO 8601; None if not known or not under way.

    `active`: a program works on the session now. `state` is empty before the first run and while one is prepared; of a
    run that is over it is the last one. `doing` is one sentence. `made` and `total` count exposures. `used_s` and
    `used_wh` are of all runs of the session, `battery_s` since the latest planned pause; None if none is planned.
    """

    session: str
    active: bool
    state: str
    doing: str
    made: int
    total: int
    frames: tuple[ShownFrame, ...]
    began_utc: str | None
    left_s: float | None
    ends_utc: str | None
    question: QuestionRow | None
    announced: ShownMotion | None
    warning: ShownWarning | None
    pause: str
    line: ShownLine | None
    supply_low: bool | None
    gusts: bool | None
    used_s: float
    used_wh: float | None
    battery_s: float | None
    ended: ShownEnd | None
    sentences: tuple[SentenceRow, ...]


def shown_run(session: Session, plan: Plan) -> ShownRun:
    """What the session says of its run now. Raises StorageFailed."""
    return _at_now(_read(session, plan), active=is_active(session.path))


def as_json(shown: ShownRun) -> dict[str, Any]:
    """The same as objects of JSON."""
    return asdict(shown)


def is_active(session: Path) -> bool:
    """Whether a program works on the session of this file now; false also if that cannot be found out."""
    try:
        return in_use(session)
    except StorageFailed:
        return False


class RunWindow:
    """A window on the run of a session, to be looked through again and again. It reads only what has changed."""

    def __init__(self, session: Session, plan: Plan) -> None:
        self._session, self._plan = session, plan
        self._version: int | None = None
        self._facts: _Facts | None = None

    def look(self) -> ShownRun:
        """What the session says of its run now. Raises StorageFailed; SessionGone if the file is no longer there."""
        active = is_active(self._session.path)  # asked first: the end that is read afterwards is then the last one
        version = self._session.data_version()
        if self._facts is None or version != self._version:
            self._facts, self._version = _read(self._session, self._plan), version
        self._session.must_be_there()
        return _at_now(self._facts, active=active)


@dataclass(frozen=True, slots=True)
class _Facts:
    """What was read, as if a run were active, and what depends on the moment of looking."""

    shown: ShownRun
    announced: SentenceRow | None
    preparing: bool
    end: ShownEnd | None


def _read(session: Session, plan: Plan) -> _Facts:
    with session.at_one_moment():
        latest, runs, pulse = session.latest_happening(), session.runs(), session.pulse()
        sentences = tuple(session.sentences(latest=LATEST))
        preparing = _is_prepared(runs, sentences, session.last_sentence(SentenceKind.CHECK))
        state = "" if latest is None else latest.state
        at = None if latest is None else latest.frame
        frames = _frames(session, plan, at)
        run = runs[-1] if runs else None
        began_utc = None if run is None or run.began is None else run.began.utc
        shown = ShownRun(
            session=session.path.name,
            active=True,
            state=state,
            doing=_doing(state, at),
            made=sum(frame.made for frame in frames),
            total=sum(frame.of for frame in frames),
            frames=frames,
            began_utc=began_utc,
            left_s=None,
            ends_utc=None,
            question=session.asked(),
            announced=None,
            warning=_warning(session, run),
            pause=PAUSES[None],
            line=None,
            supply_low=None,
            gusts=None,
            used_s=0.0,
            used_wh=None,
            battery_s=None,
            ended=None,
            sentences=sentences,
        )
        end = None if run is None or run.sentence is None else ShownEnd(run.sentence, bool(run.complete))
        announced = session.last_sentence(SentenceKind.ANNOUNCED)
    return _Facts(_with_figures(shown, pulse), announced, preparing, end)


def _doing(state: str, at: int | None) -> str:
    return doing_sentence(RunState(state), at) if state else GETTING_READY


def _doing_before(shown: ShownRun) -> str:
    """What is done before the run begins: as the latest sentence says, if it is about what happens now."""
    if shown.question is not None:
        return doing_sentence(RunState.ASKING, None)
    latest = shown.sentences[-1] if shown.sentences else None
    if latest is None or latest.kind not in {SentenceKind.SAID, SentenceKind.ANNOUNCED}:
        return GETTING_READY
    return HEAD_MOVES if latest.kind is SentenceKind.ANNOUNCED else without_keys(latest.words)


def _is_prepared(runs: list[RunRow], sentences: Sequence[SentenceRow], checked: SentenceRow | None) -> bool:
    """Whether the next run is being prepared, if a program works on the session.

    It has told something since the latest run ended, or has made its checks since that one began and was killed.
    """
    if not runs:
        return True
    run = runs[-1]
    if run.sentence is not None and run.ended_utc is not None:
        return bool(sentences) and _is_after(sentences[-1], run.ended_after, run.ended_utc)
    return checked is not None and run.began is not None and _is_after(checked, run.began_after, run.began.utc)


def _is_after(told: SentenceRow, number: int | None, utc: str) -> bool:
    """Whether a sentence came later than a moment: by their numbers if known, since the time of day may jump."""
    return told.at_utc > utc if number is None else told.number > number


def _with_figures(shown: ShownRun, pulse: PulseRow | None) -> ShownRun:
    if pulse is None:
        return shown
    left_s = pulse.left_ns / NS
    return replace(
        shown,
        used_s=round(pulse.used_s, 1),
        used_wh=_rounded(pulse.used_wh, 2),
        battery_s=_rounded(pulse.battery_s, 1),
        left_s=round(left_s, 1),
        ends_utc=_later(pulse.at_utc, left_s),
        pause=_next_pause(shown.state, pulse),
        line=ShownLine(pulse.sent, pulse.repeated, pulse.damaged),
        supply_low=_flag(pulse.supply_low),
        gusts=_flag(pulse.gusts),
    )


def _next_pause(state: str, pulse: PulseRow) -> str:
    if state == RunState.PAUSED:
        return PAUSED_NOW
    if pulse.pause is None and pulse.pause_in_s is not None:
        return PLANNED_PAUSE.format(left=duration(pulse.pause_in_s))
    return PAUSES[_pause(pulse.pause)]


def _at_now(facts: _Facts, *, active: bool) -> ShownRun:
    """What was read, at this moment: with the time until the announced motion, or as left behind by the latest run."""
    shown = facts.shown
    if active and facts.preparing:
        shown = replace(_at_no_frame(shown), line=None, warning=None, began_utc=None)
        return replace(shown, state="", doing=_doing_before(shown), announced=_announced(facts))
    if active and facts.end is None:
        return replace(shown, announced=_announced(facts))
    # A run that ended leaves its last state; one that was killed leaves a state that is true no more.
    left_off = NO_RUN if shown.began_utc is None else NO_END
    doing = left_off if facts.end is None else facts.end.sentence
    return replace(_at_no_frame(shown), active=active, doing=doing, question=None, ended=facts.end)


def _at_no_frame(shown: ShownRun) -> ShownRun:
    """The run without what is true only while it moves from frame to frame."""
    frames = tuple(replace(frame, current=False) if frame.current else frame for frame in shown.frames)
    return replace(shown, frames=frames, left_s=None, ends_utc=None, pause=PAUSES[None])


def _announced(facts: _Facts) -> ShownMotion | None:
    told = facts.announced
    if told is None or not (facts.preparing or facts.shown.state == RunState.WARNING):
        return None
    opens = _later(told.at_utc, (told.lasts_ns or 0) / NS)
    left_s = (datetime.fromisoformat(opens) - clock.wall_moment()).total_seconds()
    return ShownMotion(without_keys(told.words), opens, round(left_s, 1)) if left_s > 0 else None


def _warning(session: Session, run: RunRow | None) -> ShownWarning | None:
    """The last warning or fault since a run began."""
    found = [session.last_sentence(kind) for kind in (SentenceKind.WARNING, SentenceKind.FAULT)]
    told = max((one for one in found if one is not None), key=lambda one: one.number, default=None)
    if told is None:
        return None
    if run is not None and run.began is not None:
        number = run.began_after
        if told.at_utc < run.began.utc if number is None else told.number <= number:
            return None
    return ShownWarning(told.words, told.at_utc, told.kind is SentenceKind.FAULT)


def _frames(session: Session, plan: Plan, at: int | None) -> tuple[ShownFrame, ...]:
    """Every frame of the plan with its standing."""
    counting, again = session.made(), session.wanted_again()
    made = Counter(frame for frame, _ in counting)
    doubted = _doubted(Doubts.of(session.doubts()), counting)
    of = len(plan.kit.exposure.bracket_ev)
    return tuple(
        ShownFrame(
            frame.id, frame.yaw_deg, frame.pitch_deg, frame.pass_number, frame.by_hand, made[frame.id], of,
            _standing(made[frame.id], of, doubted.get(frame.id, set()), again=frame.id in again), frame.id == at,
        )
        for frame in plan.frames
    )  # fmt: skip


def _doubted(doubts: Doubts, counting: Iterable[tuple[int, int]]) -> dict[int, set[DoubtReason]]:
    """The reasons why exposures that were made do not count, by frame."""
    found: dict[int, set[DoubtReason]] = {}
    for exposure in doubts.latest.keys() - set(counting):
        found.setdefault(exposure[0], set()).add(doubts.latest[exposure].why)
    return found


def _standing(made: int, of: int, doubted: set[DoubtReason], *, again: bool) -> FrameStanding:
    if DoubtReason.RETAKE in doubted or (again and made):
        return FrameStanding.WANTED_AGAIN
    if DoubtReason.SUSPECT in doubted:
        return FrameStanding.SUSPECT
    if made >= of:
        return FrameStanding.MADE
    return FrameStanding.BEGUN if made else FrameStanding.MISSING


def _later(utc: str, seconds: float) -> str:
    return (datetime.fromisoformat(utc) + timedelta(seconds=seconds)).isoformat(timespec="milliseconds")


def _pause(name: str | None) -> EventKind | None:
    return None if name is None else EventKind(name)


def _flag(number: int | None) -> bool | None:
    return None if number is None else bool(number)


def _rounded(number: float | None, digits: int) -> float | None:
    return None if number is None else round(number, digits)
