"""The session: one SQLite file, written before and after every exposure.

An exposure's row is made before the shutter command goes out (the intent) and completed when the board has told
how it ended (the outcome). A row without an outcome is an exposure in doubt. `confirmed` means that the camera's
sync contact answered, `assumed` that none is fitted and the time simply passed; the words are never mixed.

An exposure that was made and does not count any more is never taken back: a row of `doubts` says up to which number the
exposures of a frame do not count, and why. What another terminal requests of the run is a row of `wishes`.

Sessions of older versions are migrated (`migrations.py`): the file itself when it is opened to write, a copy in memory
when it is opened to read.
"""

from collections.abc import Container, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import astuple, fields
from pathlib import Path
from types import TracebackType
from typing import Self

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.session import database
from controller.session.checks import CheckRow, unchecked_axes
from controller.session.database import Database, storage
from controller.session.migrations import SESSION_VERSION
from controller.session.rows import (
    AXES,
    CLOCK_FACT,
    QUESTION_FACT,
    ZERO_FACT,
    DoubtReason,
    DoubtRow,
    Doubts,
    Happening,
    Intent,
    Remembered,
    ShotOutcome,
    ShotRow,
    WishRow,
    Word,
)
from controller.session.salvage import read_soundly
from protocol.units import NO_COMMAND, CommandId, next_id

INTENT = tuple(field.name for field in fields(Intent))
MADE = tuple(outcome.value for outcome in ShotOutcome if outcome.made)


