"""The core records where a flag changes during a move, to the step; the simulated board records the same."""

from ctypes import CDLL

import pytest

from protocol.messages import Accepted, EdgeFlag, Index, Move
from protocol.units import Steps
from tests.protocol.board.core import Core
from tests.protocol.board.pair import Simulated
from tests.protocol.board.talker import Talker

UP_ON = EdgeFlag.UPWARD | EdgeFlag.ON
DOWN_OFF = EdgeFlag(0)
NOTHING = Index(0, Steps(0), EdgeFlag(0), 0, Steps(0), EdgeFlag(0))


@pytest.fixture(params=["core", "stand-in"])
def talker(request: pytest.FixtureRequest, library: CDLL) -> Talker:
    machine = Core(library, place=(300, -200), camera_ms=None) if request.param == "core" else Simulated()
    talker = Talker(machine)
    talker.make_ready()
    talker.reference()
    return talker


def move(talker: Talker, pan: int, tilt: int) -> None:
    assert talker.ask(Move(talker.next_id(), Steps(pan), Steps(tilt))) == Accepted()
    talker.finish()


def test_finding_zero_is_not_noted(talker: Talker) -> None:
    assert talker.index() == NOTHING


def test_a_move_across_zero_is(talker: Talker) -> None:
    move(talker, 500, 400)
    assert (talker.index().pan_edges, talker.index().tilt_edges) == (0, 0)
    move(talker, -500, 300)
    seen = talker.index()
    assert (seen.pan_edges, seen.pan_edge, seen.tilt_edges) == (1, DOWN_OFF, 0)
    assert seen.pan_steps == pytest.approx(-1, abs=1)
    move(talker, 700, -300)
    seen = talker.index()
    assert (seen.pan_edges, seen.pan_edge) == (2, UP_ON)
    assert seen.pan_steps == pytest.approx(0, abs=1)
    assert (seen.tilt_edges, seen.tilt_edge) == (1, DOWN_OFF)
    move(talker, 701, -301)
    assert talker.index() == seen


def test_steps_that_were_not_made_show(library: CDLL) -> None:
    """Lost steps shift the count relative to the flag."""
    simulated = Simulated()
    talker = Talker(simulated)
    talker.make_ready()
    talker.reference()
    move(talker, 500, 400)
    simulated.head.pan.lose(simulated.now_ms * 1_000_000, 64)
    move(talker, -500, 400)
    assert talker.index().pan_steps == pytest.approx(63, abs=1)
