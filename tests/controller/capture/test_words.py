"""The words for a run: every member of an enum has its own, and all of them can be shown."""

from __future__ import annotations

import ast
import string
from pathlib import Path

import pytest

from controller.capture import shooting
from controller.capture.events import EventKind
from controller.capture.operator import ANSWERS, WORDS
from controller.capture.seen import Seen
from controller.capture.states import RunState
from controller.capture.table import ROWS, TransitionRow, rows_of
from controller.capture.words.board import CAUSES, LOST, REASONS, TROUBLES
from controller.capture.words.run import CHANGES, DOING, EVENTS, NOT_NARRATED, PAUSES, REQUESTS, STATES
from controller.capture.words.untruths import CURE, OF_PLACE, Untruth
from controller.display import Display
from controller.program.build import build_program
from controller.report.lanes import LANES
from controller.session.rows import Happening, Word
from protocol.messages import Cause, Reason
from protocol.statistics import Trouble
from tests.end_to_end.whole_runs import few_frames, kit_of
from tests.repo.test_layers import ROOT, program_files

S, K = RunState, EventKind
PROGRAM = build_program(kit_of(), few_frames())
ENTRIES = {(row.target, row.kind) for state in RunState for row in rows_of(state) if row.target not in {None, state}}
"""Every change of state in the table of a run: the new state, and the event that led to it."""


def test_every_state_has_its_words() -> None:
    assert set(STATES) == set(RunState)
    assert all(words.doing and words.tale for words in STATES.values())
    assert set(DOING) == set(RunState)
    assert all(sentence[0].isupper() and sentence.endswith(".") for sentence in DOING.values())
    lanes = {state: words.lane for state, words in STATES.items() if words.lane}
    assert set(lanes) == set(LANES)
    assert len(set(lanes.values())) == len(lanes)


def test_every_event_is_told_or_goes_without_saying() -> None:
    assert set(EVENTS) | NOT_NARRATED == set(EventKind)
    assert not set(EVENTS) & NOT_NARRATED
    assert set(EVENTS) <= {kind for _, kind in ENTRIES}


def test_a_detour_is_never_taken_without_a_warning() -> None:
    """Each key is a change in the table; a lost line has its words in `LOST`."""
    assert set(CHANGES) <= ENTRIES
    lost = {(S.SUSPENDED, K.LINK_LOST)}
    assert {entry for entry in ENTRIES if entry[0] in {S.SUSPENDED, S.WINDY}} - lost <= set(CHANGES)
    assert {(S.RECOVERING, K.NOT_CONFIRMED), (S.RECOVERING, K.OVERDUE), (S.REFERENCING, K.CHECKED)} <= set(CHANGES)


@pytest.mark.parametrize(("state", "kind"), sorted(ENTRIES))
def test_the_display_says_of_each_change_what_the_table_has(state: RunState, kind: EventKind) -> None:
    said: list[str] = []
    shown = Display(Seen(PROGRAM, 0, 0, 8), said.append)
    shown.change(Happening(1, state.value, kind.value, 0))
    assert [line for line in said if not line.startswith("Paused")] == [
        CHANGES[each] for each in [(state, kind)] if each in CHANGES
    ]
    assert any(line.startswith("Paused") for line in said) is (state is S.PAUSED)


def test_every_word_is_a_request_or_an_answer_and_has_its_reply() -> None:
    assert {*WORDS, *ANSWERS} == set(Word)
    assert not {*WORDS} & {*ANSWERS}
    assert set(REQUESTS) == {*WORDS.values()} - {K.RETAKE}
    pauses = {
        row.kind
        for rows in ROWS.values()
        for row in rows
        if isinstance(row, TransitionRow) and row.action is shooting.want_pause
    }
    assert set(PAUSES) == {None, *pauses}
    for sentence in REQUESTS.values():
        assert {name for _, name, _, _ in string.Formatter().parse(sentence) if name} <= {"path"}


def test_there_is_a_sentence_for_everything_the_board_says() -> None:
    assert set(REASONS) == set(Reason)
    assert set(CAUSES) == set(Cause)
    assert set(TROUBLES) == set(LOST) == {*Trouble, None}
    spoken = [*REASONS.values(), *CAUSES.values(), *TROUBLES.values(), *LOST.values(), *CHANGES.values()]
    for sentence in (*spoken, *REQUESTS.values(), *(untruth.template for untruth in Untruth)):
        assert sentence[0].isupper()
        assert sentence[-1] in ".?"


def calls_of_lie() -> list[tuple[str, str, set[str]]]:
    """Every call for an untruth: the file, its name, and the values that are filled in."""
    found = []
    for path in program_files():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in {"lie", "belief.lie"}:
                (untruth,) = node.args
                filled = {each.arg or "**" for each in node.keywords} - {"place"}
                found.append((f"{name_of_file(path)}:{node.lineno}", ast.unparse(untruth), filled))
    return found


def name_of_file(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def places_of(template: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


def test_every_untruth_is_spoken_with_all_that_its_sentence_needs() -> None:
    spoken = calls_of_lie()
    assert {name for _, name, _ in spoken} == {f"Untruth.{untruth.name}" for untruth in Untruth}
    for where, name, filled in spoken:
        assert filled == places_of(Untruth[name.removeprefix("Untruth.")].template), where


def test_every_untruth_ends_with_what_to_do() -> None:
    assert set(OF_PLACE) < set(Untruth)
    for untruth in Untruth:
        assert untruth.template.endswith(CURE)
        assert untruth.value[-1] in ";," or untruth.value.endswith("then")
