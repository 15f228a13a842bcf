"""The state table itself: complete, without dead ends, and as its words say."""

from __future__ import annotations

import pickle
from dataclasses import replace
from typing import Any

import pytest
from transitions import MachineError

from controller.capture.effects import Conclude, Doubt, End, SendUrgent, ZeroLost
from controller.capture.events import Event, EventKind
from controller.capture.machine import handle
from controller.capture.run import Run
from controller.capture.shooting import complete, complete_without_board
from controller.capture.states import AWAY, ENDING, FINAL, PARENT, RunState, StateGroup, lineage
from controller.capture.table import ANYWHERE, IGNORED, NEXT, NOTES, OF_BOARD, ROWS, Onward, TransitionRow, rows_of
from controller.program.build import build_program
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.messages import Cause, EdgeFlag, Index, Outcome, Reason, Stop
from protocol.statistics import Trouble
from protocol.units import BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
S = RunState
PAIRS = [(state, kind) for state in RunState for kind in EventKind]
IN_TABLE = {(state, row.kind) for state in RunState for row in rows_of(state)}
# The step at the cursor of a run in this state: 0 is a move, 1 the first exposure after it.
CURSOR = {
    state: 1 if state in {S.SETTLING, S.EXPOSING, S.TRANSFERRING, S.RECOVERING, S.LISTENING} else 0 for state in RunState
}
OUTCOME = {
    EventKind.EXPOSED: Outcome.EXPOSED_SYNC,
    EventKind.NOT_CONFIRMED: Outcome.NO_SYNC,
    EventKind.CUT_SHORT: Outcome.CUT_SHORT,
}


def run_in(state: RunState) -> Run:
    run = Run(PROGRAM)
    run.state = state
    run.progress.cursor = CURSOR[state]
    run.board.boot_id = BootId(3) if state is not S.CONNECTING else None
    if state in {S.EXPOSING, S.STOPPING, S.TRANSFERRING, *AWAY}:
        run.shot.id = 9
    if state in {S.TRANSFERRING, S.STOPPING, *AWAY}:
        run.shot.opened = event_of(EventKind.EXPOSED)
    return run


def event_of(kind: EventKind) -> Event:
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
    return {row.target for row in rows_of(state) if row.target is not None}


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
    assert not rows_of(state)


def test_every_event_is_used() -> None:
    assert {row.kind for rows in ROWS.values() for row in rows} | ANYWHERE.kinds == set(EventKind)


@pytest.mark.parametrize(("state", "kind"), [pair for pair in PAIRS if pair not in IN_TABLE])
def test_a_pair_outside_the_table_raises_and_changes_nothing(state: RunState, kind: EventKind) -> None:
    run = run_in(state)
    before = pickle.dumps({name: value for name, value in vars(run).items() if name != "program"})
    with pytest.raises(MachineError):
        handle(run, event_of(kind))
    assert pickle.dumps({name: value for name, value in vars(run).items() if name != "program"}) == before


@pytest.mark.parametrize(("state", "kind"), [pair for pair in PAIRS if pair in IN_TABLE])
def test_a_pair_of_the_table_goes_where_it_says(state: RunState, kind: EventKind) -> None:
    run = run_in(state)
    handle(run, event_of(kind))
    targets = {row.target or state for row in rows_of(state) if row.kind is kind}
    assert run.state in targets
    if len(targets) == 1:
        assert run.state is next(iter(targets))


LIVE = [state for state in RunState if state not in (*FINAL, S.IDLE)]
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


@pytest.mark.parametrize("kind", sorted(OF_BOARD))
@pytest.mark.parametrize("state", LIVE)
def test_nothing_that_a_board_may_bring_about_is_undefined(state: RunState, kind: EventKind) -> None:
    """Whatever a board reports, and whenever: no exception, and a state of the table."""
    run = run_in(state)
    fresh = pickle.dumps(run)
    for words in WORDS:
        for remembers in (False, True):
            run = pickle.loads(fresh)
            run.patience.suspended_since_ns = 0 if remembers else None
            run.position.known = remembers
            event = replace(event_of(kind), **words)
            effects = handle(run, event)
            assert run.state in RunState
            if run.state in FINAL:
                assert isinstance(effects[-1], End)


