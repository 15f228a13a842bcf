"""The state table itself: complete, without dead ends, and true to its words."""

from __future__ import annotations

import pickle
import re
from dataclasses import replace
from typing import Any

import pytest
from transitions import MachineError

import controller.capture.machine as machine_module
from controller.capture.belief import SENTENCES
from controller.capture.effects import Conclude, Doubt, End, SendUrgent, ZeroLost
from controller.capture.events import Event, Kind
from controller.capture.machine import Run
from controller.capture.sentences import CAUSES, REASONS, TROUBLES
from controller.capture.states import AWAY, ENDING, FINAL, NOTES, OF_BOARD, ROWS, STRAYS, RunState, mermaid
from controller.program.build import build_program
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.messages import Cause, EdgeFlag, Index, Outcome, Reason, Stop
from protocol.statistics import Trouble
from protocol.units import BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
S = RunState
PAIRS = [(state, kind) for state in RunState for kind in Kind]
IN_TABLE = {(source, row.kind) for row in (*ROWS, *STRAYS) for source in row.sources}
# The step that a run in this state has in hand: 0 is a move, 1 the first exposure after it.
CURSOR = {
    state: 1 if state in {S.SETTLING, S.EXPOSING, S.TRANSFERRING, S.RECOVERING, S.LISTENING} else 0 for state in RunState
}
OUTCOME = {
    Kind.EXPOSED: Outcome.EXPOSED_SYNC,
    Kind.NOT_CONFIRMED: Outcome.NO_SYNC,
    Kind.CUT_SHORT: Outcome.CUT_SHORT,
}


def run_in(state: RunState) -> Run:
    run = Run(PROGRAM)
    run.state = state
    run.cursor = CURSOR[state]
    run.boot_id = BootId(3) if state is not S.CONNECTING else None
    if state in {S.EXPOSING, S.STOPPING, S.TRANSFERRING, *AWAY}:
        run.exposing_id, run.exposing = 9, (0, 0)
    if state in {S.TRANSFERRING, S.STOPPING, *AWAY}:
        run.opened = event_of(Kind.EXPOSED)
    return run


def event_of(kind: Kind) -> Event:
    return Event(
        kind,
        5_000_000_000,
        command_id=CommandId(9),
        outcome=OUTCOME.get(kind, Outcome.NONE),
        reason=Reason.BUSY,
        cause=Cause.STALL,
        boot_id=BootId(3),
        index=Index(0, Steps(0), EdgeFlag(0), 0, Steps(0), EdgeFlag(0)),
    )


def ways(state: RunState) -> set[RunState]:
    return {row.target for row in ROWS if state in row.sources and row.target is not None}


def within_reach(start: RunState) -> set[RunState]:
    found, left = {start}, [start]
    while left:
        new = ways(left.pop()) - found
        found |= new
        left += new
    return found


def test_every_state_can_be_reached() -> None:
    assert within_reach(S.IDLE) == set(RunState)


@pytest.mark.parametrize("state", RunState)
def test_every_state_has_a_way_to_an_end(state: RunState) -> None:
    assert within_reach(state) & set(FINAL)


@pytest.mark.parametrize("state", FINAL)
def test_an_end_is_an_end(state: RunState) -> None:
    assert not [row for row in ROWS if state in row.sources]


def test_every_event_is_used() -> None:
    assert {row.kind for row in ROWS} == set(Kind)


@pytest.mark.parametrize(("state", "kind"), [pair for pair in PAIRS if pair not in IN_TABLE])
def test_a_pair_outside_the_table_raises_and_changes_nothing(state: RunState, kind: Kind) -> None:
    run = run_in(state)
    before = {name: value for name, value in vars(run).items() if name != "_machine"}
    with pytest.raises(MachineError):
        run.handle(event_of(kind))
    after = {name: value for name, value in vars(run).items() if name != "_machine"}
    assert after == before | {"effects": []}


@pytest.mark.parametrize(("state", "kind"), [pair for pair in PAIRS if pair in IN_TABLE])
def test_a_pair_of_the_table_goes_where_it_says(state: RunState, kind: Kind) -> None:
    run = run_in(state)
    run.handle(event_of(kind))
    targets = {row.target or state for row in (*ROWS, *STRAYS) if row.kind is kind and state in row.sources}
    assert run.state in targets
    if len(targets) == 1:
        assert run.state is next(iter(targets))


LIVE = [state for state in RunState if state not in (*FINAL, S.IDLE)]
LASTS = {"_machine", "program", "steps", "effects"}
CHANGES = {name for name, value in vars(Run(PROGRAM)).items() if name not in LASTS and not callable(value)}
WORDS: list[dict[str, Any]] = [
    *({"outcome": outcome, "command_id": CommandId(9)} for outcome in Outcome),
    *({"reason": reason} for reason in (*Reason, None)),
    *({"cause": cause} for cause in Cause),
    *({"trouble": trouble} for trouble in (*Trouble, None)),
    *({"command_id": CommandId(last)} for last in (0, 1, 2**31, 2**32 - 1)),
    *({"place": place, "sentence": "It cannot be."} for place in (False, True)),
    {"unmet": ("pan",)},
    {"boot_id": BootId(4)},
    {"known": True, "at_steps": (7, -7)},
    {"index": Index(2**32 - 1, Steps(2**31 - 1), EdgeFlag(3), 1, Steps(-(2**31)), EdgeFlag(0))},
]