class Session:
    """An open session file.

    `durable=False` leaves the moment of writing to the operating system: right for a rehearsal, which can be
    repeated, never for a capture, which cannot.
    """

    def __init__(self, path: Path, connection: Database, *, durable: bool, losses: tuple[str, ...] = ()) -> None:
        self.path, self.losses = path, losses
        self._db, self._durable = connection, durable

    @classmethod
    def create(cls, path: Path, about: dict[str, str], *, durable: bool) -> Self:
        """Begin a new session at `path`, which must not exist. Raises StorageFailed."""
        with storage(path):
            database.create(path, about)
            session = cls(path, database.connect(path, durable=durable), durable=durable)
            if not durable:
                session._db.execute("BEGIN")  # one transaction from beginning to end: nothing waits for it
        return session

    @classmethod
    def open(cls, path: Path, *, to_write: bool = False) -> Self:
        """Open an existing session: to read it, or `to_write` on in it, durably.

        A session of an older version is read as one of this version; `to_write`, it becomes one. What a killed run left
        beside the file is folded into it. A damaged session is read as far as it can be; `losses` says what is missing,
        and nothing is ever written to it. Raises InputError if it is no session, too old, too new, or damaged and
        opened `to_write`; StorageFailed if it cannot be migrated.
        """
        if not path.is_file():
            raise InputError(f"{path}: there is no such session.")
        db, version, losses = read_soundly(path)
        if losses and to_write:
            db.close()
            raise InputError(
                f"{path}: is damaged ({'; '.join(losses)}), so nothing is written to it. `fullturn report {path}` shows "
                "what can still be read."
            )
        if not losses and (to_write or database.left_behind(path)):
            db.close()
            with storage(path):
                db = database.connect(path, durable=True)
                if not to_write:
                    database.fold(db)
                    db.close()
                    db = database.connect_to_read(path)
        if version < SESSION_VERSION:
            with storage(path):
                db = db if to_write or losses else database.in_memory(db)
                database.migrate(db, version)
        return cls(path, db, durable=to_write, losses=losses)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; one file is all that stays."""
        if self._db.in_transaction:
            self._db.execute("COMMIT")
        if self._durable:
            database.fold(self._db)
        self._db.close()

    def about(self) -> dict[str, str]:
        """Name and value of everything known about the run as a whole."""
        return dict(self._db.execute("SELECT name, value FROM about"))

    def plan_text(self) -> str:
        """The plan, as it was written. Raises InputError if it is not there."""
        text = self.about().get("plan")
        if text is None:
            raise InputError(f"{self.path}: does not hold its plan, so nobody can say what it was to shoot.")
        return text

    def note_about(self, name: str, value: str) -> None:
        """Add or replace one fact about the run."""
        with storage(self.path):
            self._db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (name, value))

    @contextmanager
    def _together(self) -> Iterator[None]:
        """All that is written within is on the disk, or nothing of it."""
        if self._db.in_transaction:
            yield
            return
        self._db.execute("BEGIN")
        with self._db:
            yield

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """All that is read within is of the same moment, even while a run writes. Raises StorageFailed."""
        with storage(self.path), self._together():
            yield

    def note_end(self, sentence: str, *, complete: bool) -> None:
        """How the run came to its end. Raises StorageFailed."""
        self.note_about("sentence", sentence)
        self.note_about("complete", "yes" if complete else "no")

    def note_clock(self, monotonic_ns: int, utc: str) -> None:
        """A run begins: which time of day it is, for the exposures from now on. Raises StorageFailed.

        How an earlier run ended is forgotten, since it says nothing of this one if this one is killed.
        """
        with storage(self.path):
            self._db.execute("DELETE FROM about WHERE name IN ('sentence', 'complete')")
            (latest,) = self._db.execute("SELECT coalesce(max(number), 0) FROM exposures").fetchone()
        self.note_about(f"{CLOCK_FACT}{latest + 1}", f"{monotonic_ns} {utc}")

    def intend(self, intent: Intent, at_ns: int) -> None:
        """Write an intent; on return it is on the disk. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute(
                f"INSERT INTO exposures ({', '.join(INTENT)}, intended_ns) VALUES ({', '.join('?' * len(INTENT))}, ?)",
                (*astuple(intent), at_ns),
            )

    def conclude(
        self,
        command_id: int,
        outcome: ShotOutcome,
        at_ns: int,
        board_clock_ms: int | None,
        reported_steps: tuple[int, int] | None = None,
    ) -> None:
        """Write how the exposure under `command_id` ended, and where the board says the head was (pan, tilt).

        Raises StorageFailed.
        """
        pan, tilt = reported_steps or (None, None)
        with storage(self.path):
            self._db.execute(
                "UPDATE exposures SET outcome = ?, ended_ns = ?, board_clock_ms = ?, reported_pan_steps = ?,"
                " reported_tilt_steps = ? WHERE command_id = ?",
                (outcome.value, at_ns, board_clock_ms, pan, tilt, command_id),
            )

    def note(self, happening: Happening) -> None:
        """Write a happening. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute(
                "INSERT INTO happenings (at_ns, state, what, frame) VALUES (?, ?, ?, ?)",
                (happening.at_ns, happening.state, happening.what, happening.frame),
            )

    def shots(self) -> list[ShotRow]:
        """All rows in the order of intent."""
        with storage(self.path):
            rows = self._db.execute(
                f"SELECT number, intended_ns, outcome, ended_ns, board_clock_ms, reported_pan_steps, reported_tilt_steps,"
                f" {', '.join(INTENT)} FROM exposures ORDER BY number"
            ).fetchall()
        return [
            ShotRow(number, Intent(*intent), intended, ShotOutcome(outcome) if outcome else None, *ended)
            for number, intended, outcome, *ended, intent in ((*row[:7], row[7:]) for row in rows)
        ]

    def made(self) -> set[tuple[int, int]]:
        """Frame and number of every exposure that is confirmed or assumed, and not in doubt."""
        with storage(self.path):
            doubted = Doubts.of(self.doubts())
            if not doubted.latest:  # as nearly always; a large session opens faster so
                return set(self._db.execute("SELECT frame, exposure FROM exposures WHERE outcome IN (?, ?)", MADE))
            rows = self._db.execute(
                "SELECT frame, exposure, max(number) FROM exposures WHERE outcome IN (?, ?) GROUP BY frame, exposure",
                MADE,
            )
            return {(frame, exposure) for frame, exposure, last in rows if not doubted.against(frame, exposure, last)}

    def doubt(self, exposures: Iterable[tuple[int, int]], why: DoubtReason) -> None:
        """Let nothing count that was made of these up to now. Raises StorageFailed."""
        with storage(self.path), self._together():
            self._db.executemany(
                "INSERT INTO doubts (frame, exposure, upto, why)"
                " VALUES (?, ?, (SELECT coalesce(max(number), 0) FROM exposures), ?)",
                [(frame, exposure, why.value) for frame, exposure in exposures],
            )

    def note_zero(self, boot_id: int) -> None:
        """Zero was found: by this boot of the board, for both axes. Raises StorageFailed."""
        self.note_about(ZERO_FACT, str(boot_id))
        self.note_checked(AXES)

    def forget_zero(self) -> None:
        """No boot of the board is known to have found zero any more. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute("DELETE FROM about WHERE name = ?", (ZERO_FACT,))

    def note_checked(self, axes: Iterable[str]) -> None:
        """The switches of these axes are in their place. Raises StorageFailed."""
        with storage(self.path), self._together():
            self._db.executemany(
                "INSERT INTO checks (axis, upto) VALUES (?, (SELECT coalesce(max(number), 0) FROM exposures))",
                [(axis,) for axis in axes],
            )

    def checks(self) -> list[CheckRow]:
        """All checks of zero in their order."""
        with storage(self.path):
            rows = self._db.execute("SELECT axis, upto FROM checks ORDER BY number").fetchall()
        return [CheckRow(*row) for row in rows]

    def unchecked_axes(self, kit: Kit, by_hand: Container[int] = frozenset()) -> tuple[str, ...]:
        """The axes that may have lost steps unnoticed under exposures that count; see `checks.unchecked_axes`."""
        return unchecked_axes(kit, Doubts.of(self.doubts()).counting(self.shots()), self.checks(), by_hand)

    def remembered(self) -> Remembered:
        """What a run that goes on with this session should know."""
        with storage(self.path):
            boot = self.about().get(ZERO_FACT)
            unchecked = {
                axis: self._db.execute(
                    "SELECT frame, exposure FROM exposures WHERE outcome IN (?, ?) AND number > "
                    "(SELECT coalesce(max(upto), 0) FROM checks WHERE axis = ?)",
                    (*MADE, axis),
                ).fetchall()
                for axis in AXES
            }
            in_doubt = self._db.execute(
                "SELECT command_id, frame, exposure FROM exposures WHERE outcome IS NULL ORDER BY number DESC LIMIT 1"
            ).fetchone()
            counts = dict(self._db.execute("SELECT outcome, count(*) FROM exposures GROUP BY outcome").fetchall())
            last = self._db.execute("SELECT outcome, frame FROM exposures ORDER BY number DESC LIMIT 1").fetchone()
        in_the_end = last is not None and last[0] is None  # that is the one in doubt, which may still be heard of
        unknown = counts.get(None, 0) - in_the_end + counts.get(ShotOutcome.INTERRUPTED.value, 0)
        exposures = None if unknown else sum(counts.get(outcome, 0) for outcome in MADE)
        latest = None if last is None else last[1]
        return Remembered(None if boot is None else int(boot), unchecked, in_doubt, exposures, latest)

    def doubt_frames(self, frames: Iterable[int]) -> None:
        """Let nothing count that was made of these frames: they are wanted once more. Raises StorageFailed."""
        wanted = set(frames)
        self.doubt(sorted(one for one in self.made() if one[0] in wanted), DoubtReason.RETAKE)

    def doubts(self) -> list[DoubtRow]:
        """All doubts in their order."""
        with storage(self.path):
            rows = self._db.execute("SELECT frame, exposure, upto, why FROM doubts ORDER BY number").fetchall()
        return [DoubtRow(frame, exposure, upto, DoubtReason(why)) for frame, exposure, upto, why in rows]

    def note_question(self, number: int, words: str) -> None:
        """Which question is open, so that another terminal can answer it; none without `words`. Raises StorageFailed."""
        self.note_about(QUESTION_FACT, f"{number} {words}")

    def open_question(self) -> tuple[int, str] | None:
        """Number and words of the question that is open, or None."""
        number, words = self._latest_question()
        return (number, words) if words else None

    def questions_asked(self) -> int:
        """The number of the latest question."""
        return self._latest_question()[0]

    def _latest_question(self) -> tuple[int, str]:
        with storage(self.path):
            row = self._db.execute("SELECT value FROM about WHERE name = ?", (QUESTION_FACT,)).fetchone()
        number, _, words = ("0" if row is None else row[0]).partition(" ")
        return int(number), words

    def wish(self, wish: WishRow) -> int:
        """Leave a wish for whoever runs this session; its number. Raises StorageFailed."""
        with storage(self.path):
            text = ",".join(map(str, wish.frames))
            row = self._db.execute("INSERT INTO wishes (wanted, frames) VALUES (?, ?)", (wish.wanted, text))
        return row.lastrowid or 0

    def is_taken(self, number: int) -> bool:
        """Whether the wish of this number was taken. Raises StorageFailed."""
        with storage(self.path):
            query = "SELECT 1 FROM wishes WHERE number = ? AND taken = 1"
            return self._db.execute(query, (number,)).fetchone() is not None

    def wanted_again(self) -> set[int]:
        """Frames that somebody wants again, as far as no run has taken that up yet. Raises StorageFailed."""
        with storage(self.path):
            rows = self._db.execute(
                "SELECT frames FROM wishes WHERE taken = 0 AND wanted = ?", (Word.RETAKE.value,)
            ).fetchall()
        return {int(frame) for (frames,) in rows for frame in frames.split(",") if frame}

    def take_wish(self) -> WishRow | None:
        """The oldest wish that nobody has taken; it is taken now. Raises StorageFailed."""
        with storage(self.path):
            query = "SELECT number, wanted, frames FROM wishes WHERE taken = 0 ORDER BY number LIMIT 1"
            row = self._db.execute(query).fetchone()
            if row is None:
                return None
            self._db.execute("UPDATE wishes SET taken = 1 WHERE number = ?", row[:1])
        return WishRow(row[1], tuple(int(frame) for frame in row[2].split(",") if frame))

    def next_command_id(self) -> int:
        """The command id that follows the latest one of this session."""
        with storage(self.path):
            row = self._db.execute("SELECT command_id FROM exposures ORDER BY number DESC LIMIT 1").fetchone()
        return next_id(CommandId(row[0]) if row else NO_COMMAND)

    def state(self) -> str:
        """The state that the latest run is in, or ended in; empty before the first. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute("SELECT state FROM happenings ORDER BY number DESC LIMIT 1").fetchone()
        return "" if row is None else row[0]

    def happenings(self) -> list[Happening]:
        """All happenings in their order."""
        with storage(self.path):
            rows = self._db.execute("SELECT at_ns, state, what, frame FROM happenings ORDER BY number").fetchall()
        return [Happening(*row) for row in rows]
