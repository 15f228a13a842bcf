"""Kills, bugs and late answers: the session of a run always opens, and says what happened."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from unittest import mock

import pytest

from controller.capture.operator import NOTHING_ASKED
from controller.capture.people import BY_REQUEST
from controller.capture.words.run import NO_END
from controller.commands.capture import capture_command
from controller.commands.crew import Crew
from controller.display import Display
from controller.errors import StorageFailed
from controller.planning.plan import Plan
from controller.session import database
from controller.session.conversation import Conversation
from controller.session.database import Database
from controller.session.rows import (
    QuestionKind,
    RequestRow,
)
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind
from controller.showing.shown_run import shown_run
from protocol.units import NS
from tests.end_to_end.attended import Attended
from tests.end_to_end.test_people import BY_HAND, CALM, PLAN
from tests.end_to_end.test_words_before_steps import BLIND

STRIDE = 17  # statements between two copies


def test_a_program_killed_at_any_statement_leaves_a_session_that_opens_and_can_be_shown(tmp_path: Path) -> None:
    """The files are copied before every few statements, as they are: that is what a killed program leaves."""
    world, count, left = Attended(BY_HAND, tmp_path, 3, CALM), [0], list[Path]()
    connect = database.connect

    def snap(_: str) -> None:
        count[0] += 1
        if count[0] % STRIDE == 0:
            left.append(tmp_path / str(count[0]))
            left[-1].mkdir()
            for file in tmp_path.glob("session.sqlite*"):
                shutil.copy(file, left[-1])

    def watched(path: Path, *, durable: bool) -> Database:
        db = connect(path, durable=durable)
        db.set_trace_callback(snap)
        return db

    with mock.patch.object(database, "connect", watched):
        assert world.capture(), world.ends
    assert len(left) > 20
    before = 0
    for folder in left:
        with Session.open(folder / "session.sqlite") as session:
            assert not session.losses
            shown = shown_run(session, BY_HAND)
            assert (shown.active, shown.total) == (False, len(BY_HAND.exposures))
            assert before <= shown.made
            assert [row.number for row in session.sentences()] == list(range(1, len(session.sentences()) + 1))
            before = shown.made


FORESEEN, BUG = StorageFailed("The disk is full."), ZeroDivisionError("division by what we forgot")


@pytest.mark.parametrize("error", [FORESEEN, BUG], ids=["foreseen", "bug"])
def test_what_ends_a_run_is_kept_even_if_nobody_foresaw_it(tmp_path: Path, error: Exception) -> None:
    world, made = Attended(PLAN, tmp_path, 1, CALM), [0]
    exposed = Display.exposed

    def fails(display: Display) -> None:
        exposed(display)
        made[0] += 1
        if made[0] == 3:
            raise error

    with mock.patch.object(Display, "exposed", fails), pytest.raises(type(error)):
        capture_command(world.plan_path, world.url, world.session_path, world.crew(), open_port=world.open_port)
    with Session.open(world.session_path) as session:
        *_, last = session.sentences()
        shown = shown_run(session, PLAN)
    assert last.kind is SentenceKind.FAULT
    assert str(error) in last.words
    if error is BUG:
        assert "in fails" in last.words  # where it happened
    assert shown.warning is not None
    assert (shown.warning.words, shown.warning.fault, shown.doing, shown.made) == (last.words, True, NO_END, 3)
    assert world.resume(tries=1), world.ends


def of_no_terminal(world: Attended) -> Crew:
    crew = world.crew()
    return replace(crew, people=replace(crew.people, at_terminal=False, through_session=True, stops_by=BY_REQUEST))


@pytest.mark.parametrize("plan", [PLAN, BY_HAND, BLIND], ids=["plain", "by hand", "no switches"])
def test_a_run_without_a_terminal_asks_through_its_session_and_waits(tmp_path: Path, plan: Plan) -> None:
    """Each question is answered late, after half an hour; before it, answers to other questions change nothing."""
    world = Attended(plan, tmp_path, 3, replace(CALM, comes_share=0.0))
    asked, ask = list[str](), Conversation.ask
    due_ns, number = [0], [0]
    take = Conversation.take_request

    def note(session: Conversation, words: str, utc: str | None, kind: QuestionKind | None) -> int:
        asked.append(words)
        number[0], due_ns[0] = ask(session, words, utc, kind), world.port.now() + 1800 * NS
        session.request(RequestRow("yes", question=number[0] - 1))  # late, for the question before
        for at_ns in (world.port.now() + NS, due_ns[0], due_ns[0] + NS, due_ns[0] + 2 * NS):
            world.port.wake_at(at_ns)  # a real line wakes a waiting run often
        return number[0]

    def answer(session: Conversation) -> RequestRow | None:
        if due_ns[0] and world.port.now() >= due_ns[0]:
            due_ns[0] = 0
            session.request(RequestRow("yes", question=number[0]))
        return take(session)

    with mock.patch.object(Conversation, "ask", note), mock.patch.object(Conversation, "take_request", answer):
        crew, open_port = of_no_terminal(world), world.open_port
        made = capture_command(world.plan_path, world.url, world.session_path, crew, open_port=open_port)
    assert made.summary.complete
    assert world.port.now() >= len(asked) * 1800 * NS
    assert len(asked) == 2 + sum(frame.by_hand for frame in plan.frames) + (plan is BLIND)
    with Session.open(world.session_path) as session:
        told = session.sentences()
    assert [row.words for row in told if row.kind is SentenceKind.ASKED] == asked
    assert not [row.words for row in told if "Ctrl-C" in row.words]
    assert [row.words for row in told if row.words == NOTHING_ASKED] == [NOTHING_ASKED] * len(asked)
