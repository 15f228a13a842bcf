"""A window on a run: each sentence and question once, and an answer only to the question that it has shown."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pytest

from controller import clock
from controller.capture.gate import KEEPS_STILL
from controller.capture.interrupts import NotedInterrupt
from controller.capture.operator import NOTHING_ASKED
from controller.capture.people import BY_KEYS
from controller.commands.tell import tell_request
from controller.commands.watch import TO_STOP, JsonView, Watcher, figures_of, watch_command
from controller.display import screen_lines
from controller.errors import WorldError
from controller.lock import lock_of, sole_use
from controller.session.rows import Happening, Moment, QuestionKind, RequestRow, RunReason
from controller.session.session import Session
from controller.session.talk_rows import PulseRow, SentenceKind, SentenceRow
from controller.showing.shown_run import RunWindow, ShownRun, shown_run
from tests.end_to_end.test_people import PLAN

UTC = "2026-03-01T10:00:00.000+00:00"


@dataclass
class Seeing:
    """A view and its typed lines."""

    said: list[str] = field(default_factory=list)
    typed: list[str] = field(default_factory=list)
    rings: int = 0

    def show(self, _: ShownRun) -> None:
        """Do nothing."""

    def say(self, words: str) -> None:
        self.said.append(words)

    def ring(self) -> None:
        self.rings += 1

    def next_line(self) -> str | None:
        return self.typed.pop(0) if self.typed else None

    def forget(self) -> None:
        self.typed.clear()


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Session]:
    """The session of a run that is moving, as the run itself has it open."""
    path = tmp_path / "s.sqlite"
    about = {"kind": "capture", "plan": PLAN.model_dump_json()}
    with Session.create(path, about, durable=True) as session, sole_use(lock_of(path), "it", "a test"):
        session.begin_run(RunReason.BEGUN, Moment(5, UTC))
        session.note(Happening(6, "moving", "armed", 2))
        yield session


def say(run: Session, kind: SentenceKind, words: str, lasts_ns: int | None = None) -> None:
    run.say(SentenceRow(7, UTC, kind, words, lasts_ns))


def test_each_sentence_is_shown_once_and_what_was_typed_before_a_question_is_dropped(run: Session) -> None:
    view = Seeing(typed=["y"])
    say(run, SentenceKind.SAID, "Before the window was there.")
    with Session.open(run.path) as session:
        window, watcher = RunWindow(session, PLAN), Watcher(run.path, view, view)
        watcher.take(window.look())
        assert view.said == []
        run.ask("Is it clear?", UTC, QuestionKind.AT_HEAD)
        say(run, SentenceKind.ASKED, "Is it clear? Type y or n, then Enter.")
        say(run, SentenceKind.WARNING, "The board has restarted.")
        say(run, SentenceKind.ANNOUNCED, f"The head moves in 5 s: because. {BY_KEYS} {KEEPS_STILL}", 5)
        for _ in range(3):
            watcher.take(window.look())
            watcher.hear(window.look())
    assert view.said == [
        "The board has restarted.",
        f"The head moves in 5 s: because. {TO_STOP}",
        "Is it clear? Type y or n, then Enter.",
    ]
    assert (view.rings, run.take_request()) == (1, None)


def test_an_answer_is_for_the_question_that_was_shown(run: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    view = Seeing()
    run.ask("Is it clear?", UTC, QuestionKind.AT_HEAD)
    with Session.open(run.path) as session:
        window, watcher = RunWindow(session, PLAN), Watcher(run.path, view, view)
        shown = window.look()
        watcher.take(shown)
        run.ask("Is the camera back?", UTC, QuestionKind.AT_HEAD)  # which the window has not seen yet
        view.typed = ["y"]
        watcher.hear(shown)
        assert view.said[-1].startswith("That question is closed, and the run asks another one")
        assert run.take_request() is None
        shown = window.look()
        watcher.take(shown)
        taken: list[RequestRow | None] = []
        monkeypatch.setattr(clock, "wait_ns", lambda _: taken.append(run.take_request()))
        view.typed = ["n"]
        watcher.hear(shown)
        assert taken == [RequestRow("no", (), 2)]
        run.close_question()
        watcher.take(window.look())
        view.typed = ["y"]
        watcher.hear(window.look())
    assert view.said[-2:] == ["Answered no to: Is the camera back?", NOTHING_ASKED]
    with pytest.raises(WorldError, match="No question is open"):
        tell_request(run.path, RequestRow("yes", (), 1))


def test_json_is_a_line_for_each_change(run: Session) -> None:
    lines: list[str] = []
    view = JsonView(lines.append)
    with Session.open(run.path) as session:
        window = RunWindow(session, PLAN)
        for _ in range(4):
            view.show(window.look())
        run.note(Happening(9, "exposing", "waited", 2))
        for _ in range(4):
            view.show(window.look())
    assert [json.loads(line)["doing"] for line in lines] == ["Turning to frame 2.", "Exposing frame 2."]


def test_a_window_has_the_lines_of_the_run_s_own_screen(run: Session) -> None:
    run.beat(PulseRow(8, UTC, 7, 0, 9, 90_000_000_000, "pause", 5, 1, 2, 0, None, 1, 60.0, 5.0, None))
    now = datetime.fromisoformat("2026-03-01T10:01:00.000+00:00")
    lines = screen_lines(figures_of(shown_run(run, PLAN), now, now))
    assert lines[0] == f"frame 2 (0 of {len(PLAN.frames)} begun), turning"
    assert lines[1] == f"0 of {len(PLAN.exposures)} exposures; 1:00 done, 1:30 left, ends about 10:01:30"
    assert lines[2].startswith("Next pause: after this exposure; Ctrl-C closes this window only")
    assert lines[3:] == ["Line: 5 frames sent, 1 repeated, 2 damaged", "Last warning: none"]


class AtItsEnd:
    """Calls for an interrupt when it is thrown away: an exception there is dropped by Python."""

    def __del__(self) -> None:
        signal.raise_signal(signal.SIGINT)
        for _ in range(10):
            pass  # where Python looks at signals


class Throwing(Seeing):
    """A view that throws such a thing away at its second look."""

    looks = 0

    def show(self, _: ShownRun) -> None:
        self.looks += 1
        assert self.looks < 10
        if self.looks == 2:
            AtItsEnd()


def test_ctrl_c_closes_the_window_wherever_it_arrives(run: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    view = Throwing()
    monkeypatch.setattr(clock, "wait_ns", lambda _: None)
    monkeypatch.setattr("controller.commands.watch.plan_from", lambda *_, **__: PLAN)
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        watch_command(run.path, view, view)
    assert view.looks == 2
    assert signal.getsignal(signal.SIGINT) is before


def test_a_second_ctrl_c_is_raised_at_once() -> None:
    with NotedInterrupt() as interrupt:
        interrupt.raise_if_noted()
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            interrupt.raise_if_noted()
