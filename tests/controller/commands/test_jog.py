"""Moving the head by keys, on the rig in virtual time."""

from __future__ import annotations

from typing import Any

import pytest

from controller.calibration.mover import HandMover
from controller.calibration.records import AxisName
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.jog import HELP, HeadPlace, jog_by_keys, jog_to, place_of
from controller.capture.people import People
from controller.errors import InputError
from tests.end_to_end.whole_runs import World, kit_of, let_pass, world_of
from tests.people import Typist, keys_of

BLIND: dict[str, Any] = {"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}


def jogged(pressed: list[str], pause_s: float = 1.0, **head: Any) -> tuple[World, HeadPlace, list[str]]:
    world = world_of(kit_of(head=head), ())
    typist = Typist(world.port)
    people = typist.people()
    hand = Hand(world.port, world.program, gate=Gate(world.port.now, people.announce))
    hand.wait_known()
    jog_by_keys(hand, keys_of(pressed, world.port, pause_s), people)
    place = place_of(hand)
    hand.wait_rest()
    let_pass(world.port, 30)
    return world, place, typist.said


@pytest.mark.parametrize("right", ["r", "\x1b[C", "\xe0M"])
def test_keys_move_it(right: str) -> None:
    world, place, said = jogged([right, right, "1", "u", "3", "d", "4", "l", "q"])
    assert (place.pan_steps, place.tilt_steps) == (2 * 320 - 1, 3200 - 32)
    assert world.rig.head.pose_deg(world.port.now()) == pytest.approx((place.yaw_deg, place.pitch_deg), abs=0.01)
    assert said[0] == HELP
    assert said[-1] == place.text()
    assert "10° at a time" in said


def test_a_pose_is_the_cameras_on_a_head_that_leans() -> None:
    lean: dict[str, Any] = {"lean_deg": 4.0, "lean_toward_deg": 50.0}
    world, place, _ = jogged(["1", "r", "u", "u", "u", "q"], **lean)
    assert world.rig.head.pose_deg(world.port.now()) == pytest.approx((place.yaw_deg, place.pitch_deg), abs=0.01)
    assert place.tilt_steps > 320 * (place.pitch_deg + 2)
    world = world_of(kit_of(head=lean), ())
    people = Typist(world.port).people()
    hand = Hand(world.port, world.program, gate=Gate(world.port.now, people.announce))
    jog_to(hand, world.program, 40.0, -25.0, people)
    hand.wait_rest()
    let_pass(world.port, 30)
    assert world.rig.head.pose_deg(world.port.now()) == pytest.approx((40.0, -25.0), abs=0.01)


def test_the_board_keeps_its_patience_however_long_somebody_looks() -> None:
    _, place, _ = jogged(["r", "r", "q"], pause_s=600.0)
    assert place.pan_steps == 640


def test_a_limit_and_an_unknown_key_are_told() -> None:
    _, place, said = jogged(["1", *["u"] * 11, "x", "\r"])
    assert place.tilt_steps == 90 * 320
    assert any("outside the limits of head.tilt" in line for line in said)
    assert said[-1] == HELP


def test_zero_is_set_where_it_stands_on_a_head_without_switches() -> None:
    world, place, said = jogged(["2", "r", "r", "z", "u", "q"], **BLIND)
    assert (place.pan_steps, place.tilt_steps) == (0, 320)
    assert world.rig.head.pose_deg(world.port.now()) == pytest.approx((2.0, 1.0), abs=0.01)
    assert any(line.startswith("Zero is here") for line in said)


def test_with_switches_zero_is_found_again() -> None:
    world, place, said = jogged(["r", "z", "q"])
    assert (place.pan_steps, place.tilt_steps) == (0, 0)
    assert world.rig.head.pose_deg(world.port.now()) == pytest.approx((0, 0), abs=0.01)
    assert any(line.startswith("Zero is found again") for line in said)


def test_to_a_pose_and_one_axis_at_a_time() -> None:
    world = world_of(kit_of(), ())
    hand = Hand(world.port, world.program)
    assert jog_to(hand, world.program, 12.5, -3.0, People()) == HeadPlace(12.5, -3.0, 4000, -960)
    mover = HandMover(hand, People())
    mover.wait_go_to(AxisName.TILT, 320)
    assert (place_of(hand).pan_steps, place_of(hand).tilt_steps, mover.moved) == (4000, 320, AxisName.TILT)
    with pytest.raises(InputError, match="outside the limits"):
        mover.wait_go_to(AxisName.PAN, 10**6)
