"""The sessions of the folder, as a list shows them: counts from their rows, nothing proved.

A session is read again only when its file or the log beside it has changed, and at most so many are read at a time: a
folder with hundreds of sessions is shown at once, and the rest of it a moment later.
"""

from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

from controller.amounts import counted, storage
from controller.errors import InputError, StorageFailed
from controller.own_names import SessionName, named
from controller.page.served import ServedEntry, ServedFolder
from controller.planning.plan_file import begun_plan_unproved
from controller.report.verdict import SetStanding, Verdict, verdict
from controller.session.checks import unchecked_axes
from controller.session.clock import SessionClock
from controller.session.rows import CAPTURE, Doubts, with_requests
from controller.session.session import Session
from controller.showing.shown_run import is_active

MOST_READS = 50  # of sessions, for one look at the list
UNREAD = "not looked at yet"
Stamp = tuple[tuple[int, int, int] | None, ...]


@dataclass(frozen=True, slots=True)
class SessionCounts:
    """What the rows of a session say, as if no run used it now. Counts are exposures unless the name says frames.

    `standing` is None if the session cannot be read; `why` then is a sentence. `began` is when its first run began.
    """

    standing: SetStanding | None
    why: str = ""
    kind: str = ""
    port: str = ""
    made: int = 0
    planned: int = 0
    frames: int = 0
    missing_frames: int = 0
    began: datetime | None = None
    clock_unsure: bool = False


@dataclass(frozen=True, slots=True)
class ListedSession:
    """A session of the folder. `counts` is None if it was not read yet; `written_ns` is when it was written."""

    name: str
    stem: str
    given: SessionName | None
    written_ns: int
    size_bytes: int
    under_way: bool
    counts: SessionCounts | None

    @property
    def standing(self) -> SetStanding | None:
        """Its standing now; None if that is not known."""
        if self.under_way:
            return SetStanding.UNDER_WAY
        return None if self.counts is None else self.counts.standing

    @property
    def standing_words(self) -> str:
        """The standing in a few words."""
        if self.counts is None:
            return UNREAD
        if self.standing is None:
            return "cannot be read"
        if self.standing is SetStanding.INCOMPLETE:
            return f"incomplete: {counted(self.counts.missing_frames, 'frame')} missing"
        if self.standing is SetStanding.UNCHECKED:
            return "made, but zero was not checked since"
        return self.standing.value

    @property
    def lacks(self) -> bool:
        """Whether a run can make more of it."""
        needs = {SetStanding.INCOMPLETE, SetStanding.NOT_BEGUN, SetStanding.UNCHECKED}
        return self.is_capture and self.standing in needs

    @property
    def is_capture(self) -> bool:
        """Whether a head shot it."""
        return self.counts is not None and self.counts.kind == CAPTURE

    @property
    def port(self) -> str:
        """The port that it began with; empty if that is not known."""
        return "" if self.counts is None else self.counts.port

    @property
    def day(self) -> date:
        """The day of its name, or of its first run, or on which it was written."""
        if self.given is not None:
            return self.given.day
        began = None if self.counts is None else self.counts.began
        return (began or datetime.fromtimestamp(self.written_ns / 1e9, UTC).astimezone()).date()

    @property
    def place(self) -> str:
        """The word of its place; empty if its name says none."""
        return "" if self.given is None else self.given.place

    @property
    def figures(self) -> str:
        """Exposures, frames, beginning and size."""
        size = storage(self.size_bytes / 1e6)
        if self.counts is None or not self.counts.planned:
            return size
        began = self.counts.began
        unsure = " (the clock was unsure)" if self.counts.clock_unsure else ""
        when = "" if began is None else f", begun {date_words(began.date())} {began:%H:%M}{unsure}"
        exposures = f"{self.counts.made} of {counted(self.counts.planned, 'exposure')}"
        return f"{exposures}, {counted(self.counts.frames, 'frame')}{when}, {size}"


def date_words(day: date) -> str:
    """A date like 21 June 2026."""
    return f"{day.day} {day:%B} {day.year}"


