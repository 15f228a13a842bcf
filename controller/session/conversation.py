"""What a run and people say to each other, as rows: sentences, questions, requests, and the latest figures.

A window on a run reads everything it shows from here, whether the run has a terminal or not.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import astuple, fields
from pathlib import Path

from controller.session.database import Database, storage, unsynced
from controller.session.rows import QuestionKind, QuestionRow, RequestRow, Word
from controller.session.talk_rows import PulseRow, SentenceKind, SentenceRow

PULSE = tuple(field.name for field in fields(PulseRow))
SENTENCE = tuple(field.name for field in fields(SentenceRow) if field.name != "number")


def _sentence(row: tuple[int, int, str, str, str, int | None]) -> SentenceRow:
    number, at_ns, at_utc, kind, words, lasts_ns = row
    return SentenceRow(at_ns, at_utc, SentenceKind(kind), words, lasts_ns, number)


class Conversation:
    """The part of an open session that a run and people write to each other.

    A sentence or a request is on the disk when its call returns, as an exposure is. The pulse is not, nor a change of
    state: they are written often, no run depends on them, and an SD card endures only so many writes.
    """

    def __init__(self, path: Path, connection: Database, *, durable: bool) -> None:
        self.path = path
        self._db, self._durable = connection, durable

    @contextmanager
    def _together(self) -> Iterator[None]:
        """Write everything inside to the disk, or nothing of it."""
        if self._db.in_transaction:
            yield
            return
        self._db.execute("BEGIN")
        with self._db:
            yield

    def say(self, sentence: SentenceRow) -> int:
        """Note what people are told; return its number, whatever `sentence.number` is. Raises StorageFailed."""
        values = tuple(getattr(sentence, name) for name in SENTENCE)
        with storage(self.path):
            row = self._db.execute(
                f"INSERT INTO sentences ({', '.join(SENTENCE)}) VALUES ({', '.join('?' * len(SENTENCE))})", values
            )
        return row.lastrowid or 0

    def sentences(self, after: int = 0, latest: int | None = None) -> list[SentenceRow]:
        """What people were told, in order: the sentences with higher numbers than `after`, only the `latest` of them.

        Raises StorageFailed.
        """
        with storage(self.path):
            rows = self._db.execute(
                f"SELECT number, {', '.join(SENTENCE)} FROM sentences WHERE number > ? ORDER BY number DESC LIMIT ?",
                (after, -1 if latest is None else latest),
            ).fetchall()
        return [_sentence(row) for row in rows[::-1]]

    def last_sentence(self, kind: SentenceKind) -> SentenceRow | None:
        """The latest sentence of this kind. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute(
                f"SELECT number, {', '.join(SENTENCE)} FROM sentences WHERE kind = ? ORDER BY number DESC LIMIT 1",
                (kind,),
            ).fetchone()
        return None if row is None else _sentence(row)

    def beat(self, pulse: PulseRow) -> None:
        """Replace the run's figures, without waiting for the disk. Raises StorageFailed."""
        marks = ", ".join("?" * (len(PULSE) + 1))
        with storage(self.path), unsynced(self._db, durable=self._durable):
            self._db.execute(
                f"INSERT OR REPLACE INTO pulse (number, {', '.join(PULSE)}) VALUES ({marks})", (1, *astuple(pulse))
            )

    def pulse(self) -> PulseRow | None:
        """The latest figures of a run; None before the first. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute(f"SELECT {', '.join(PULSE)} FROM pulse").fetchone()
        return None if row is None else PulseRow(*row)

    def ask(self, words: str, asked_utc: str | None = None, kind: QuestionKind | None = None) -> int:
        """Open a question that another terminal can answer; return its number. Raises StorageFailed."""
        with storage(self.path), self._together():
            self.close_question()
            row = self._db.execute(
                "INSERT INTO questions (words, open, asked_utc, kind) VALUES (?, 1, ?, ?)", (words, asked_utc, kind)
            )
        return row.lastrowid or 0

    def asked(self) -> QuestionRow | None:
        """The open question with everything known of it, or None. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute("SELECT number, words, asked_utc, kind FROM questions WHERE open = 1").fetchone()
        if row is None:
            return None
        number, words, utc, kind = row
        return QuestionRow(number, words, utc, None if kind is None else QuestionKind(kind))

    def close_question(self, answer: Word | None = None) -> None:
        """Close the open question: it was answered, or needs no answer any more. Raises StorageFailed."""
        with storage(self.path):
            value = None if answer is None else answer.value
            self._db.execute("UPDATE questions SET open = 0, answer = ? WHERE open = 1", (value,))

    def open_question(self) -> tuple[int, str] | None:
        """Number and words of the open question, or None. Raises StorageFailed."""
        with storage(self.path):
            row = self._db.execute("SELECT number, words FROM questions WHERE open = 1").fetchone()
        return None if row is None else (row[0], row[1])

    def request(self, request: RequestRow) -> int:
        """Leave a request for the run of this session; return its number. Raises StorageFailed."""
        with storage(self.path):
            text = ",".join(map(str, request.frames))
            values = (request.wanted, text, request.question)
            row = self._db.execute("INSERT INTO wishes (wanted, frames, question) VALUES (?, ?, ?)", values)
        return row.lastrowid or 0

    def is_taken(self, number: int) -> bool:
        """Whether the request of this number was taken. Raises StorageFailed."""
        with storage(self.path):
            query = "SELECT 1 FROM wishes WHERE number = ? AND taken = 1"
            return self._db.execute(query, (number,)).fetchone() is not None

    def wanted_again(self) -> set[int]:
        """Frames that are wanted again, by requests that no run has taken up yet. Raises StorageFailed."""
        with storage(self.path):
            rows = self._db.execute(
                "SELECT frames FROM wishes WHERE taken = 0 AND wanted = ?", (Word.RETAKE.value,)
            ).fetchall()
        return {int(frame) for (frames,) in rows for frame in frames.split(",") if frame}

    def take_request(self) -> RequestRow | None:
        """Take the oldest request that is not yet taken; None if there is none. Raises StorageFailed."""
        with storage(self.path):
            query = "SELECT number, wanted, frames, question FROM wishes WHERE taken = 0 ORDER BY number LIMIT 1"
            row = self._db.execute(query).fetchone()
            if row is None:
                return None
            self._db.execute("UPDATE wishes SET taken = 1 WHERE number = ?", row[:1])
        return RequestRow(row[1], tuple(int(frame) for frame in row[2].split(",") if frame), row[3])
