"""The core finds the edge of its flags from anywhere, and gives up where there is none."""

from __future__ import annotations

from ctypes import CDLL

import pytest

from protocol.messages import BoardState, Cause, Finished, Held, Outcome, Reason, Reference, Refused, StatusFlag
from tests.protocol.board.core import Core
from tests.protocol.board.talker import LIMIT, SPEED, Talker


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


@pytest.mark.parametrize("stuck", [1, 2, 3])
def test_gives_up_within_twice_the_travel(core: Core, talker: Talker, stuck: int) -> None:
    talker.greet()
    talker.configure()
    talker.arm()
    core.stick_flags(stuck)
    ended = talker.reference(SPEED)
    assert ended.outcome is Outcome.CUT_SHORT
    status = talker.status()
    assert (status.state, status.cause, status.flags) == (BoardState.DISARMED, Cause.LIMIT, StatusFlag(0))
    assert [held.cause for held in talker.of(Held)] == [Cause.LIMIT]
    assert max(core.steps) == 2 * 2 * LIMIT


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
