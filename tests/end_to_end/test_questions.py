"""Every question of a run, answered in every way and at every speed: the answer is defined and shown, and nothing is
lost.
"""

from __future__ import annotations

import os
import signal
from dataclasses import dataclass
from pathlib import Path

import pytest

from controller.capture import interrupts
from controller.capture.operator import HOW_TO_ANSWER
from controller.capture.states import RunState
from controller.capture.words.run import STATES
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.session.rows import RequestRow
from controller.session.session import Session
from protocol.units import NS
from sim.person import QUESTION, Person, PersonSpec
from sim.scenario import Fault, Scenario
from tests.end_to_end.attended import Attended
from tests.end_to_end.test_people import BY_HAND
from tests.end_to_end.whole_runs import kit_of

SPEC = PersonSpec(
    comes_share=0.0, says_no_share=0.0, mistypes_share=0.0, types_ahead=0, walks_away_share=0.0, answers_s=(1.0, 1.01)
)
PLAN = make_plan(kit_of(12.0), 0.3)
BLIND = make_plan(kit_of(12.0, head={"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}), 0.3)


@dataclass(frozen=True)
class Asked:
    """A question, how a run reaches it, and whether the run has begun by then."""

    words: str
    plan: Plan
    begun: bool
    sweep: bool = False
    faults: tuple[Fault, ...] = ()
    retakes: bool = False


QUESTIONS = {
    "all clear": Asked("Is the head level", PLAN, begun=False),
    "round": Asked("The head has been round its extremes", PLAN, begun=False, sweep=True),
    "mark": Asked("Is the head at its zero mark", BLIND, begun=False),
    "hold": Asked("shot by hand", BY_HAND, begun=True),
    "camera back": Asked("Is the camera back", BY_HAND, begun=True, retakes=True),
    "clear": Asked("Is the head clear", PLAN, begun=True, faults=(Fault("board-reset", after_exposure=4),)),
}


class Reacting(Person):
    """Answers every question with y after a second, except the first that contains `words`: that gets `reactions`."""

    words = ""
    reactions: tuple[tuple[float, str], ...] = ()
    retakes = False
    session: Path
    asked = 0

    def _answer(self, sentence: str) -> None:
        if self.words in sentence:
            self.asked += 1
            if self.asked == 1:
                self._lines = [(at_ns, line) for at_ns, line in self._lines if at_ns <= self.now()]
                for after_s, line in self.reactions:
                    self._type(line, after_s)
                return
        super()._answer(sentence)

    def types_until_asked(self, seconds: int) -> None:
        for second in range(seconds):
            self._type("y", second + 0.5)

    def say(self, sentence: str) -> None:
        super().say(sentence)
        if sentence.startswith("Paused"):  # no reaction to a pause here
            self._lines = [(at_ns, line) for at_ns, line in self._lines if line not in ("", "go-on")]
            self._type("go-on", 3.0)
        if "shot by hand" in sentence and self.retakes:
            self.retakes = False
            with Session.open(self.session, to_write=True) as session:
                session.request(RequestRow("retake", (1,)))

    def next_line(self) -> str | None:
        line = super().next_line()
        if line == "^C":
            os.kill(os.getpid(), signal.SIGINT)
            self.wake(self.now() + 1)  # a real wait is divided into pieces, after each of which signals are handled
        elif line == "hang-up":
            os.kill(os.getpid(), signal.SIGHUP)
        elif line is not None and line.startswith("tell "):
            with Session.open(self.session, to_write=True) as session:
                question = session.open_question()
                assert question is not None
                session.request(RequestRow(line.removeprefix("tell "), question=question[0]))
        else:
            return line
        return None


@pytest.fixture(autouse=True)
def _terminal_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hang-up redirects the terminal's streams, which are the tests' own here."""
    monkeypatch.setattr(interrupts, "_detach_terminal", lambda: None)


def world_of(asked: Asked, folder: Path, *reactions: tuple[float, str]) -> Attended:
    world = Attended(asked.plan, folder, 2, SPEC, Scenario("drawn", "", asked.faults), sweep=asked.sweep)
    person = Reacting(SPEC, 2, world.port.now, world.port.wake_at, world.rig.head)
    person.words, person.reactions, person.retakes = asked.words, reactions, asked.retakes
    person.session = world.session_path
    world.person = world.rig.person = person
    return world


def assert_whole(world: Attended, asked: Asked) -> None:
    """Check that the set is complete, made in one run, and that the board's watchdog never stopped it."""
    assert len(world.ends) == 1
    assert world.ends[0].startswith("The run is through."), world.ends
    with Session.open(world.session_path) as session:
        assert session.made() == asked.plan.exposures
        assert "held" not in {happening.what for happening in session.happenings()}
        assert session.open_question() is None
    assert world.person.unannounced == []


def assert_nothing_begun(world: Attended, words: str) -> None:
    assert words in world.ends[0]
    assert world.rig.truth.exposures == []
    assert not world.session_path.exists()


each_question = pytest.mark.parametrize("name", QUESTIONS)


@each_question
@pytest.mark.parametrize(
    ("after_s", "line"), [(0.1, "y"), (10.0, "Yes"), (120.0, "y"), (0.1, "tell yes"), (120.0, "tell yes")]
)
def test_yes(tmp_path: Path, name: str, after_s: float, line: str) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (after_s, line))
    world.capture(tries=0)
    assert_whole(world, asked)


@each_question
@pytest.mark.parametrize(("after_s", "line"), [(0.1, "n"), (120.0, "n"), (10.0, "tell no")])
def test_no(tmp_path: Path, name: str, after_s: float, line: str) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (after_s, line))
    world.capture(tries=0)
    if name == "hold":
        assert "Frames by hand were left out" in world.ends[0]
        with Session.open(world.session_path) as session:
            missing = asked.plan.exposures - session.made()
        assert {frame for frame, _ in missing} == {frame.id for frame in asked.plan.frames if frame.by_hand}
    elif asked.begun:
        assert any(line.startswith("Paused") for _, line in world.person.read)
        assert_whole(world, asked)
    else:
        assert_nothing_begun(world, "Zero is not set" if name == "mark" else "Not started")


@each_question
@pytest.mark.parametrize("line", ["", "yy"])
def test_what_is_no_answer_is_told_and_asked_again(tmp_path: Path, name: str, line: str) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (10.0, line), (20.0, "y"))
    world.capture(tries=0)
    assert_whole(world, asked)
    at = next(n for n, (_, said) in enumerate(world.person.read) if asked.words in said and QUESTION in said)
    assert world.person.read[at + 1][1].endswith(HOW_TO_ANSWER)


