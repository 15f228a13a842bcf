"""Zero checks: one after everything that moves, and on the way if much is at stake."""

from __future__ import annotations

from itertools import pairwise

import pytest

from controller.kit.kit import Kit
from controller.planning.make import make_plan
from controller.planning.plan import Frame
from controller.program.build import build_program, build_steps
from controller.program.course import SHARE, STAKE_NS
from controller.program.program import AskStep, Crossing, ExposeStep, MoveStep, Step
from protocol.units import NS
from tests.end_to_end.whole_runs import few_frames, kit_of

WITHOUT = {"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}


def row(pitch_deg: float, count: int = 12) -> tuple[Frame, ...]:
    return tuple(Frame(id=n, row=0, yaw_deg=30.0 * n - 170, pitch_deg=pitch_deg) for n in range(count))


def looks(steps: tuple[Step, ...]) -> list[int]:
    """The targets of moves without an exposure after them, except those that take up play."""
    return [
        at
        for at, (step, after) in enumerate(pairwise((*steps, None)))
        if isinstance(step, MoveStep) and not isinstance(after, ExposeStep)
    ]


def at_stake_s(kit: Kit, steps: tuple[Step, ...]) -> dict[str, float]:
    """The longest time of shooting between two checks of each axis, in seconds, from the steps alone."""
    longest = {}
    for axis in ("pan", "tilt"):
        since, spans = 0.0, [0.0]
        for step in steps:
            if isinstance(step, ExposeStep):
                since += (step.expected_ns + step.ready_ns) / NS
            elif isinstance(step, MoveStep) and getattr(step, axis).must:
                spans.append(since)
                since = 0.0
        assert since == 0
        longest[axis] = max(spans)
    return longest


@pytest.mark.parametrize("pitch_deg", [0.0, 0.1, 20.0, -50.0])
def test_each_program_ends_with_a_look_that_passes_both_switches(pitch_deg: float) -> None:
    for frames in (row(pitch_deg), row(pitch_deg)[8:], row(pitch_deg)[:1]):
        at_stake_s(kit_of(), build_program(kit_of(), frames).steps)


def test_a_short_run_looks_once() -> None:
    for pitch_deg, moves in ((20.0, 1), (0.0, 2)):  # from the switch itself it takes two moves: away from it, and past it
        assert len(looks(build_program(kit_of(), row(pitch_deg)).steps)) == moves


@pytest.mark.parametrize("pitch_deg", [0.0, 20.0, -50.0])
def test_a_long_run_looks_on_the_way(pitch_deg: float) -> None:
    kit = kit_of(exposure={"shutter_seconds": 100.0, "bracket_ev": [0, 0, 0], "bulb": True})
    blind = kit_of(exposure={"shutter_seconds": 100.0, "bracket_ev": [0, 0, 0], "bulb": True}, head=WITHOUT)
    program, without = build_program(kit, row(pitch_deg)), build_program(blind, row(pitch_deg))
    frame_s = 3 * 101
    assert at_stake_s(kit, program.steps)["tilt"] < STAKE_NS / NS + 2 * frame_s
    assert program.expected_ns < without.expected_ns * (1 + 2 * SHARE)


@pytest.mark.parametrize("focal_length_mm", [16.0, 24.0, 50.0])
def test_what_checking_costs(focal_length_mm: float) -> None:
    """A few seconds for the last zero check, and hardly anything on the way."""
    plan = make_plan(kit_of(focal_length_mm), 0.3)
    checked, without = (
        build_program(plan.kit, plan.frames),
        build_program(kit_of(focal_length_mm, head=WITHOUT), plan.frames),
    )
    assert checked.expected_ns - without.expected_ns < 10 * NS + SHARE * without.expected_ns


def test_a_head_without_switches_does_not_look() -> None:
    kit = kit_of(head=WITHOUT)
    steps = build_program(kit, few_frames()).steps
    assert isinstance(steps[-1], ExposeStep)
    assert all(step.pan == step.tilt == Crossing() for step in steps if isinstance(step, MoveStep))


def test_an_axis_without_a_switch_stays_where_it_is_while_the_other_one_is_looked_at() -> None:
    steps = build_program(kit_of(head={"pan": {"zero_switch": False}}), row(20.0)).steps
    last, look = (step for step in steps if isinstance(step, MoveStep) and step.frame == 11)
    assert (last.pan_steps, look.tilt_steps < 0) == (look.pan_steps, True)


def test_only_a_look_where_nothing_is_to_be_shot() -> None:
    steps = build_steps(kit_of(), few_frames(), set(), from_anywhere=True, standing=(6400, 0), look=True)
    assert [(step.pan.must, step.tilt.must) for step in steps if isinstance(step, MoveStep)] == [
        (False, False),
        (True, True),
    ]
    assert build_steps(kit_of(), few_frames(), set(), from_anywhere=True) == ()


def test_the_look_comes_before_a_frame_by_hand() -> None:
    by_hand = few_frames()[1].model_copy(update={"by_hand": True})
    steps = build_steps(kit_of(), (by_hand, *few_frames()[2:]), {(1, 0)}, from_anywhere=True, look=True)
    kinds = [type(step) for step in steps]
    assert kinds == [MoveStep, MoveStep, AskStep, ExposeStep]
