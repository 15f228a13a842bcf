"""A bracket that the camera steps through by itself, played through with such a camera."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.program.build import axis_settings, build_program, build_steps
from controller.program.program import ExposeStep
from controller.program.turn import BracketPosition
from tests.end_to_end.whole_runs import few_frames, kit_of


@given(st.integers(2, 9), st.data())
def test_whatever_is_missing_of_a_frame_is_there_afterwards(members: int, data: st.DataObject) -> None:
    """The camera's own counter is the truth; the `Turn` knows it, or does not."""
    truly = data.draw(st.integers(0, members - 1))
    turn = BracketPosition(members, data.draw(st.sampled_from([truly, None])), frame=0)
    wanted = data.draw(st.sets(st.integers(0, members - 1), min_size=1))
    order = turn.order(1, wanted)
    made = {(truly + n) % members for n in range(len(order))}
    assert wanted <= made
    if turn.coming is not None:
        assert [(truly + n) % members for n in range(len(order))] == order  # and each is the exposure that it counts as


@given(st.integers(2, 7), st.data())
def test_a_frame_that_is_gone_on_with_is_whole_whether_or_not_the_doubtful_one_was_made(
    members: int, data: st.DataObject
) -> None:
    before, was_made = data.draw(st.integers(0, members - 1)), data.draw(st.booleans())
    first = data.draw(st.integers(0, members - 1))  # the exposure with which the camera began this frame
    turn = BracketPosition(members, None).after(before, 4).lost(4)
    releases = before + was_made + len(turn.order(4, set(range(before, members))))
    assert {(first + n) % members for n in range(releases)} == set(range(members))
    assert releases <= members + 1


def test_what_comes_next_is_made_alone() -> None:
    assert BracketPosition(3, 1).order(0, {1, 2}) == [1, 2]
    assert BracketPosition(3, 2).order(0, {2, 0}) == [2, 0]
    assert BracketPosition(3, 0).order(0, {2}) == [0, 1, 2]
    assert BracketPosition(3, None, 7).order(0, {2}) == [0, 1, 2]
    assert BracketPosition(3, None, 7).order(7, {2}) == [2]


@pytest.mark.parametrize(
    ("exposure", "turns"),
    [
        ({"bracket_ev": [-1, 0, 1]}, True),
        ({"bracket_ev": [-1, 0, 1], "bulb": True}, False),
        ({"bracket_ev": [0, 0, 0]}, False),
        ({}, False),
    ],
)
def test_which_cameras_take_turns(exposure: dict[str, object], turns: bool) -> None:
    assert kit_of(exposure=exposure).exposure.shoots_bracket_itself is turns


def test_steps_follow_the_turn_from_frame_to_frame() -> None:
    kit = kit_of(exposure={"bracket_ev": [-1, 0, 1]})
    frames = few_frames()[:3]
    wanted = {(0, 1), (0, 2), (1, 2), (2, 0), (2, 1), (2, 2)}
    axes = axis_settings(kit, frames)
    steps = build_steps(kit, frames, wanted, axes, turn=BracketPosition(3, 1))
    shot = [(step.frame, step.exposure) for step in steps if isinstance(step, ExposeStep)]
    assert shot == [(0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (2, 0), (2, 1), (2, 2)]
    assert [s for s in build_program(kit, frames).steps if isinstance(s, ExposeStep)] == [
        s
        for s in build_steps(kit, frames, {(f, n) for f in range(3) for n in range(3)}, axes, turn=BracketPosition(3))
        if isinstance(s, ExposeStep)
    ]


@given(st.integers(1, 9), st.none() | st.integers(0, 60), st.none() | st.integers(0, 9))
def test_a_run_that_goes_on_counts_how_often_the_shutter_opened(
    members: int, exposures: int | None, latest: int | None
) -> None:
    """Before the first the camera stands at the first of its bracket; if nobody knows, nobody knows whose turn it is."""
    turn = BracketPosition.resumed(members, exposures, latest)
    assert (turn.members, turn.frame) == (members, latest)
    assert turn.coming == (None if exposures is None else exposures % members)
