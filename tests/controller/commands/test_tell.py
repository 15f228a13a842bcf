"""The answer to another terminal's request: what the run does about it, in every state."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller import clock
from controller.capture import telling
from controller.capture.operator import WORDS
from controller.capture.states import ENDING, FINAL, RunState
from controller.capture.telling import UNREAD
from controller.commands import tell
from controller.commands.account import report_command
from controller.commands.tell import tell_command
from controller.errors import InputError, WorldError
from controller.lock import lock_of, sole_use
from controller.planning.make import make_plan
from controller.planning.request import RegionKind, Request
from controller.session.rows import Happening, Intent, RunReason, ShotOutcome
from controller.session.session import Session
from tests.end_to_end.whole_runs import kit_of

WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-40, pitch_to_deg=40, yaw_from_deg=-90, yaw_to_deg=90)
PLAN = make_plan(kit_of(12.0), 0.3, WINDOW)
LAST = PLAN.frames[-1].id


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A session in which every frame except the last was shot."""
    path = tmp_path / "s.sqlite"
    about = {"kind": "capture", "plan": PLAN.model_dump_json(), "plan_hash": PLAN.hash}
    with Session.create(path, about, durable=True) as session:
        session.begin_run(RunReason.BEGUN, None)
        for number, frame in enumerate(PLAN.frames[:-1], 1):
            session.intend(Intent(frame.id, 0, 1, number, 0.0, 0.0, 0.01), number)
            session.conclude(number, ShotOutcome.CONFIRMED, number + 1, None)
        session.end_run("The run is through.", complete=True)
    return path


def told(
    path: Path, *words: str, monkeypatch: pytest.MonkeyPatch, state: str = "moving", becomes: str | None = None
) -> str:
    """The answer of a run in this state, which reads the request at the third look and then changes its state."""
    looks = 0
    with Session.open(path, to_write=True) as run, sole_use(lock_of(path), str(path), "fullturn capture"):
        run.note(Happening(1, state, "test", None))

        def wait(_: int) -> None:
            nonlocal looks
            looks += 1
            if looks == 3:
                assert run.take_request() is not None
                run.note(Happening(2, becomes or state, "test", None))

        monkeypatch.setattr(clock, "wait_ns", wait)
        return tell_command(path, list(words))


@pytest.mark.parametrize("state", list(RunState))
@pytest.mark.parametrize("word", [word for word in WORDS if word != "retake"])
def test_every_request_in_every_state_is_answered_by_what_it_does(
    word: str, state: RunState, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    becomes = {"stop": "stopping", "halt": "stopping"}.get(word)
    answer = told(path, word, monkeypatch=monkeypatch, state=state.value, becomes=becomes)
    assert answer.startswith("Request received. ")
    ends = state in {*ENDING, *FINAL}
    assert ("changes nothing" in answer) is (ends and word != "halt")
    if not ends and state is RunState.PAUSED:
        assert ("paused already" in answer) is word.startswith("pause")
        assert ("the head moves again" in answer) is (word == "go-on")
    if not ends and word in {"stop", "halt"}:
        assert f"The run {word}s" in answer
        assert "fullturn resume" in answer


def test_go_on_shows_the_question_that_the_run_waits_for(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Session.open(path, to_write=True) as run:
        run.ask("Is it clear?")
    assert "waits for an answer: Is it clear?" in told(path, "go-on", monkeypatch=monkeypatch, state="asking")
    assert "Is it clear?" not in told(path, "pause", monkeypatch=monkeypatch, state="asking")


def test_a_retake_is_of_what_was_shot_and_says_what_comes_anyway(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answer = told(path, "retake", f"0,{LAST}", monkeypatch=monkeypatch)
    assert answer == f"Request received. At its end the run reshoots frame 0. Frame {LAST} is still to come anyway."
    late = told(path, "retake", "0", monkeypatch=monkeypatch, state="closing")
    assert late == f"Request received. The run is ending: `fullturn resume {path}` reshoots frame 0."


def test_a_request_that_is_not_read_is_not_called_received(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0

    def wait(span_ns: int) -> None:
        nonlocal now
        now += 100 * span_ns

    with sole_use(lock_of(path), str(path), "fullturn capture"):
        monkeypatch.setattr(clock, "monotonic_ns", lambda: now)
        monkeypatch.setattr(clock, "wait_ns", wait)
        assert tell_command(path, ["retake", "0"]) == UNREAD
    assert report_command(path, None).missing_frames == (0, LAST)  # the request is still valid


@pytest.mark.parametrize(("words", "good"), [(["retake", "0"], True), (["pause"], False)])
def test_a_run_that_ends_before_it_reads_is_told(
    words: list[str], good: bool, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter([True, False])
    for module in (tell, telling):
        monkeypatch.setattr(module, "in_use", lambda _: next(answers))
    monkeypatch.setattr(clock, "wait_ns", lambda _: None)
    if good:
        assert "ended before it read the request; `fullturn resume" in tell_command(path, words)
    else:
        with pytest.raises(WorldError, match="ended before it read"):
            tell_command(path, words)


@pytest.mark.parametrize("word", ["yes", "no"])
def test_an_answer_goes_to_the_question_that_is_open(word: str, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(WorldError, match="No question is open"):
        told(path, word, monkeypatch=monkeypatch)
    with Session.open(path, to_write=True) as run:
        run.ask("Is it clear?")
    with pytest.raises(WorldError, match="No question is open"):
        tell_command(path, [word])  # nobody runs it, so no question is open
    assert told(path, word, monkeypatch=monkeypatch) == f"Answered {word} to: Is it clear?"


def test_an_answer_to_a_question_that_was_answered_meanwhile_is_not_claimed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Session.open(path, to_write=True) as run:
        run.ask("Is it clear?")
    looks = iter(range(9))

    def wait(_: int) -> None:
        with Session.open(path, to_write=True) as run:
            run.ask("Another?")
            if next(looks):
                assert run.take_request() is not None

    monkeypatch.setattr(clock, "wait_ns", wait)
    with sole_use(lock_of(path), "s", "us"), pytest.raises(WorldError, match="answered already"):
        tell_command(path, ["yes"])


def test_a_set_that_nobody_shoots_can_only_be_asked_to_retake(path: Path) -> None:
    for word in WORDS:
        if word != "retake":
            with pytest.raises(WorldError, match=f"No run of .* is active, so {word} changes nothing; only `retake`"):
                tell_command(path, [word])
    with pytest.raises(InputError, match="no frame 99"):
        tell_command(path, ["retake", "99"])
    for times in range(2):  # requested twice, it is shot again once
        answer = tell_command(path, ["retake", f"0,{LAST}"])
        again = f"Frames 0, {LAST} are missing anyway" if times else f"reshoots frame 0. Frame {LAST} is missing anyway"
        assert again in answer
        summary = report_command(path, None)
        assert (summary.missing_frames, summary.exposures_to_retake, summary.exit_status) == ((0, LAST), 1, 1)
        assert "complete." not in summary.sentence


def test_a_refused_request_leaves_the_session_as_it_was(path: Path) -> None:
    before = report_command(path, None)
    for words in (["pause"], ["retake", "99"], ["retake"], ["dance"]):
        with pytest.raises((WorldError, InputError)):
            tell_command(path, words)
    assert report_command(path, None) == before
