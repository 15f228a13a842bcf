"""The session: one SQLite file, written before and after every exposure.

An exposure's row is written before the shutter command is sent (the intent), and completed when the board has said how it
ended (the outcome). A row without an outcome is an exposure in doubt. `confirmed` means that the camera's sync contact
answered. `assumed` means that no contact is fitted and the time passed. The two words are never mixed up.

An exposure that was made but no longer counts is never deleted. A row of `doubts` says up to which number the exposures
of a frame do not count, and why. What the run and people say to each other is in `conversation.py`.

Sessions of older versions are migrated (`migrations.py`): the file itself if it is opened to write, a copy in memory if
it is opened to read.
"""

from collections.abc import Container, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import astuple, fields
from pathlib import Path
from types import TracebackType
from typing import Self

from controller.errors import InputError, SessionGone
from controller.kit.kit import Kit
from controller.session import database
from controller.session.checks import CheckRow, unchecked_axes
from controller.session.conversation import Conversation
from controller.session.database import Database, storage
from controller.session.migrations import SESSION_VERSION
from controller.session.rows import (
    AXES,
    ClockRow,
    DoubtReason,
    DoubtRow,
    Doubts,
    Happening,
    Intent,
    Moment,
    Remembered,
    RunReason,
    RunRow,
    ShotOutcome,
    ShotRow,
    WalkRow,
)
from controller.session.salvage import read_soundly
from controller.system.clock_trust import ClockTrust
from protocol.units import NO_COMMAND, CommandId, next_id

INTENT, WALK = (tuple(field.name for field in fields(row)) for row in (Intent, WalkRow))
LATEST_SENTENCE = "(SELECT coalesce(max(number), 0) FROM sentences)"
MADE = tuple(outcome.value for outcome in ShotOutcome if outcome.made)


class OlderVersion(InputError):
    """The session was written by an older version of the program."""


