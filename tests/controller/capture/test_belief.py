"""Everything a board can truthfully report is believed, and nothing else: the pure functions, over random commands."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture import belief
from controller.capture.belief import CommandOutcome, Known, SentCommand
from controller.program.build import build_program
from controller.program.timing import motion_ns
from protocol.messages import (
    BoardState,
    Capability,
    Cause,
    EdgeFlag,
    Expose,
    Index,
    Move,
    Outcome,
    Reference,
    Status,
    StatusFlag,
    Welcome,
)
from protocol.units import MS, BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(), few_frames())
FITTED = Capability.SYNC_CONTACT | Capability.PAN_SWITCH | Capability.TILT_SWITCH
BLIND = Capability.PAN_SWITCH | Capability.TILT_SWITCH
ID = CommandId(7)
NOW = 5_000_000_000
places = st.tuples(st.integers(-60_000, 60_000), st.integers(-28_000, 28_000))
late_ns = st.integers(0, 2_000_000_000)
clocks = st.integers(0, 2**32 - 1)


def asked(
    request: Reference | Move | Expose, at: tuple[int, int] | None = (0, 0), clock_ms: int | None = None
) -> SentCommand:
    return SentCommand(request, NOW, at, clock_ms, accepted=True)


def move_to(goal: tuple[int, int]) -> Move:
    return Move(ID, Steps(goal[0]), Steps(goal[1]))


def ramps_ns(here: tuple[int, int], goal: tuple[int, int]) -> int:
    axes = zip(here, goal, (PROGRAM.pan, PROGRAM.tilt), strict=True)
    return max(motion_ns(b - a, axis.speed_steps_s, axis.accel_steps_s2) for a, b, axis in axes)


@given(here=places, goal=places, late=late_ns, clock=clocks)
def test_a_true_arrival_is_believed(here: tuple[int, int], goal: tuple[int, int], late: int, clock: int) -> None:
    took = ramps_ns(here, goal) + late
    told = CommandOutcome(Outcome.ARRIVED, goal, (clock + took // MS) % 2**32, NOW + took)
    assert belief.of_end(asked(move_to(goal), here, clock), told, PROGRAM, FITTED) is None


@given(here=places, goal=places, off=places.filter(any), late=late_ns)
def test_an_arrival_elsewhere_is_not(
    here: tuple[int, int], goal: tuple[int, int], off: tuple[int, int], late: int
) -> None:
    there = (goal[0] + off[0], goal[1] + off[1])
    told = CommandOutcome(Outcome.ARRIVED, there, 0, NOW + ramps_ns(here, goal) + late)
    lie = belief.of_end(asked(move_to(goal), here), told, PROGRAM, FITTED)
    assert lie is not None
    assert lie.place
    assert f"pan {there[0]}, tilt {there[1]}" in lie.sentence
    assert f"pan {goal[0]}, tilt {goal[1]}" in lie.sentence


@given(here=places, goal=places, share=st.floats(0.0, 0.9), by_clock=st.booleans())
def test_an_arrival_before_the_ramps_allow_is_not(
    here: tuple[int, int], goal: tuple[int, int], share: float, by_clock: bool
) -> None:
    """By the host's clock and by the board's: a tenth too soon, on moves long enough for that to show."""
    least = ramps_ns(here, goal)
    took = round(least * share)
    told = CommandOutcome(Outcome.ARRIVED, goal, took // MS, NOW + (least if by_clock else took))
    lie = belief.of_end(asked(move_to(goal), here, 0), told, PROGRAM, FITTED)
    if least > 2_000 * MS:
        assert lie is not None
        assert lie.place
        assert "at least" in lie.sentence


@given(
    focus=st.integers(0, 2000),
    press=st.integers(1, 100_000),
    limit=st.integers(1, 100_000),
    late=late_ns,
    sync=st.booleans(),
)
def test_an_exposure_takes_focus_and_press(focus: int, press: int, limit: int, late: int, sync: bool) -> None:
    request = Expose(ID, 0, 0, focus, press, limit)
    outcome, fitted = (Outcome.EXPOSED_SYNC, FITTED) if sync else (Outcome.EXPOSED_BLIND, BLIND)
    least_ms = focus + press + (0 if sync else limit)
    took = least_ms * MS + late
    true = CommandOutcome(outcome, (4, 5), took // MS, NOW + took)
    whole = asked(request, (4, 5), 0)
    assert belief.of_end(whole, true, PROGRAM, fitted) is None
    soon = round(least_ms * 0.9)
    if least_ms > 500:
        for told in (replace(true, heard_ns=NOW + soon * MS), replace(true, clock_ms=soon)):
            lie = belief.of_end(whole, told, PROGRAM, fitted)
            assert lie is not None
            assert not lie.place
    other = BLIND if sync else FITTED
    assert belief.of_end(whole, true, PROGRAM, other) is not None
    moved = belief.of_end(whole, replace(true, at_steps=(4, 6)), PROGRAM, fitted)
    assert moved is not None
    assert moved.place


@pytest.mark.parametrize("outcome", Outcome)
@pytest.mark.parametrize("request_", [move_to((0, 0)), Reference(ID, 100, 100, 10), Expose(ID, 0, 0, 1, 1, 1)])
def test_a_command_has_the_ends_it_can_have(request_: Move | Reference | Expose, outcome: Outcome) -> None:
    for fitted in (FITTED, BLIND):
        lie = belief.of_end(asked(request_), CommandOutcome(outcome, (0, 0), 0, NOW + 10**12), PROGRAM, fitted)
        if outcome not in belief.ENDS[type(request_)]:
            assert lie is not None
            assert outcome.name in lie.sentence
        elif outcome is Outcome.CUT_SHORT:
            assert lie is None
    assert (outcome in {end for ends in belief.ENDS.values() for end in ends}) is (outcome is not Outcome.NONE)


def test_a_reference_run_moves_if_there_is_a_switch() -> None:
    request = Reference(ID, PROGRAM.pan_search_steps_s, PROGRAM.tilt_search_steps_s, 10)
    at_once = CommandOutcome(Outcome.REFERENCED, (0, 0), 0, NOW + MS)
    assert belief.of_end(asked(request, (0, 0), 0), at_once, PROGRAM, FITTED) is not None
    assert belief.of_end(asked(request, (0, 0), 0), at_once, PROGRAM, Capability.SYNC_CONTACT) is None
    assert (
        belief.of_end(
            asked(request, (0, 0), 0), replace(at_once, heard_ns=NOW + 3000 * MS, clock_ms=3000), PROGRAM, FITTED
        )
        is None
    )
    assert belief.of_end(asked(request, (0, 0), 0), replace(at_once, at_steps=(0, 1)), PROGRAM, FITTED) is not None


STATUS = Status(
    boot_id=BootId(3),
    state=BoardState.READY,
    flags=StatusFlag.ARMED | StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN,
    cause=Cause.NONE,
    pan_steps=Steps(4),
    tilt_steps=Steps(5),
    running_id=CommandId(0),
    finished_id=CommandId(6),
    finished_outcome=Outcome.ARRIVED,
    finished_clock_ms=900,
    clock_ms=1000,
)
KNOWN = Known(None, (4, 5), armed=True, stopped=False, status_clock_ms=990)
MOVING = replace(STATUS, state=BoardState.MOVING, running_id=ID)
MOVED = replace(KNOWN, asked=asked(move_to((9, 9)), (4, 5)))
TRUE: dict[str, tuple[Status, Known]] = {
    "ready": (STATUS, KNOWN),
    "moving": (MOVING, MOVED),
    "moved": (replace(STATUS, finished_id=ID, pan_steps=Steps(9)), MOVED),
    "not accepted yet": (STATUS, replace(MOVED, asked=replace(asked(move_to((9, 9))), accepted=False))),
    "stopped by itself": (replace(STATUS, state=BoardState.DISARMED, flags=StatusFlag(0)), KNOWN),
    "stopping": (replace(MOVING, state=BoardState.STOPPING, flags=StatusFlag(6)), MOVED),
    "its clock starts again": (
        replace(STATUS, clock_ms=5, finished_clock_ms=2**32 - 9),
        replace(KNOWN, status_clock_ms=2**32 - 1),
    ),
}


@pytest.mark.parametrize("name", TRUE)
def test_a_true_status_is_believed(name: str) -> None:
    assert belief.of_status(*TRUE[name]) is None


def test_a_true_index_is_believed_and_counts_grow() -> None:
    before = Index(2**32 - 1, Steps(3), EdgeFlag.UPWARD, 4, Steps(0), EdgeFlag.ON)
    after = replace(before, pan_edges=1, tilt_edges=5)
    assert belief.of_index(before, None, FITTED) is None
    assert belief.of_index(after, before, FITTED) is None
    lie = belief.of_index(before, after, FITTED)
    assert lie is not None
    assert "pan" in lie.sentence


@pytest.mark.parametrize(("size", "rate", "true"), [(43, 1, True), (42, 1, False), (0, 1, False), (64, 0, False)])
def test_a_welcome_of_a_board_that_can_work(size: int, rate: int, true: bool) -> None:
    welcome = Welcome(1, 0, 5, BootId(3), CommandId(0), FITTED, size, rate)
    assert (belief.of_welcome(welcome) is None) is true
