"""The state table itself: complete, without dead ends, and true to its words."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from transitions import MachineError

import controller.capture.machine as machine_module
from controller.capture.events import Event, Kind
from controller.capture.machine import Run
from controller.capture.sentences import CAUSES, REASONS
from controller.capture.states import ENDING, FINAL, NOTES, ROWS, RunState, mermaid
from controller.program.build import build_program
from protocol.messages import Cause, EdgeFlag, Index, Outcome, Reason
from protocol.units import BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
S = RunState
PAIRS = [(state, kind) for state in RunState for kind in Kind]
IN_TABLE = {(source, row.kind) for row in ROWS for source in row.sources}
# The step that a run in this state has in hand: 0 is a move, 1 the first exposure after it.
CURSOR = {state: 1 if state in {S.SETTLING, S.EXPOSING, S.RECOVERING, S.LISTENING} else 0 for state in RunState}
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
    run.exposing_id = 9 if state in {S.EXPOSING, S.STOPPING} else 0
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
    targets = {row.target or state for row in ROWS if row.kind is kind and state in row.sources}
    assert run.state in targets
    if len(targets) == 1:
        assert run.state is next(iter(targets))


@pytest.mark.parametrize("state", [s for s in RunState if s not in (*FINAL, S.IDLE)])
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
    for sentence in (*REASONS.values(), *CAUSES.values()):
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
