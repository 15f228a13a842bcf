"""A window on a run: what it shows is what the run's own display knew, and it is read from the session alone."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise, product
from pathlib import Path
from unittest import mock

import pytest

from controller import clock
from controller.capture.pulse import Pulse, watts_of
from controller.capture.seen import Seen
from controller.capture.states import RunState
from controller.capture.words.run import DOING, GETTING_READY, HEAD_MOVES, NO_END, NO_RUN
from controller.errors import SessionGone
from controller.lock import lock_of, sole_use
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.session import database
from controller.session.conversation import Conversation
from controller.session.database import Database
from controller.session.rows import (
    DoubtReason,
    Happening,
    Intent,
    Moment,
    QuestionKind,
    RequestRow,
    RunReason,
    ShotOutcome,
)
from controller.session.session import Session
from controller.session.talk_rows import PulseRow, SentenceKind, SentenceRow
from controller.showing.shown_run import FrameStanding, RunWindow, ShownLine, ShownRun, as_json, shown_run
from protocol.units import NS
from tests.end_to_end.attended import Attended
from tests.end_to_end.test_people import BY_HAND, CALM, PLAN, drawn_world
from tests.end_to_end.whole_runs import kit_of

UTC_0 = "2026-03-01T10:00:00.000+00:00"
LARGE = make_plan(kit_of(50.0, exposure={"bracket_ev": [-1, 0, 1]}), 0.3)
PROGRESS = ("Capturing, exposures:", "frame ")
"""How the lines begin that show progress where there is no screen: they are figures, not sentences."""


@contextmanager
def kept() -> Iterator[list[SentenceRow]]:
    """Every sentence that is written to any session, in order."""
    rows: list[SentenceRow] = []
    say = Conversation.say

    def keep(session: Conversation, sentence: SentenceRow) -> int:
        rows.append(sentence)
        return say(session, sentence)

    with mock.patch.object(Conversation, "say", keep):
        yield rows


def told_of(world: Attended) -> list[str]:
    """Every sentence that the person read of the program, in order."""
    own = "The run has ended; the head is about to stop for good."  # the test's words
    return [line for _, line in world.person.read if line != own and not line.startswith(PROGRESS)]


@pytest.mark.parametrize("seed", range(40, 52))
def test_every_sentence_that_people_are_told_is_in_the_session_in_the_same_order(tmp_path: Path, seed: int) -> None:
    """Worlds with faults, requests, questions, wrong answers, walks and frames by hand, all drawn at random."""
    world = drawn_world(seed, tmp_path)
    with kept() as rows:
        world.capture(tries=2)
    words = [row.words for row in rows if row.kind is not SentenceKind.CHECK and row.kind is not SentenceKind.FAULT]
    assert words == told_of(world)
    assert words
    if world.session_path.exists():
        with Session.open(world.session_path) as session:
            left = session.sentences()
        assert [row.words for row in left] == [row.words for row in rows[len(rows) - len(left) :]]
        assert [row.number for row in left] == list(range(1, len(left) + 1))
        assert all(before.at_ns <= after.at_ns for before, after in pairwise(left))


def test_every_announcement_and_question_has_its_kind(tmp_path: Path) -> None:
    world = Attended(BY_HAND, tmp_path, 3, CALM)
    assert world.capture(), world.ends
    with Session.open(world.session_path) as session:
        for row in session.sentences():
            assert (row.kind is SentenceKind.ANNOUNCED) == row.words.startswith("The head moves")
            assert (row.kind is SentenceKind.ASKED) == row.words.endswith("Type y or n, then Enter.")
            assert (row.lasts_ns is not None) == (row.kind is SentenceKind.ANNOUNCED)
        assert {row.kind for row in session.sentences()} >= {
            SentenceKind.CHECK,
            SentenceKind.ANNOUNCED,
            SentenceKind.ASKED,
        }


@pytest.mark.parametrize("seed", [43, 46, 50, 44])
def test_a_window_shows_what_the_display_knew_whenever_the_figures_are_written(tmp_path: Path, seed: int) -> None:
    world = drawn_world(seed, tmp_path)
    beat, looked, windows = Pulse.beat, [0], dict[int, RunWindow]()

    def compare(pulse: Pulse, now_ns: int) -> None:
        beat(pulse, now_ns)
        session, seen = pulse._session, pulse._seen
        if id(session) not in windows:
            reading = Session.open(session.path)
            windows[id(session)] = RunWindow(reading, world.plan)
        shown = windows[id(session)].look()
        assert shown == replace(shown_run(session, world.plan), announced=shown.announced)
        assert_same(seen, pulse, shown)
        looked[0] += 1

    with mock.patch.object(Pulse, "beat", compare):
        world.capture(tries=1)
    assert looked[0] > 20


def assert_same(seen: Seen, pulse: Pulse, shown: ShownRun) -> None:
    """The window shows the display's state, frame, warning and rest, and counts what is in the session."""
    now, run = seen.now, pulse._run
    assert now is not None
    assert shown.active
    assert (shown.state, shown.doing) == (now.state, DOING[RunState(now.state)].format(frame=now.frame))
    assert [frame.id for frame in shown.frames if frame.current] == [now.frame]
    assert ("" if shown.warning is None else shown.warning.words) == seen.warning
    assert shown.left_s == round(seen.left_s(shaped=run.shaped), 1)
    assert shown.line == ShownLine(run.line.sent, run.line.retransmitted, run.line.damaged)
    assert (shown.supply_low, shown.gusts) == (run.supply_low, run.gusts)
    assert shown.total == len({*seen.program.kit.exposure.bracket_ev}) * len(shown.frames)
    assert shown.question is None or shown.state == RunState.ASKING


