"""`fullturn watch`: show the run of a session in any terminal, and send it what is typed there."""

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Protocol

from rich.console import Group

from controller import clock
from controller.capture.gate import without_keys
from controller.capture.interrupts import NotedInterrupt
from controller.capture.operator import ANSWERS, HOW_TO_ANSWER, NOTHING_ASKED, request_of
from controller.capture.people import Lines
from controller.capture.states import RunState
from controller.capture.words.run import STATES
from controller.commands.tell import tell_request
from controller.display import PATIENT_NS, QUIET_NS, WAITING, ScreenFigures, screen_lines, screen_of, sphere_lines
from controller.errors import InputError, SessionGone, WorldError
from controller.planning.plan_file import plan_from
from controller.session.rows import Word
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind
from controller.showing.shown_run import RunWindow, ShownRun, as_json
from protocol.units import MS

LOOK_NS = 200 * MS
TO_STOP = "`pause` and Enter keeps it still; Ctrl-C closes only this window."
KEYS = "Ctrl-C closes this window only; or type a request and Enter"


class WatchView(Protocol):
    """Where a run is shown."""

    def show(self, shown: ShownRun) -> None:
        """Show how far the run is. Called at every look."""

    def say(self, words: str) -> None:
        """Show a sentence."""

    def ring(self) -> None:
        """Call for attention."""


@dataclass(slots=True)
class LineView:
    """Plain lines: sentences, and now and then what is being done."""

    write: Callable[[str], None]
    bell: Callable[[], None]
    _told_ns: int = 0

    def show(self, shown: ShownRun) -> None:
        """Show a line if there has been none for a while."""
        now_ns = clock.monotonic_ns()
        patience_ns = PATIENT_NS if shown.state in WAITING else QUIET_NS
        if self._told_ns and shown.active and now_ns - self._told_ns >= patience_ns:
            self.say(f"{shown.doing} {shown.made} of {shown.total} exposures")
        self._told_ns = self._told_ns or now_ns

    def say(self, words: str) -> None:
        """Print a sentence."""
        self._told_ns = clock.monotonic_ns()
        self.write(words)

    def ring(self) -> None:
        """Ring the terminal's bell."""
        self.bell()


@dataclass(slots=True)
class ScreenView:
    """The same screen as the run's own, drawn by `draw`; sentences are printed above it."""

    draw: Callable[[Group], None]
    write: Callable[[str], None]
    bell: Callable[[], None]

    def show(self, shown: ShownRun) -> None:
        """Draw the screen."""
        made_of = {frame.id: frame.made for frame in shown.frames}
        figures = figures_of(shown, clock.wall_moment(), clock.local_time())
        each = max((frame.of for frame in shown.frames), default=1)
        at = figures.frame
        share = shown.made / max(1, shown.total)
        self.draw(screen_of(share, screen_lines(figures), sphere_lines(shown.frames, made_of, each, at)))

    def say(self, words: str) -> None:
        """Print a sentence above the screen."""
        self.write(words)

    def ring(self) -> None:
        """Ring the terminal's bell."""
        self.bell()


@dataclass(slots=True)
class JsonView:
    """One line of JSON for each change."""

    write: Callable[[str], None]
    _latest: ShownRun | None = None

    def show(self, shown: ShownRun) -> None:
        """Print the run if it has changed; the seconds until an announced motion alone are no change."""
        still = shown.announced and replace(shown.announced, left_s=0.0)
        change = replace(shown, announced=still)
        if change != self._latest:
            self._latest = change
            self.write(json.dumps(as_json(shown), allow_nan=False))

    def say(self, words: str) -> None:
        """Do nothing: sentences are part of the run."""

    def ring(self) -> None:
        """Do nothing: the question is part of the run."""


