"""The head moved by hand: on the rig, one motion after the other."""

import pytest

from controller.capture.events import EventKind, Wanted
from controller.capture.hand import UNSHAPED, Hand
from controller.errors import InputError, LinkLost, RunStopped, WorldError
from controller.kit.kit import Kit
from protocol.shaper import PLAIN, Shaper
from sim.scenario import Fault, Scenario
from tests.end_to_end.whole_runs import World, kit_of, let_pass, world_of
from tests.people import hearing

KIT = kit_of()
BLIND = kit_of(head={"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}})
NS = 1_000_000_000
SHAPER = Shaper(((0, 32_768), (80, 32_768)))


def ready(kit: Kit = KIT, seed: int = 1) -> tuple[World, Hand]:
    world = world_of(kit, (), seed=seed)
    hand = Hand(world.port, world.program)
    hand.wait_ready()
    return world, hand


def pose(world: World) -> tuple[float, float]:
    let_pass(world.port, 30.0)
    return world.rig.head.pose_deg(world.port.now())


def test_it_finds_zero_and_goes_where_it_is_told() -> None:
    world, hand = ready()
    assert not hand.known
    hand.wait_zero()
    assert pose(world) == pytest.approx((0, 0), abs=0.01)
    hand.wait_ready()  # the watchdog has stopped the board meanwhile; it still knows its position
    assert hand.known
    hand.wait_move(3200, -640)
    assert hand.pose_deg == (10.0, -2.0)
    assert pose(world) == pytest.approx((10, -2), abs=0.01)


def test_without_switches_zero_is_where_it_stands() -> None:
    world, hand = ready(BLIND)
    assert not hand.finds_zero
    hand.wait_zero()
    hand.wait_move(1600, 320)
    hand.wait_zero()
    hand.wait_move(320, 0)
    assert hand.at_steps == (320, 0)
    assert pose(world) == pytest.approx((6.0, 1.0), abs=0.01)


def test_beyond_the_limits_it_does_not_go() -> None:
    _, hand = ready()
    hand.wait_zero()
    with pytest.raises(InputError, match=r"outside the limits of head\.tilt"):
        hand.wait_move(0, 100 * 320)
    assert hand.at_steps == (0, 0)


def test_a_shaper_lasts_until_the_head_rests() -> None:
    """The way is exact, takes longer by the shaper's length, and the next motion is plain again."""
    world, hand = ready()
    hand.wait_zero()
    lasted = []
    for shapers, goal in ((UNSHAPED, 640), ((SHAPER, PLAIN), 1280), (UNSHAPED, 1920)):
        hand.wait_ready() if shapers == UNSHAPED else hand.wait_known()
        hand.wait_armed(shapers)
        expected_ns = hand.motion_ns((goal, 0))
        hand.wait_move(goal, 0)
        motion = world.rig.head.pan.motion
        lasted.append((motion.end_ns - motion.begin_ns) / NS)
        assert abs(expected_ns / NS - lasted[-1]) < 0.01
        hand.wait_rest()
        assert hand.at_steps == (goal, 0)
    assert lasted[0] == lasted[2]
    assert lasted[1] - lasted[0] == pytest.approx(SHAPER.duration_ms / 1000)


def test_a_board_that_does_not_shape_is_not_asked_to() -> None:
    _, hand = ready(kit_of(board={"shapes_ramps": False}))
    hand.wait_rest()
    assert not hand.shapes
    with pytest.raises(WorldError, match=r"does not shape its ramps; it needs firmware of protocol 1\.2"):
        hand.wait_armed((SHAPER, PLAIN))
    hand.wait_armed()


def to_and_fro(hand: Hand) -> None:
    while True:
        hand.wait_move(300 * 320, 0)
        hand.wait_move(0, 0)


@pytest.mark.parametrize("kind", [EventKind.PAUSE, EventKind.STOP, EventKind.HALT])
def test_ctrl_c_stops_it(kind: EventKind) -> None:
    world = world_of(KIT, ())
    requests = iter([None] * 200)
    hand = Hand(
        world.port,
        world.program,
        hearing(lambda: Wanted(kind) if world.port.now() > 20 * NS else next(requests, None)),
    )
    hand.wait_ready()
    hand.wait_zero()
    world.port.wake_at(20 * NS + 1)
    with pytest.raises(RunStopped, match="Stopped as asked"):
        to_and_fro(hand)
    assert not world.rig.board._silence_ns


@pytest.mark.parametrize(
    ("kind", "error", "words"),
    [
        ("line-cut", LinkLost, "does not answer"),
        ("limit-hit", WorldError, "limit switch"),
        ("board-reset", WorldError, "restarted"),
        ("stop-switch", WorldError, "stop switch"),
    ],
)
def test_what_goes_wrong_is_a_sentence(kind: str, error: type[WorldError], words: str) -> None:
    world, hand = ready()
    hand.wait_zero()
    fault = Fault(kind, at_s=world.port.now() / NS + 3.0)
    world.rig.incidents = type(world.rig.incidents)(Scenario("drawn", "", (fault,)))
    with pytest.raises(error, match=words):
        hand.wait_move(300 * 320, 0)