class Session(Conversation):
    """An open session file.

    `durable=False` lets the operating system choose the moment of writing. Use it for a rehearsal, which can be repeated,
    never for a capture, which cannot.
    """

    def __init__(self, path: Path, connection: Database, *, durable: bool, losses: tuple[str, ...] = ()) -> None:
        super().__init__(path, connection, durable=durable)
        self.losses = losses
        self._file = database.file_at(path)

    @classmethod
    def create(cls, path: Path, about: dict[str, str], *, durable: bool) -> Self:
        """Create a session at `path`, which must not exist. Raises StorageFailed."""
        with storage(path):
            database.create(path, about)
            session = cls(path, database.connect(path, durable=durable), durable=durable)
            if not durable:
                session._db.execute("BEGIN")  # one transaction until it is closed: nobody waits for it
        return session

    @classmethod
    def open(cls, path: Path, *, to_write: bool = False, migrate: bool = True) -> Self:
        """Open an existing session: to read it, or `to_write` to it, durably.

        A session of an older version is migrated: in memory, or with `to_write` the file itself, unless `migrate` is
        false. A log that a killed run left is folded into the file, if that can be written. A damaged session is read as
        far as possible and never written to; `losses` says what is missing. Raises InputError if it is no session, too
        old, too new, or damaged and opened `to_write`; OlderVersion if it must not be migrated; StorageFailed if it
        cannot be.
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
        if version < SESSION_VERSION and to_write and not migrate:
            db.close()
            raise OlderVersion(f"{path}: is a session of an older version.")
        if to_write:
            db.close()
            with storage(path):
                db = database.connect(path, durable=True)
        elif not losses and database.left_behind(path):
            db = database.folded(db, path)
        if version < SESSION_VERSION:
            with storage(path):
                db = db if to_write or losses else database.in_memory(db)
                database.migrate(db, version)
        return cls(path, db, durable=to_write, losses=losses)

    @staticmethod
    def remove(path: Path) -> None:
        """Remove a session that this program has just made, with its log. Raises nothing: a leftover does no harm."""
        database.remove(path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close the session and fold its log, so that one file is left."""
        if self._db.in_transaction:
            self._db.execute("COMMIT")
        if self._durable:
            database.fold(self._db)
        self._db.close()

    def about(self) -> dict[str, str]:
        """Every fact about the session as a whole, by name."""
        return dict(self._db.execute("SELECT name, value FROM about"))

    def plan_text(self) -> str:
        """The plan as it was written. Raises InputError if it is missing."""
        text = self.about().get("plan")
        if text is None:
            raise InputError(f"{self.path}: the plan is missing from this session, so its frames are unknown.")
        return text

    def note_about(self, name: str, value: str) -> None:
        """Add or replace one fact about the run."""
        with storage(self.path):
            self._db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (name, value))

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """Read everything inside as of one moment, even while a run writes. Raises StorageFailed."""
        with storage(self.path), self._together():
            yield

    def begin_run(self, why: RunReason, began: Moment | None) -> None:
        """Note that a run begins; the exposures from now on belong to it. Raises StorageFailed."""
        at_ns, utc = (None, None) if began is None else (began.at_ns, began.utc)
        with storage(self.path):
            self._db.execute(
                "INSERT INTO runs (first, why, began_ns, began_utc, began_after)"
                f" VALUES ((SELECT coalesce(max(number), 0) + 1 FROM exposures), ?, ?, ?, {LATEST_SENTENCE})",
                (why.value, at_ns, utc),
            )

    def end_run(self, sentence: str, *, complete: bool, utc: str | None = None) -> None:
        """Note how the latest run ended, and when. Raises StorageFailed."""
        with storage(self.path):
            done = self._db.execute(
                f"UPDATE runs SET sentence = ?, complete = ?, ended_utc = ?, ended_after = {LATEST_SENTENCE}"
                " WHERE number = (SELECT max(number) FROM runs)",
                (sentence, complete, utc),
            )
        assert done.rowcount == 1, "a run ends that has not begun"

    def runs(self) -> list[RunRow]:
        """All runs, in order. Raises StorageFailed."""
        with storage(self.path):
            rows = self._db.execute(
                "SELECT first, why, began_ns, began_utc, ended_utc, sentence, complete, began_after, ended_after"
                " FROM runs ORDER BY number"
            ).fetchall()
        return [
            RunRow(
                first, RunReason(why), None if utc is None else Moment(at_ns, utc), ended, sentence,
                None if complete is None else bool(complete), *told,
            )
            for first, why, at_ns, utc, ended, sentence, complete, *told in rows
        ]  # fmt: skip

    def note_clock(self, at: Moment, trust: ClockTrust, boot: str) -> None:
        """Note the time of day at a moment of the latest run. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute(
                "INSERT INTO clocks (run, at_ns, utc, trust, boot)"
                " VALUES ((SELECT coalesce(max(number), 0) FROM runs), ?, ?, ?, ?)",
                (at.at_ns, at.utc, trust.value, boot),
            )

    def clocks(self) -> list[ClockRow]:
        """What the time of day was, in order; empty in a session of version 6 or older. Raises StorageFailed."""
        with storage(self.path):
            rows = self._db.execute("SELECT run, at_ns, utc, trust, boot FROM clocks ORDER BY number").fetchall()
        return [ClockRow(run, at_ns, utc, ClockTrust(trust), boot) for run, at_ns, utc, trust, boot in rows]

    def intend(self, intent: Intent, at_ns: int) -> None:
        """Write an intent; it is on the disk when this returns. Raises StorageFailed."""
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
        """Write a happening, without waiting for the disk: no run depends on one. Raises StorageFailed."""
        with storage(self.path), database.unsynced(self._db, durable=self._durable):
            self._db.execute(
                "INSERT INTO happenings (at_ns, state, what, frame, file) VALUES (?, ?, ?, ?, ?)", astuple(happening)
            )

    def shots(self) -> list[ShotRow]:
        """All rows, in the order of intent."""
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
        """Frame and number of every exposure that is confirmed or assumed, and under no doubt."""
        with storage(self.path):
            doubted = Doubts.of(self.doubts())
            if not doubted.latest:  # the usual case; this opens a large session faster
                return set(self._db.execute("SELECT frame, exposure FROM exposures WHERE outcome IN (?, ?)", MADE))
            rows = self._db.execute(
                "SELECT frame, exposure, max(number) FROM exposures WHERE outcome IN (?, ?) GROUP BY frame, exposure",
                MADE,
            )
            return {(frame, exposure) for frame, exposure, last in rows if not doubted.against(frame, exposure, last)}

    def doubt(self, exposures: Iterable[tuple[int, int]], why: DoubtReason) -> None:
        """Declare that nothing made of these exposures up to now counts. Raises StorageFailed."""
        with storage(self.path), self._together():
            self._db.executemany(
                "INSERT INTO doubts (frame, exposure, upto, why)"
                " VALUES (?, ?, (SELECT coalesce(max(number), 0) FROM exposures), ?)",
                [(frame, exposure, why.value) for frame, exposure in exposures],
            )

    def note_zero(self, boot_id: int) -> None:
        """Note that this boot of the board found zero on both axes. Raises StorageFailed."""
        with storage(self.path), self._together():
            self._db.execute("INSERT INTO zeros (boot_id) VALUES (?)", (boot_id,))
            self.note_checked(AXES)

    def forget_zero(self) -> None:
        """Note that no boot of the board is known to have found zero. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute("INSERT INTO zeros (boot_id) VALUES (NULL)")

    def note_walk(self, walk: WalkRow) -> None:
        """Note that the head went round its extremes and everything was clear. Raises StorageFailed."""
        with storage(self.path):
            self._db.execute(f"INSERT INTO walks ({', '.join(WALK)}) VALUES (?, ?, ?, ?)", astuple(walk))

    def latest_walk(self) -> WalkRow | None:
        """The latest walk round the extremes, None if there was none. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute(f"SELECT {', '.join(WALK)} FROM walks ORDER BY number DESC LIMIT 1").fetchone()
        return None if row is None else WalkRow(*row)

    def note_checked(self, axes: Iterable[str]) -> None:
        """Note that the switches of these axes are in their place. Raises StorageFailed."""
        with storage(self.path), self._together():
            self._db.executemany(
                "INSERT INTO checks (axis, upto) VALUES (?, (SELECT coalesce(max(number), 0) FROM exposures))",
                [(axis,) for axis in axes],
            )

    def checks(self) -> list[CheckRow]:
        """All checks of zero, in order."""
        with storage(self.path):
            rows = self._db.execute("SELECT axis, upto FROM checks ORDER BY number").fetchall()
        return [CheckRow(*row) for row in rows]

    def unchecked_axes(self, kit: Kit, by_hand: Container[int] = frozenset()) -> tuple[str, ...]:
        """The axes that may have lost steps unnoticed during exposures that count; see `checks.unchecked_axes`."""
        return unchecked_axes(kit, Doubts.of(self.doubts()).counting(self.shots()), self.checks(), by_hand)

    def remembered(self) -> Remembered:
        """What a run that resumes this session needs to know."""
        with storage(self.path):
            zero = self._db.execute("SELECT boot_id FROM zeros ORDER BY number DESC LIMIT 1").fetchone()
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
        in_the_end = last is not None and last[0] is None  # the exposure in doubt, which may still be reported
        unknown = counts.get(None, 0) - in_the_end + counts.get(ShotOutcome.INTERRUPTED.value, 0)
        exposures = None if unknown else sum(counts.get(outcome, 0) for outcome in MADE)
        latest = None if last is None else last[1]
        return Remembered(None if zero is None else zero[0], unchecked, in_doubt, exposures, latest)

    def doubt_frames(self, frames: Iterable[int]) -> None:
        """Declare that nothing made of these frames counts, because they are wanted again. Raises StorageFailed."""
        wanted = set(frames)
        self.doubt(sorted(one for one in self.made() if one[0] in wanted), DoubtReason.RETAKE)

    def doubts(self) -> list[DoubtRow]:
        """All doubts, in order."""
        with storage(self.path):
            rows = self._db.execute("SELECT frame, exposure, upto, why FROM doubts ORDER BY number").fetchall()
        return [DoubtRow(frame, exposure, upto, DoubtReason(why)) for frame, exposure, upto, why in rows]

    def next_command_id(self) -> int:
        """The command id after the latest one of this session."""
        with storage(self.path):
            row = self._db.execute("SELECT command_id FROM exposures ORDER BY number DESC LIMIT 1").fetchone()
        return next_id(CommandId(row[0]) if row else NO_COMMAND)

    def state(self) -> str:
        """The state of the latest run, or the one in which it ended; empty before the first run. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute("SELECT state FROM happenings ORDER BY number DESC LIMIT 1").fetchone()
        return "" if row is None else row[0]

    def latest_happening(self) -> Happening | None:
        """The latest change of state or arrival of a file, or None. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute(
                "SELECT at_ns, state, what, frame, file FROM happenings ORDER BY number DESC LIMIT 1"
            ).fetchone()
        return None if row is None else Happening(*row)

    def data_version(self) -> int:
        """A number that changes when another program has written to the session. Raises StorageFailed."""
        with storage(self.path):
            return database.data_version(self._db)

    def must_be_there(self) -> None:
        """Raise SessionGone if the file was removed or replaced: an open one can still be read, and shows what it was."""
        if database.file_at(self.path) != self._file:
            raise SessionGone(self.path)

    def happenings(self) -> list[Happening]:
        """All happenings, in order."""
        with storage(self.path):
            rows = self._db.execute("SELECT at_ns, state, what, frame, file FROM happenings ORDER BY number").fetchall()
        return [Happening(*row) for row in rows]
