"""Migrating the facts of version 4 whose names or values had to be parsed, for every history of runs."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.session.database import migrate
from controller.session.migrations import SESSION_VERSION
from controller.session.rows import Moment, RequestRow, RunReason, RunRow, WalkRow
from controller.session.salvage import is_sound
from controller.session.session import Session

KEPT = Path(__file__).with_name("old") / "version_4.sqlite"
BEGAN = datetime(2026, 3, 1, tzinfo=UTC)


def utc(hours: int) -> str:
    return (BEGAN + timedelta(hours=hours)).isoformat(timespec="milliseconds")


@dataclass
class Four:
    """A session of version 4, written as its program wrote it, with the expected result of migration."""

    db: sqlite3.Connection
    runs: list[RunRow] = field(default_factory=list)
    exposures: int = 0
    walk: WalkRow | None = None
    question: tuple[int, str] | None = None
    boot: int | None = None
    requests: list[RequestRow] = field(default_factory=list)

    def told(self, request: RequestRow) -> None:
        """Another terminal requests or answers something; the number of a question was stored like a frame."""
        frames = request.frames if request.question is None else (request.question,)
        self.db.execute("INSERT INTO wishes (wanted, frames) VALUES (?, ?)", (request.wanted, ",".join(map(str, frames))))
        self.requests.append(request)

    def fact(self, name: str, value: str) -> None:
        self.db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (name, value))

    def begins(self, why: RunReason, at_ns: int, hours: int, shot: int) -> None:
        """A run begins and makes this many exposures.

        The end of the previous run is forgotten, and its clock is replaced if it made no exposure.
        """
        self.runs = [RunRow(run.first, run.why, run.began) for run in self.runs]
        self.db.execute("DELETE FROM about WHERE name IN ('sentence', 'complete')")
        first = self.exposures + 1
        self.fact(f"clock from {first}", f"{at_ns} {utc(hours)}")
        if self.runs and self.runs[-1].first == first:
            replaced = self.runs.pop().why
            why = replaced if why is RunReason.ZERO_SET else why
        self.runs.append(RunRow(first, why, Moment(at_ns, utc(hours))))
        for _ in range(shot):
            self.exposures += 1
            self.db.execute(
                "INSERT INTO exposures (frame, exposure, attempt, command_id, shutter_s, intended_ns)"
                " VALUES (0, 0, 1, ?, 0.01, ?)",
                (self.exposures, at_ns),
            )

    def ends(self, sentence: str, hours: int, *, complete: bool, timed: bool) -> None:
        """The run ends; without `timed` it was killed before it noted when."""
        self.fact("sentence", sentence)
        self.fact("complete", "yes" if complete else "no")
        if timed:
            self.fact("ended", utc(hours))
        last = self.runs.pop()
        plain = sentence.replace("The set is complete", "The run is through")
        self.runs.append(RunRow(last.first, last.why, last.began, utc(hours) if timed else None, plain, complete))


@st.composite
def histories(draw: st.DrawFn) -> Four:
    """A capture and the runs that continued it: clocks that jump, runs without exposures, ends that were not noted."""
    four = Four(sqlite3.connect(":memory:", isolation_level=None))
    with sqlite3.connect(KEPT) as kept:
        kept.backup(four.db)
    kept.close()
    for table in ("exposures", "checks", "happenings", "about"):
        four.db.execute(f"DELETE FROM {table}")
    four.fact("session_version", "4")
    hours, ns = st.integers(0, 9999), st.integers(0, 2**60)
    requests = st.sampled_from(
        [RequestRow("retake", (1, 12)), RequestRow("pause"), RequestRow("yes", question=3), RequestRow("no", question=12)]
    )
    for command in range(draw(st.integers(1, 4))):
        if command:
            four.fact(f"resumed {utc(draw(hours) + 10_000 * command)}", "so many exposures made by then")
        if draw(st.booleans()):
            way = draw(st.lists(st.tuples(*[st.integers(-(10**6), 10**6)] * 2), min_size=1, max_size=4))
            four.fact("walked", json.dumps(way))
            pans, tilts = zip(*way, strict=True)
            four.walk = WalkRow(min(pans), max(pans), min(tilts), max(tilts))
        if draw(st.booleans()):
            number, words = draw(st.integers(1, 99)), draw(st.sampled_from(["", "Is it level?", "3 frames. Ready?"]))
            four.fact("question", f"{number} {words}")
            four.question = (number, words) if words else None
        for request in draw(st.lists(requests, max_size=3)):
            four.told(request)
        if draw(st.booleans()):
            four.boot = draw(st.integers(0, 2**32 - 1))
            four.fact("zero found by boot", str(four.boot))
        for run in range(draw(st.integers(0, 3))):
            why = RunReason.ZERO_SET if run else (RunReason.RESUMED if command else RunReason.BEGUN)
            four.begins(why, draw(ns), draw(hours), draw(st.integers(0, 2)))
        ended = draw(st.booleans())
        if ended and four.runs:
            sentence = draw(st.sampled_from(["The set is complete.", "Stopped as asked.", "The board's supply dropped."]))
            four.ends(sentence, draw(hours), complete=draw(st.booleans()), timed=draw(st.booleans()))
    return four


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(four=histories())
def test_every_history_of_runs_is_kept(four: Four) -> None:
    assert is_sound(four.db, 4)
    migrate(four.db, 4)
    assert is_sound(four.db, SESSION_VERSION)
    session = Session(Path("memory"), four.db, durable=False)
    assert session.runs() == four.runs
    assert session.latest_walk() == four.walk
    assert session.open_question() == four.question
    assert session.remembered().boot_id == four.boot
    assert list(iter(session.take_request, None)) == four.requests
    assert session.about() == {"session_version": str(SESSION_VERSION)}