class Watcher:
    """Takes what a window shows to a view: new sentences and questions once each; and typed requests to the run."""

    def __init__(self, path: Path, view: WatchView, lines: Lines) -> None:
        self._path, self._view, self._lines = path, view, lines
        self._told: int | None = None
        self._question: int | None = None

    def take(self, shown: ShownRun) -> None:
        """Show what is new."""
        latest = shown.sentences[-1].number if shown.sentences else 0
        if self._told is None:
            self._told = latest
            if shown.announced is not None:
                self._view.say(_here(shown.announced.words))
        for sentence in shown.sentences:
            if sentence.number <= self._told or sentence.kind is SentenceKind.ASKED:
                continue
            self._view.say(_here(sentence.words) if sentence.kind is SentenceKind.ANNOUNCED else sentence.words)
            if sentence.kind is SentenceKind.FAULT:
                self._view.ring()
        self._told = max(self._told, latest)
        self._take_question(shown)
        self._view.show(shown)

    def _take_question(self, shown: ShownRun) -> None:
        question = shown.question
        if question is not None and question.number != self._question:
            self._lines.forget()  # what was typed before the question is no answer to it
            self._view.ring()
            self._view.say(f"{question.words} {HOW_TO_ANSWER}")
        self._question = None if question is None else question.number

    def hear(self, shown: ShownRun) -> None:
        """Send the run what was typed, if anything was."""
        line = self._lines.next_line()
        if line is None:
            return
        words = line.split()
        if not words and shown.question is not None:
            self._view.say(f"{shown.question.words} {HOW_TO_ANSWER}")
            return
        try:
            request = request_of(words or [Word.GO_ON])
            if request.wanted in ANSWERS and self._question is None:
                self._view.say(NOTHING_ASKED)
                return
            number = self._question if request.wanted in ANSWERS else None
            self._view.say(tell_request(self._path, replace(request, question=number)))
        except (InputError, WorldError) as error:
            self._view.say(str(error))


def watch_command(path: Path, view: WatchView, lines: Lines) -> bool:
    """Show the run of a session until it ends; return whether one was active.

    Raises InputError, StorageFailed; KeyboardInterrupt if Ctrl-C closes the window.
    """
    with Session.open(path) as session, NotedInterrupt() as interrupt:
        plan = plan_from(session.plan_text(), str(path), begun=True)
        window, watcher, active = RunWindow(session, plan), Watcher(path, view, lines), False
        with suppress(SessionGone):  # the run ended before its first move
            while True:
                shown = window.look()
                watcher.take(shown)
                if not shown.active:
                    break
                active = True
                watcher.hear(shown)
                interrupt.raise_if_noted()
                clock.wait_ns(LOOK_NS)
    if active:
        view.ring()
    return active


def _here(announcement: str) -> str:
    """An announcement as a window says it, whose Ctrl-C does not reach the run."""
    return f"{without_keys(announcement)} {TO_STOP}"


def figures_of(shown: ShownRun, now: datetime, time_of_day: datetime) -> ScreenFigures:
    """The figures of a window; `now` is UTC, `time_of_day` the local time."""
    current = next((frame for frame in shown.frames if frame.current), None)
    left_s = shown.left_s or 0.0
    ends = now if shown.ends_utc is None else datetime.fromisoformat(shown.ends_utc)
    began = now if shown.began_utc is None else datetime.fromisoformat(shown.began_utc)
    line = shown.line
    return ScreenFigures(
        frame=None if current is None else current.id,
        pass_number=1 if current is None else current.pass_number,
        begun=sum(frame.made > 0 for frame in shown.frames),
        frames=len(shown.frames),
        doing=STATES[RunState(shown.state)].doing if shown.active and shown.state else shown.doing,
        made=shown.made,
        total=shown.total,
        used_s=max(0.0, (now - began).total_seconds()),
        left_s=left_s,
        ends=time_of_day + timedelta(seconds=max(0.0, (ends - now).total_seconds())),
        pause=shown.pause,
        hint=KEYS,
        line=(0, 0, 0) if line is None else (line.sent, line.repeated, line.damaged),
        warning="" if shown.warning is None else shown.warning.words,
    )
