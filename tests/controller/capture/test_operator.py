"""Requests from every source, and what is no request."""

import threading
from pathlib import Path

import pytest

from controller.capture.events import EventKind, Wanted
from controller.capture.interrupts import Interrupts
from controller.capture.operator import HOW_TO_ANSWER, LOOKS_EVERY_NS, WORDS, Operator, as_wanted, request_of
from controller.capture.people import People, YesNoQuestion
from controller.errors import InputError
from controller.session.rows import RequestRow
from controller.session.session import Session


class Lines:
    """Typed lines."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines

    def next_line(self) -> str | None:
        return self.lines.pop(0) if self.lines else None

    def forget(self) -> None:
        self.lines.clear()


@pytest.mark.parametrize("word", [word for word in WORDS if word != "retake"])
def test_a_word_is_a_request(word: str) -> None:
    assert as_wanted(request_of([word])) == Wanted(WORDS[word])


@pytest.mark.parametrize("words", [["retake", "13,12"], ["retake", "12", "13"], ["retake", "12,", "13,12"]])
def test_frames_are_sorted_and_named_once(words: list[str]) -> None:
    assert as_wanted(request_of(words)) == Wanted(EventKind.RETAKE, (12, 13))


@pytest.mark.parametrize("words", [["dance"], ["retake"], ["retake", "a"], ["retake", "-1"], ["stop", "3"]])
def test_what_is_no_request_is_said(words: list[str]) -> None:
    with pytest.raises(InputError, match=r"\.$"):
        request_of(words)


def test_every_source_is_heard(tmp_path: Path) -> None:
    now, lines = 0, ["", "pause", "jump"]
    complaints: list[str] = []
    with Session.create(tmp_path / "s", {}, durable=True) as session:
        operator = Operator(lambda: now, Interrupts(), People(complaints.append, lines=Lines(lines)), session)
        assert operator.next_request() == Wanted(EventKind.GO_ON)  # Enter alone
        assert operator.next_request() == Wanted(EventKind.PAUSE)
        assert operator.next_request() is None
        assert len(complaints) == 1
        assert complaints[0].startswith("“jump” is not known here")
        tell(tmp_path / "s", RequestRow("retake", (3,)))
        assert operator.next_request() is None  # it has just looked
        now = LOOKS_EVERY_NS
        assert operator.next_request() == Wanted(EventKind.RETAKE, (3,))
        now = 2 * LOOKS_EVERY_NS
        assert operator.next_request() is None


def tell(path: Path, request: RequestRow) -> None:
    """Send a request from another terminal."""

    def say() -> None:
        with Session.open(path, to_write=True) as session:
            session.request(request)

    thread = threading.Thread(target=say)
    thread.start()
    thread.join()


def test_a_question_is_answered_only_by_what_comes_after_it(tmp_path: Path) -> None:
    said: list[str] = []
    lines = Lines(["y"])
    now = 0
    with Session.create(tmp_path / "s", {}, durable=True) as session:
        tell(tmp_path / "s", RequestRow("yes", question=1))  # a guess of the number
        operator = Operator(lambda: now, Interrupts(), People(said.append, lines=lines, at_terminal=True), session)
        session.take_request()
        assert operator.ask(YesNoQuestion("Clear?")) is None
        assert lines.lines == []
        assert operator.next_request() is None
        assert session.open_question() == (1, "Clear?")
        lines.lines = ["", "rubbish", "N"]
        assert operator.next_request() is None
        assert operator.next_request() is None
        assert [line for line in said if line.endswith(HOW_TO_ANSWER)] == said[-3:]
        assert operator.next_request() == Wanted(EventKind.DECLINED)
        assert session.open_question() is None
        lines.lines = ["y"]
        assert operator.next_request() is None  # no question is open any more
        assert operator.ask(YesNoQuestion("Clear now?")) is None
        tell(tmp_path / "s", RequestRow("yes", question=1))  # an answer to the earlier question
        now = LOOKS_EVERY_NS
        assert operator.next_request() is None
        tell(tmp_path / "s", RequestRow("yes", question=2))
        now *= 2
        assert operator.next_request() == Wanted(EventKind.ANSWERED)


@pytest.mark.parametrize(("yes", "at_terminal", "needs_person", "answer"), [
    (True, True, False, True), (True, False, False, True), (True, False, True, False), (True, True, True, None),
    (False, False, False, False), (False, True, False, None),
])  # fmt: skip
def test_who_answers(yes: bool, at_terminal: bool, needs_person: bool, answer: bool | None) -> None:
    operator = Operator(lambda: 0, Interrupts(), People(yes=yes, at_terminal=at_terminal))
    assert operator.ask(YesNoQuestion("Well?", needs_person=needs_person)) is answer


def test_a_look_is_often_enough() -> None:
    assert LOOKS_EVERY_NS <= 100_000_000  # the promise is a fifth of a second, with one wait of the port in between