@pytest.mark.parametrize("state", LIVE)
def test_after_a_contradiction_the_head_is_stopped_and_nothing_is_claimed(state: RunState) -> None:
    run = run_in(state)
    run.shot.id = 9
    run.progress.left = set()
    run.position.unchecked["pan"].append((0, 0))
    effects = handle(run, replace(event_of(EventKind.CONTRADICTED), sentence="It cannot be.", place=True))
    assert run.state is (S.FAILED if state is S.CONNECTING else S.STOPPING)
    assert Conclude(9, ShotOutcome.UNCONFIRMED, None) in effects
    assert Doubt(((0, 0),), DoubtReason.SUSPECT) in effects
    assert ZeroLost() in effects
    told = state in {S.QUIETING, *ENDING, S.CONNECTING}
    assert (SendUrgent(Stop()) in effects) is not told
    if state is not S.CONNECTING:
        effects = handle(run, replace(event_of(EventKind.AT_REST), cause=Cause.NONE))
    (end,) = [effect for effect in effects if isinstance(effect, End)]
    assert (end.complete, end.sentence) == (False, "It cannot be.")


def test_a_head_without_switches_doubts_all_that_it_made() -> None:
    bare = {"zero_switch": False}
    run = Run(build_program(kit_of(head={"pan": bare, "tilt": bare}), few_frames()))
    run.state = S.MOVING
    run.count_made((0, 0))
    run.count_made((1, 0))
    effects = handle(run, replace(event_of(EventKind.CONTRADICTED), sentence="It cannot be.", place=True))
    assert Doubt(((0, 0), (1, 0)), DoubtReason.SUSPECT) in effects


@pytest.mark.parametrize("state", LIVE)
@pytest.mark.parametrize("pressed", [EventKind.STOP, EventKind.HALT])
def test_the_operator_is_heard_in_every_state(state: RunState, pressed: EventKind) -> None:
    run = run_in(state)
    handle(run, event_of(pressed))
    assert run.state in (S.FAILED, *ENDING)
    if run.state is not S.FAILED:
        for ending in (EventKind.AT_REST, EventKind.OVERDUE):
            again = run_in(run.state)
            handle(again, event_of(ending))
            assert again.state in FINAL


def test_only_after_the_last_exposure_is_a_run_complete() -> None:
    ends = [(state, row.action) for state in RunState for row in rows_of(state) if row.target is S.DONE]
    assert ends == [(S.CLOSING, action) for action in (complete, complete_without_board, complete)]


def test_no_row_is_out_of_reach() -> None:
    """Each row, also of a group, is tried in at least one state: none follows an unconditional one."""
    reached = [row for state in RunState for row in rows_of(state)]
    for rows in ROWS.values():
        for row in rows:
            if isinstance(row, TransitionRow):
                assert row in reached, row
            else:
                assert TransitionRow(row.kind, row.target, row.action) in reached, row


def test_what_is_ignored_is_ignored_and_says_why() -> None:
    for source, ignored in IGNORED.items():
        assert ignored.reason.endswith(".")
        for state in RunState:
            if source in lineage(state):
                assert {row.kind for row in rows_of(state) if row.target is None and row.action is None} >= ignored.kinds
    assert {row.kind for state in LIVE for row in rows_of(state)} >= OF_BOARD


def test_the_groups_are_a_tree_of_states() -> None:
    assert set(PARENT.values()) == set(StateGroup)
    for state in RunState:
        line = lineage(state)
        assert len(set(line)) == len(line)
        assert line[0] is state
    for group in (StateGroup.PEOPLE, StateGroup.COMMANDED, StateGroup.WAITING, StateGroup.WATCHING):
        assert PARENT[group] is StateGroup.UNDERWAY


def test_whatever_ends_leads_onward_by_the_same_choice() -> None:
    onward = [(source, row) for source, rows in ROWS.items() for row in rows if isinstance(row, Onward)]
    for source, row in onward:
        states = [state for state in RunState if source in lineage(state)]
        for state in states:
            tried = [each for each in rows_of(state) if each.kind is row.kind]
            choice = [TransitionRow(row.kind, target, action, condition) for condition, target, action in NEXT]
            assert tried[-len(NEXT) - 1 : -1] == choice


def test_what_is_noted_is_noted_on_pairs_of_the_table() -> None:
    assert set(NOTES) <= IN_TABLE


@pytest.mark.parametrize("word", [*EventKind, *RunState])
def test_a_session_keeps_events_and_states_by_their_names(word: EventKind | RunState) -> None:
    """Sessions of earlier versions are read by these words."""
    assert word.value == word.name.lower()