@each_question
@pytest.mark.parametrize("after_s", [0.1, 120.0])
def test_ctrl_c(tmp_path: Path, name: str, after_s: float) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (after_s, "^C"))
    world.capture(tries=0)
    if not asked.begun:
        assert_nothing_begun(world, "Stopped as asked.")
        return
    assert any(line.startswith("Paused") for _, line in world.person.read)
    assert_whole(world, asked)


@each_question
@pytest.mark.parametrize("command", ["stop", "halt"])
def test_other_words_are_heard_meanwhile(tmp_path: Path, name: str, command: str) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (30.0, command))
    world.capture(tries=0)
    if not asked.begun:
        assert_nothing_begun(world, "Stopped as asked.")
        return
    assert "as asked" in world.ends[0]
    world.resume()
    assert world.ends[-1] == "The run is through."


@each_question
def test_a_terminal_that_hangs_up_leaves_the_question_to_another(tmp_path: Path, name: str) -> None:
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (10.0, "hang-up"), (60.0, "tell yes"))
    world.capture(tries=0)
    assert_whole(world, asked)


@each_question
def test_typing_ahead_answers_nothing(tmp_path: Path, name: str) -> None:
    """y and Enter every second until the question is shown; from then on only another terminal answers, after a while."""
    asked = QUESTIONS[name]
    world = world_of(asked, tmp_path, (100.0, "tell yes"))
    assert isinstance(world.person, Reacting)
    world.person.types_until_asked(900)
    world.capture(tries=0)
    assert_whole(world, asked)
    read = world.person.read
    at = next(n for n, (_, said) in enumerate(read) if asked.words in said and QUESTION in said)
    later = next(
        now for now, said in read[at + 1 :] if STATES[RunState.ASKING].doing not in said
    )  # the display says that the run still waits
    assert later - read[at][0] >= 100 * NS