class SessionList:
    """The sessions of a folder, each read once until it changes. For one thread at a time."""

    def __init__(self, folder: ServedFolder) -> None:
        self._folder = folder
        self._known: dict[str, tuple[Stamp, SessionCounts]] = {}

    def look(self, most_reads: int = MOST_READS) -> list[ListedSession]:
        """All sessions, the newest first; at most `most_reads` of them are read. Raises InputError."""
        found = sorted(
            ((stamp_of(each.path), each) for each in self._folder.session_files()),
            key=lambda one: (_written_ns(one[0]), one[1].name),
            reverse=True,
        )
        names = {each.name for _, each in found}
        self._known = {name: known for name, known in self._known.items() if name in names}
        listed = []
        for stamp, each in found:
            known, reads = self._counts(each, stamp, may_read=most_reads > 0)
            most_reads -= reads
            listed.append(self._listed(each, stamp, known))
        return listed

    def one(self, entry: ServedEntry) -> ListedSession:
        """One session, read if it has changed."""
        stamp = stamp_of(entry.path)
        return self._listed(entry, stamp, self._counts(entry, stamp, may_read=True)[0])

    def _counts(self, entry: ServedEntry, stamp: Stamp, *, may_read: bool) -> tuple[SessionCounts | None, int]:
        """What is known of a session, and how many were read for it: 0 or 1. One that may not be read stays as it was."""
        known = self._known.get(entry.name)
        if known is not None and known[0] == stamp:
            return known[1], 0
        if not may_read:
            return None if known is None else known[1], 0
        counts = read_counts(entry.path)
        self._known[entry.name] = stamp, replace(counts, why=self._folder.by_names(counts.why))
        return self._known[entry.name][1], 1

    def _listed(self, entry: ServedEntry, stamp: Stamp, counts: SessionCounts | None) -> ListedSession:
        size = sum(each[0] for each in stamp if each is not None)
        stem = entry.name.removesuffix(entry.path.suffix)
        return ListedSession(
            entry.name, stem, named(Path(entry.name)), _written_ns(stamp), size, is_active(entry.path), counts
        )


def stamp_of(path: Path) -> Stamp:
    """Size in bytes, time of writing in nanoseconds and number of a session's file, and of the log beside it."""
    found: list[tuple[int, int, int] | None] = []
    for each in (path, path.with_name(f"{path.name}-wal")):
        with suppress(OSError):
            about = each.stat()
            found.append((about.st_size, about.st_mtime_ns, about.st_ino))
            continue
        found.append(None)
    return tuple(found)


def read_counts(path: Path) -> SessionCounts:
    """The counts of a session's rows."""
    try:
        with Session.open(path) as session, session.at_one_moment():
            return _counts_in(session, path)
    except (InputError, StorageFailed) as error:
        return SessionCounts(None, str(error))


def _counts_in(session: Session, path: Path) -> SessionCounts:
    plan = begun_plan_unproved(session.plan_text(), str(path))
    about, runs, shots, stored = session.about(), session.runs(), session.shots(), session.doubts()
    by_hand = {frame.id for frame in plan.frames if frame.by_hand}
    found: Verdict = verdict(
        plan,
        shots,
        with_requests(stored, shots, session.wanted_again()),
        unchecked=unchecked_axes(plan.kit, Doubts.of(stored).counting(shots), session.checks(), by_hand),
        losses=session.losses,
    )
    times = SessionClock(runs, 0.0, session.clocks())
    began = times.pieces[0].moment(runs[0].began.at_ns) if times.pieces and runs[0].began else None
    return SessionCounts(
        standing=found.standing,
        kind=about.get("kind", ""),
        port=about.get("port", ""),
        made=len(found.confirmed) + len(found.assumed),
        planned=found.planned,
        frames=len(plan.frames),
        missing_frames=len(found.missing_frames),
        began=None if began is None else began.astimezone(),
        clock_unsure=times.is_unsure,
    )


def _written_ns(stamp: Stamp) -> int:
    return max((each[1] for each in stamp if each is not None), default=0)
