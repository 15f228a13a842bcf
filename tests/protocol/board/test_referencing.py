"""The core finds the edge of its flags from anywhere, and gives up if there is none."""

from __future__ import annotations

from ctypes import CDLL

import pytest

from protocol.messages import (
    BoardState,
    Cause,
    Finished,
    Held,
    Outcome,
    Reason,
    Reference,
    Refused,
    SetAxis,
    StatusFlag,
    Stop,
)
from protocol.units import AxisId, Steps
from tests.protocol.board.core import Core
from tests.protocol.board.talker import ACCEL, LIMIT, SPEED, Talker


@pytest.mark.parametrize("place", [(0, 0), (-1, 1), (1, -1), (37, -58), (-400, 900), (2500, -2500)])
@pytest.mark.parametrize(("search", "divisor"), [(500, 10), (SPEED, 1), (SPEED, 3), (20, 2)])
def test_zero_is_the_edge_from_anywhere(library: CDLL, place: tuple[int, int], search: int, divisor: int) -> None:
    core = Core(library, place=place, camera_ms=None)
    talker = Talker(core)
    talker.greet()
    talker.configure()
    talker.arm()
    finished = talker.reference(search, divisor)
    assert finished.outcome is Outcome.REFERENCED
    assert core.places == (0, 0)
    status = talker.status()
    assert (status.pan_steps, status.tilt_steps) == (0, 0)
    assert status.flags == StatusFlag.ARMED | StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN


def test_again_and_again(core: Core, talker: Talker) -> None:
    talker.make_ready()
    for target in ((100, -100), (-2000, 2000), (0, 0)):
        talker.order(talker.move(*target))
        talker.finish()
        talker.reference()
        assert core.places == (0, 0)


TRAVEL = 2 * LIMIT
BOUND = TRAVEL + TRAVEL // 32 + 32
PAN, TILT = StatusFlag.PAN_KNOWN, StatusFlag.TILT_KNOWN


@pytest.mark.parametrize(("stuck", "known"), [(1, TILT), (2, PAN), (3, StatusFlag(0))])
@pytest.mark.parametrize("place", [(37, -58), (-37, 58), (-LIMIT, LIMIT), (LIMIT, -LIMIT)])
def test_gives_up_at_the_end_of_the_travel(library: CDLL, place: tuple[int, int], stuck: int, known: StatusFlag) -> None:
    """At once, however far the other axis is; the axis that met its switch shows which one is missing."""
    core = Core(library, place=place, camera_ms=None)
    talker = Talker(core)
    talker.greet()
    talker.configure()
    talker.arm()
    core.stick_flags(stuck)
    ended = talker.reference(SPEED)
    assert ended.outcome is Outcome.CUT_SHORT
    status = talker.status()
    if max(map(abs, place)) < 1000:  # otherwise the other axis was still searching, and is unknown as well
        assert status.flags == known
    assert not status.flags & (StatusFlag.ARMED | (PAN if stuck & 1 else TILT))
    assert (status.state, status.cause) == (BoardState.DISARMED, Cause.ZERO_NOT_FOUND)
    assert [held.cause for held in talker.of(Held)] == [Cause.ZERO_NOT_FOUND]
    assert all(steps == BOUND for axis, steps in enumerate(core.steps) if stuck == 1 << axis)
    assert max(core.steps) <= BOUND
    assert talker.ask(talker.move(0, 0)) == Refused(Reason.NOT_ARMED)
    talker.arm()
    assert talker.ask(talker.move(0, 0)) == Refused(Reason.UNKNOWN_POSITION)


@pytest.mark.parametrize(
    ("low", "high", "bound"),
    [
        (-LIMIT, LIMIT, BOUND),
        (-100, 300, 400 + 12 + 32),
        (200, 300, 300 + 9 + 32),
        (-300, -200, 300 + 9 + 32),
        (0, 1, 33),
    ],
)
def test_the_bound_counts_zero_in(core: Core, talker: Talker, low: int, high: int, bound: int) -> None:
    talker.greet()
    for axis in AxisId:
        talker.order(SetAxis(talker.next_id(), axis, Steps(low), Steps(high), SPEED, ACCEL))
    talker.arm()
    core.stick_flags(3)
    assert talker.reference(SPEED).outcome is Outcome.CUT_SHORT
    assert max(core.steps) == bound


def test_a_travel_of_all_there_is_does_not_run_over(core: Core, talker: Talker) -> None:
    talker.greet()
    for axis in AxisId:
        talker.order(SetAxis(talker.next_id(), axis, Steps(-(2**31)), Steps(2**31 - 1), SPEED, ACCEL))
    talker.arm()
    assert talker.reference().outcome is Outcome.REFERENCED
    assert core.places == (0, 0)


def referencing_pan_near_and_tilt_far(library: CDLL) -> tuple[Core, Talker]:
    """A reference run that has just begun, in which pan meets its switch long before tilt does."""
    core = Core(library, place=(-5, -4000), camera_ms=None)
    talker = Talker(core)
    talker.greet()
    talker.configure()
    talker.arm()
    talker.order(Reference(talker.next_id(), 500, 500, 10))
    return core, talker


def test_an_axis_is_known_from_the_moment_it_has_met_its_switch(library: CDLL) -> None:
    core, talker = referencing_pan_near_and_tilt_far(library)
    while core.known != PAN:
        assert core.known == 0
        talker.run(1)
    while core.state == BoardState.REFERENCING:
        if core.known & PAN:
            assert talker.status().pan_steps == core.places[0]
        talker.run(20)
    assert core.known == PAN | TILT


def test_a_ramp_to_rest_keeps_what_was_met(library: CDLL) -> None:
    core, talker = referencing_pan_near_and_tilt_far(library)
    while core.known != PAN:
        talker.run(1)
    talker.order(Stop())
    status = talker.await_disarmed()
    assert (status.flags, status.pan_steps) == (PAN, core.places[0])
    talker.arm()
    talker.reference()
    assert core.places == (0, 0)


def test_an_axis_without_a_flag_takes_its_place_for_zero(library: CDLL) -> None:
    core = Core(library, fitted=2, place=(37, -58))
    talker = Talker(core)
    talker.greet()
    talker.configure()
    talker.arm()
    talker.reference()
    assert core.places == (0, -58)
    status = talker.status()
    assert (status.pan_steps, status.tilt_steps) == (0, 0)


def test_the_position_is_unknown_meanwhile(talker: Talker) -> None:
    talker.make_ready()
    talker.order(talker.move(500, 500))
    talker.finish()
    talker.order(Reference(talker.next_id(), 500, 500, 10))
    assert talker.status().flags == StatusFlag.ARMED
    assert talker.ask(talker.move(0, 0)) == Refused(Reason.BUSY)
    talker.finish()
    assert talker.of(Finished)[-1].outcome is Outcome.REFERENCED