@pytest.mark.parametrize("kind", OF_BOARD)
@pytest.mark.parametrize("state", LIVE)
def test_nothing_that_a_board_may_bring_about_is_undefined(state: RunState, kind: Kind) -> None:
    """Whatever it says, and whenever: no exception, and a state of the table."""
    run = run_in(state)
    fresh = pickle.dumps({name: value for name, value in vars(run).items() if name in CHANGES})
    for words in WORDS:
        for remembers in (False, True):
            vars(run).update(pickle.loads(fresh))
            run.suspended_since_ns = 0 if remembers else None
            run.position_known = remembers
            event = replace(event_of(kind), **words)
            effects = run.handle(event)
            assert run.state in RunState
            if run.state in FINAL:
                assert isinstance(effects[-1], End)


@pytest.mark.parametrize("state", LIVE)
def test_after_a_contradiction_the_head_is_stopped_and_nothing_is_claimed(state: RunState) -> None:
    run = run_in(state)
    run.exposing_id = 9
    run.left = set()
    run.unchecked["pan"].append((0, 0))
    effects = run.handle(replace(event_of(Kind.CONTRADICTED), sentence="It cannot be.", place=True))
    assert run.state is (S.FAILED if state is S.CONNECTING else S.STOPPING)
    assert Conclude(9, ShotOutcome.UNCONFIRMED, None) in effects
    assert Doubt(((0, 0),), DoubtReason.SUSPECT) in effects
    assert ZeroLost() in effects
    told = state in {S.QUIETING, *ENDING, S.CONNECTING}
    assert (SendUrgent(Stop()) in effects) is not told
    if state is not S.CONNECTING:
        effects = run.handle(replace(event_of(Kind.AT_REST), cause=Cause.NONE))
    (end,) = [effect for effect in effects if isinstance(effect, End)]
    assert (end.complete, end.sentence) == (False, "It cannot be.")


def test_a_head_without_switches_doubts_all_that_it_made() -> None:
    bare = {"zero_switch": False}
    run = Run(build_program(kit_of(head={"pan": bare, "tilt": bare}), few_frames()))
    run.state = S.MOVING
    run.count_made((0, 0))
    run.count_made((1, 0))
    effects = run.handle(replace(event_of(Kind.CONTRADICTED), sentence="It cannot be.", place=True))
    assert Doubt(((0, 0), (1, 0)), DoubtReason.SUSPECT) in effects


@pytest.mark.parametrize("state", LIVE)
@pytest.mark.parametrize("wish", [Kind.STOP, Kind.HALT])
def test_the_operator_is_heard_in_every_state(state: RunState, wish: Kind) -> None:
    run = run_in(state)
    run.handle(event_of(wish))
    assert run.state in (S.FAILED, *ENDING)
    if run.state is not S.FAILED:
        for ending in (Kind.AT_REST, Kind.OVERDUE):
            again = run_in(run.state)
            again.handle(event_of(ending))
            assert again.state in FINAL


def test_only_after_the_last_exposure_is_a_run_complete() -> None:
    assert [row.action for row in ROWS if row.target is S.DONE] == ["complete", "complete_unheard", "complete"]
    assert {source for row in ROWS if row.target is S.DONE for source in row.sources} == {S.CLOSING}


@pytest.mark.parametrize("field", ["action", "condition"])
def test_a_misspelt_name_fails_when_the_machine_is_built(monkeypatch: pytest.MonkeyPatch, field: str) -> None:
    wrong = replace(ROWS[-1], **{field: "no_such_name"})  # type: ignore[arg-type]
    monkeypatch.setattr(machine_module, "ROWS", (*ROWS[:-1], wrong))
    with pytest.raises(AttributeError, match="no_such_name"):
        Run(PROGRAM)


def test_a_name_that_is_no_method_fails_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine_module, "ROWS", (replace(ROWS[0], action="cursor"), *ROWS[1:]))
    with pytest.raises(AttributeError, match="cursor"):
        Run(PROGRAM)


def test_what_is_noted_is_noted_on_pairs_of_the_table() -> None:
    assert set(NOTES) <= IN_TABLE


def test_there_is_a_sentence_for_everything_the_board_says() -> None:
    assert set(REASONS) == set(Reason)
    assert set(CAUSES) == set(Cause)
    assert set(TROUBLES) == {*Trouble, None}
    for sentence in (*REASONS.values(), *CAUSES.values(), *TROUBLES.values(), *SENTENCES.values()):
        assert sentence[0].isupper()
        assert sentence[-1] in ".?"


def test_the_diagram_has_an_arrow_for_each_row_and_source() -> None:
    first, begin, *arrows = mermaid().splitlines()
    assert first == "stateDiagram-v2"
    assert begin.strip() == "[*] --> idle"
    names = "|".join(state.value for state in RunState)
    pattern = re.compile(rf"    ({names}) --> (?:({names}): [a-z_]+(?: \[[a-z_]+\])?|\[\*\])")
    assert all(pattern.fullmatch(arrow) for arrow in arrows)
    ends = [arrow for arrow in arrows if arrow.endswith("[*]")]
    assert [arrow.split()[0] for arrow in ends] == [state.value for state in FINAL]
    assert len(arrows) - len(ends) == sum(len(row.sources) for row in ROWS)
    assert "    exposing --> closing: exposed [nothing_left]" in arrows