def session_of(path: Path, plan: Plan) -> Session:
    return Session.create(path, {"kind": "capture", "plan": plan.model_dump_json()}, durable=True)


def shoot(session: Session, frame: int, exposure: int = 0) -> None:
    number = session.next_command_id()
    session.intend(Intent(frame, exposure, 1, number, 0.0, 0.0, 0.01), number)
    session.conclude(number, ShotOutcome.CONFIRMED, number, None)


def test_before_the_first_run_it_is_getting_ready_or_nobody_is_there(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with session_of(path, PLAN) as session:
        shown = shown_run(session, PLAN)
        assert (shown.active, shown.state, shown.doing, shown.made) == (False, "", NO_RUN, 0)
        assert {frame.standing for frame in shown.frames} == {FrameStanding.MISSING}
        with sole_use(lock_of(path), "it", "a test"):
            assert shown_run(session, PLAN).doing == GETTING_READY


def test_each_standing_of_a_frame(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    plan = make_plan(kit_of(12.0, exposure={"bracket_ev": [0, 1]}), 0.3)
    with session_of(path, plan) as session:
        for frame in (0, 1, 2, 4):
            shoot(session, frame)
            shoot(session, frame, 1)
        shoot(session, 3)
        session.doubt([(1, 1)], DoubtReason.SUSPECT)
        session.doubt([(2, 0), (2, 1)], DoubtReason.RETAKE)
        session.request(RequestRow("retake", (4, 5)))
        standings = [frame.standing.value for frame in shown_run(session, plan).frames]
        assert standings[:6] == ["made", "suspect", "wanted again", "begun", "wanted again", "missing"]
        shoot(session, 1, 1)
        shoot(session, 2)
        shown = shown_run(session, plan)
        assert [frame.standing.value for frame in shown.frames[1:3]] == ["made", "wanted again"]
        assert [frame.made for frame in shown.frames[:6]] == [2, 2, 1, 1, 2, 0]


@pytest.mark.parametrize(
    ("kind", "words", "doing"),
    [
        (SentenceKind.CHECK, "ok  board: there", GETTING_READY),
        (SentenceKind.ASKED, "Is the way clear?", GETTING_READY),
        (SentenceKind.ANNOUNCED, "The head moves in 5 s: because. Ctrl-C keeps it still.", HEAD_MOVES),
        (
            SentenceKind.SAID,
            "Turning to pan 3°, tilt 4°. A request to pause stops the head.",
            "Turning to pan 3°, tilt 4°.",
        ),
        (SentenceKind.SAID, "Nothing moves until 05:30:00, in 2:00.", "Nothing moves until 05:30:00, in 2:00."),
    ],
)
def test_before_a_run_a_window_says_what_was_said_last(
    tmp_path: Path, kind: SentenceKind, words: str, doing: str
) -> None:
    path = tmp_path / "s.sqlite"
    with session_of(path, PLAN) as session, sole_use(lock_of(path), "it", "a test"):
        session.say(SentenceRow(1, UTC_0, kind, words, 0 if kind is SentenceKind.ANNOUNCED else None))
        assert shown_run(session, PLAN).doing == doing
        session.ask("Was all clear?", UTC_0, QuestionKind.AT_HEAD)
        assert shown_run(session, PLAN).doing == "Waiting for an answer."


def test_a_run_that_was_killed_and_one_that_ended_are_told_apart(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with session_of(path, PLAN) as session:
        session.begin_run(RunReason.BEGUN, Moment(5, UTC_0))
        session.note(Happening(6, "moving", "armed", 2))
        session.ask("Is it clear?", UTC_0, QuestionKind.AT_HEAD)
        killed = shown_run(session, PLAN)
        assert (killed.doing, killed.ended, killed.question, killed.left_s) == (NO_END, None, None, None)
        assert not any(frame.current for frame in killed.frames)
        with sole_use(lock_of(path), "it", "a test"):
            shown = shown_run(session, PLAN)
            assert (shown.doing, shown.ended) == ("Turning to frame 2.", None)
            assert shown.question is not None
            assert (shown.question.words, shown.question.kind) == ("Is it clear?", "at the head")
            session.close_question()  # as every run does that takes a session up
            session.say(SentenceRow(1, "2026-03-01T10:00:01.000+00:00", SentenceKind.CHECK, "ok  board: there"))
            assert shown_run(session, PLAN).doing == GETTING_READY  # for the next run, after a kill
        session.end_run("Stopped as asked.", complete=False)
        ended = shown_run(session, PLAN)
        assert ended.ended is not None
        assert (ended.doing, ended.ended.complete) == ("Stopped as asked.", False)


def test_an_announced_motion_is_shown_until_it_may_begin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, began = tmp_path / "s.sqlite", datetime.fromisoformat(UTC_0)
    with session_of(path, PLAN) as session, sole_use(lock_of(path), "it", "a test"):
        session.say(SentenceRow(1, UTC_0, SentenceKind.ANNOUNCED, "The head moves in 5 s: because.", 5_000_000_000))
        for seconds, left_s in ((0, 5.0), (2, 3.0), (4.9, 0.1), (5, None), (60, None)):
            monkeypatch.setattr(clock, "wall_moment", lambda at=seconds: began + timedelta(seconds=at))
            announced = shown_run(session, PLAN).announced
            assert (None if announced is None else announced.left_s) == left_s


def test_it_is_json(tmp_path: Path) -> None:
    world = Attended(PLAN, tmp_path, 1, CALM)
    assert world.capture(), world.ends
    with Session.open(world.session_path) as session:
        shown = shown_run(session, PLAN)
    content = json.loads(json.dumps(as_json(shown), allow_nan=False))
    assert content["ended"] == {"sentence": "The run is through.", "complete": True}
    assert {frame["standing"] for frame in content["frames"]} == {"made"}
    assert content["made"] == content["total"] == len(PLAN.exposures)
    assert len(content["sentences"]) == min(50, content["sentences"][-1]["number"])
    assert content["used_s"] > content["frames"][0]["made"]


def test_looking_again_costs_little_when_nothing_has_changed(tmp_path: Path) -> None:
    """A window asks several times a second. Measured as CPU time: a third of a millisecond, with 300 frames."""
    frames = tuple(LARGE.frames[at % len(LARGE.frames)].model_copy(update={"id": at}) for at in range(300))
    plan = LARGE.model_copy(update={"frames": frames})
    with session_of(tmp_path / "s.sqlite", plan) as writing:
        for at in range(300):
            for exposure in range(3):
                shoot(writing, at, exposure)
        with Session.open(tmp_path / "s.sqlite") as session:
            window = RunWindow(session, plan)
            first = window.look()
            began_s = time.process_time()
            for _ in range(100):
                assert window.look() == first
            assert (time.process_time() - began_s) / 100 < 0.002
            writing.doubt([(7, 0)], DoubtReason.SUSPECT)
            assert window.look().frames[7].standing is FrameStanding.SUSPECT


@pytest.mark.parametrize("between", list(product([False, True], repeat=3)), ids=str)
@pytest.mark.parametrize("replaced", [False, True])
def test_a_window_says_that_its_session_is_gone_and_no_log_is_left(
    tmp_path: Path, between: tuple[bool, bool, bool], replaced: bool
) -> None:
    """A run that ends before its first move removes its session, whoever looks: SQLite then says many things."""
    path, (told, closed, looks) = tmp_path / "s.sqlite", between
    writing = session_of(path, PLAN)
    shoot(writing, 0, 0)
    with Session.open(path) as session:
        window = RunWindow(session, PLAN)
        window.look()
        if told:
            with Session.open(path, to_write=True) as other:  # as an answer is given
                other.request(RequestRow("no", question=1))
        if closed:
            writing.close()
        Session.remove(path)
        assert list(tmp_path.iterdir()) == []
        if replaced:
            session_of(path, PLAN).close()
        for _ in range(1 + looks):
            with pytest.raises(SessionGone, match="was removed or replaced"):
                window.look()
        if not closed:
            writing.close()
    assert [each.name for each in tmp_path.iterdir()] == ["s.sqlite"] * replaced
    if replaced:
        with Session.open(path) as session:
            assert session.shots() == []


def test_the_figures_of_a_run_are_written_without_waiting_for_the_disk_and_all_else_with(tmp_path: Path) -> None:
    """Each statement that writes, with the setting in force (sqlite.org/pragma.html, "synchronous": 1 NORMAL, 2 FULL)."""
    world, statements = Attended(PLAN, tmp_path, 1, CALM), list[tuple[int, str]]()
    connect = database.connect

    def watched(path: Path, *, durable: bool) -> Database:
        db, setting = connect(path, durable=durable), [2]

        def note(statement: str) -> None:
            if statement.startswith("PRAGMA synchronous ="):
                setting[0] = {"NORMAL": 1, "FULL": 2, "OFF": 0}[statement.rsplit(maxsplit=1)[-1]]
            elif statement.startswith(("INSERT", "UPDATE", "DELETE")):
                statements.append((setting[0], statement))

        db.set_trace_callback(note)
        return db

    with mock.patch.object(database, "connect", watched):
        assert world.capture(), world.ends
    pulses = [setting for setting, statement in statements if " pulse " in statement]
    changes = [setting for setting, statement in statements if " happenings " in statement]
    others = [
        setting for setting, statement in statements if " pulse " not in statement and " happenings " not in statement
    ]
    assert len(pulses) > 20
    assert set(pulses) == set(changes) == {1}
    assert set(others) == {2}
    assert sum("exposures (" in statement for _, statement in statements) >= len(PLAN.exposures)
    hours = world.port.now() / NS / 3600
    assert len(pulses) <= 3600 * hours + 2  # once a second, and at the end


def test_time_and_energy_of_all_runs_are_added_up(tmp_path: Path) -> None:
    plan = make_plan(kit_of(12.0, power={"head_watts": 20.0, "camera_watts": 5.0}), 0.3)
    world = Attended(plan, tmp_path, 2, replace(CALM, commands=("stop",), within_s=130.0))
    assert world.capture(), world.ends
    assert len(world.ends) == 2
    with Session.open(world.session_path) as session:
        pulse, happenings = session.pulse(), session.happenings()
    assert pulse is not None
    runs_s, moving_s, began_ns = 0.0, 0.0, None
    for now, after in pairwise(happenings):
        began_ns = now.at_ns if began_ns is None else began_ns
        moving_s += (after.at_ns - now.at_ns) / NS if now.state in {"moving", "referencing"} else 0
        if after.state in {"done", "failed"}:
            runs_s += (after.at_ns - began_ns) / NS
            began_ns = None
        elif now.state in {"done", "failed"}:
            began_ns = after.at_ns
    assert pulse.used_s == pytest.approx(runs_s, abs=0.5)
    assert pulse.moving_s == pytest.approx(moving_s, abs=0.01)
    assert pulse.used_wh == pytest.approx(pulse.used_s / 3600 * 25.0)


def test_what_a_kit_does_not_state_is_not_added_up(tmp_path: Path) -> None:
    world = Attended(PLAN, tmp_path, 1, CALM)
    assert world.capture(), world.ends
    with Session.open(world.session_path) as session:
        pulse = session.pulse()
    assert pulse is not None
    assert (pulse.used_wh is None) == (watts_of(PLAN.kit) is None)


def test_a_damaged_row_of_figures_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    row = PulseRow(1, UTC_0, 7, 1, 2, 3, "pause", 4, 5, 6, None, 1, 1, 1.5, 0.5, None)
    with session_of(path, PLAN) as session:
        session.beat(row)
        session.say(SentenceRow(1, UTC_0, SentenceKind.SAID, "Words."))
        assert session.pulse() == row
    with Session.open(path) as session:
        assert not session.losses
    for statement in ("UPDATE pulse SET done = -1", "UPDATE sentences SET kind = 'sung'"):
        with session_of(damaged := tmp_path / f"{statement[7:12]}.sqlite", PLAN) as session:
            session.beat(row)
            session.say(SentenceRow(1, UTC_0, SentenceKind.SAID, "Words."))
            session._db.execute(statement)
        with Session.open(damaged) as session:
            assert len(session.losses) == 1
