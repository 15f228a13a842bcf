"""Any history of a session, compared with a plain list of what was written."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.session.checks import CheckRow
from controller.session.rows import (
    AXES,
    DoubtReason,
    DoubtRow,
    Happening,
    Intent,
    Moment,
    Remembered,
    RequestRow,
    RunReason,
    RunRow,
    ShotOutcome,
    ShotRow,
    Word,
    with_requests,
)
from controller.session.session import Session
from tests.end_to_end.whole_runs import kit_of

FRAMES, NUMBERS = st.integers(0, 2), st.integers(0, 1)
PAIRS = st.tuples(FRAMES, NUMBERS)
PLACES = st.none() | st.tuples(st.integers(-9, 9), st.integers(-9, 9))
SENTENCES = st.sampled_from(["", "Is the camera held?", "Is the head clear?"])
ACTS = st.one_of(
    st.tuples(st.just("intend"), PAIRS),
    st.tuples(st.just("intend"), PAIRS),
    st.tuples(st.just("conclude"), st.sampled_from(ShotOutcome), PLACES),
    st.tuples(st.just("conclude"), st.sampled_from(ShotOutcome), PLACES),
    st.tuples(st.just("doubt"), st.sets(PAIRS, max_size=3), st.sampled_from(DoubtReason)),
    st.tuples(st.just("doubt_frames"), st.sets(FRAMES, max_size=2)),
    st.tuples(st.just("check"), st.sets(st.sampled_from(AXES))),
    st.tuples(st.just("zero"), st.integers(1, 99)),
    st.tuples(st.just("forget_zero")),
    st.tuples(st.just("wish"), st.sampled_from(list(Word)), st.sets(FRAMES, max_size=2)),
    st.tuples(st.just("take")),
    st.tuples(st.just("ask"), SENTENCES),
    st.tuples(st.just("note"), st.sampled_from(["moving", "paused"]), st.none() | FRAMES),
    st.tuples(st.just("reopen")),
)
HISTORIES = st.lists(ACTS, max_size=14)


@dataclass
class Model:
    """What was written, as lists."""

    shots: list[ShotRow] = field(default_factory=list)
    doubts: list[DoubtRow] = field(default_factory=list)
    checks: list[CheckRow] = field(default_factory=list)
    requests: list[RequestRow] = field(default_factory=list)
    taken: int = 0
    boot: int | None = None
    question: tuple[int, str] | None = None
    asked: int = 0
    happenings: list[Happening] = field(default_factory=list)

    @property
    def last(self) -> int:
        return len(self.shots)

    def counts(self, shot: ShotRow) -> bool:
        """Made, and under no doubt: the latest doubt of each exposure decides."""
        pair = (shot.intent.frame, shot.intent.exposure)
        latest = [doubt.upto for doubt in self.doubts if (doubt.frame, doubt.exposure) == pair]
        return shot.outcome in {ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED} and not (latest and shot.number <= latest[-1])

    def made(self) -> set[tuple[int, int]]:
        """The last row of each exposure decides."""
        rows = [shot for shot in self.shots if shot.outcome in {ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED}]
        final = {(shot.intent.frame, shot.intent.exposure): shot for shot in rows}
        return {pair for pair, shot in final.items() if self.counts(shot)}

    def remembered(self) -> Remembered:
        upto = {axis: max((check.upto for check in self.checks if check.axis == axis), default=0) for axis in AXES}
        made = [shot for shot in self.shots if shot.outcome is not None and shot.outcome.made]
        open_ = [shot for shot in self.shots if shot.outcome is None]
        others = [shot.outcome for shot in (self.shots[:-1] if open_ and open_[-1] is self.shots[-1] else self.shots)]
        unknown = None in others or ShotOutcome.INTERRUPTED in others
        doubt = open_[-1] if open_ else None
        return Remembered(
            self.boot,
            {axis: [(one.intent.frame, one.intent.exposure) for one in made if one.number > upto[axis]] for axis in AXES},
            None if doubt is None else (doubt.intent.command_id, doubt.intent.frame, doubt.intent.exposure),
            None if unknown else len(made),
            self.shots[-1].intent.frame if self.shots else None,
        )


def ask(session: Session, model: Model, words: str) -> None:
    """Open a question; without words, close it."""
    if words:
        model.asked += 1
        model.question = (model.asked, words)
        assert session.ask(words) == model.asked
    else:
        model.question = None
        session.close_question()


def do(session: Session, model: Model, act: tuple[Any, ...]) -> None:
    """Apply one act to the session and to the lists."""
    name, *given_ = act
    match name, *given_:
        case "intend", (frame, number):
            command_id = 100 + model.last
            intent = Intent(frame, number, 1, command_id, 1.5, None, 0.25, 480, None)
            session.intend(intent, 10 * command_id)
            model.shots.append(ShotRow(model.last + 1, intent, 10 * command_id, None, None, None))
        case "conclude", outcome, place if model.shots:
            session.conclude(model.shots[-1].intent.command_id, outcome, 7777, 88, place)
            model.shots[-1] = replace(
                model.shots[-1], outcome=outcome, ended_ns=7777, board_clock_ms=88,
                reported_pan_steps=place and place[0], reported_tilt_steps=place and place[1],
            )  # fmt: skip
        case "doubt", pairs, why:
            session.doubt(sorted(pairs), why)
            model.doubts += [DoubtRow(one, other, model.last, why) for one, other in sorted(pairs)]
        case "doubt_frames", frames:
            session.doubt_frames(frames)
            wanted = sorted(pair for pair in model.made() if pair[0] in frames)
            model.doubts += [DoubtRow(one, other, model.last, DoubtReason.RETAKE) for one, other in wanted]
        case "check", axes:
            session.note_checked(sorted(axes))
            model.checks += [CheckRow(axis, model.last) for axis in sorted(axes)]
        case "zero", boot:
            session.note_zero(boot)
            model.boot = boot
            model.checks += [CheckRow(axis, model.last) for axis in AXES]
        case ("forget_zero",):
            session.forget_zero()
            model.boot = None
        case "wish", word, frames:
            model.requests.append(RequestRow(word, tuple(sorted(frames))))
            assert session.request(model.requests[-1]) == len(model.requests)
        case ("take",):
            comes = model.requests[model.taken] if model.taken < len(model.requests) else None
            assert session.take_request() == comes
            model.taken += comes is not None
        case "ask", words:
            ask(session, model, words)
        case "note", state, frame:
            model.happenings.append(Happening(5 + len(model.happenings), state, "waited", frame))
            session.note(model.happenings[-1])


def compare(session: Session, model: Model) -> None:
    """Compare everything that can be read."""
    assert session.shots() == model.shots
    assert session.doubts() == model.doubts
    assert session.checks() == model.checks
    assert session.made() == model.made()
    assert session.remembered() == model.remembered()
    assert session.happenings() == model.happenings
    assert session.state() == (model.happenings[-1].state if model.happenings else "")
    assert session.open_question() == model.question
    assert session.next_command_id() == (model.shots[-1].intent.command_id + 1 if model.shots else 1)
    waiting = model.requests[model.taken :]
    assert session.wanted_again() == {
        frame for request in waiting if request.wanted == Word.RETAKE for frame in request.frames
    }
    for number in range(1, len(model.requests) + 1):
        assert session.is_taken(number) is (number <= model.taken)


@settings(max_examples=40)
@given(HISTORIES)
def test_whatever_is_read_follows_from_what_was_written(history: list[tuple[Any, ...]]) -> None:
    with TemporaryDirectory() as folder:
        path, model = Path(folder) / "s", Model()
        session = Session.create(path, {"kind": "test"}, durable=False)
        for act in history:
            if act == ("reopen",):
                session.close()
                session = Session.open(path, to_write=True)
            do(session, model, act)
            compare(session, model)
        session.close()
        with Session.open(path) as session:
            compare(session, model)
            assert session.losses == ()


@settings(max_examples=40)
@given(HISTORIES, st.sets(FRAMES))
def test_what_a_report_doubts_for_requests_is_what_a_run_would(history: list[tuple[Any, ...]], frames: set[int]) -> None:
    with TemporaryDirectory() as folder, Session.create(Path(folder) / "s", {}, durable=False) as session:
        model = Model()
        for act in history:
            do(session, model, act)
        foreseen = with_requests(model.doubts, model.shots, frames)
        assert [one for one in foreseen if one in model.doubts] == model.doubts
        counting = {(one.intent.frame, one.intent.exposure) for one in model.shots if model.counts(one)}
        assert {(one.frame, one.exposure) for one in foreseen[len(model.doubts) :]} == {
            pair for pair in counting if pair[0] in frames
        }
        assert all((one.upto, one.why) == (model.last, DoubtReason.RETAKE) for one in foreseen[len(model.doubts) :])


BLIND = {"zero_switch": False}


@settings(max_examples=50)
@given(HISTORIES, st.sets(st.sampled_from(AXES)), st.sets(FRAMES))
def test_an_axis_is_checked_when_it_was_seen_after_the_last_exposure_that_counts(
    history: list[tuple[Any, ...]], without: set[str], by_hand: set[int]
) -> None:
    kit = kit_of(head=dict.fromkeys(without, BLIND))
    with TemporaryDirectory() as folder, Session.create(Path(folder) / "s", {}, durable=False) as session:
        model = Model()
        for act in history:
            do(session, model, act)
        counting = [one.number for one in model.shots if model.counts(one) and one.intent.frame not in by_hand]
        expected = [
            axis
            for axis in AXES
            if any(
                axis in without or not any(check.axis == axis and check.upto >= number for check in model.checks)
                for number in counting
            )
        ]
        assert list(session.unchecked_axes(kit, by_hand)) == expected


@pytest.mark.parametrize("complete", [True, False])
def test_how_a_run_ended_and_which_time_of_day_it_was(tmp_path: Path, complete: bool) -> None:
    first, second = Moment(5, "2031-02-03T04:05:06+00:00"), Moment(6, "2031-02-03T05:05:06+00:00")
    with Session.create(tmp_path / "s", {"kind": "test", "plan": "{}"}, durable=False) as session:
        session.begin_run(RunReason.BEGUN, first)
        session.end_run("It is over.", complete=complete, utc=second.utc)
        ended = RunRow(1, RunReason.BEGUN, first, second.utc, "It is over.", complete)
        assert session.runs() == [ended]
        session.intend(Intent(0, 0, 1, 1, 0.0, 0.0, 1.0), 9)
        session.begin_run(RunReason.RESUMED, second)
        assert session.runs() == [ended, RunRow(2, RunReason.RESUMED, second)]
        assert session.plan_text() == "{}"
