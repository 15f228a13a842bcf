"""Which boards shape their ramps, and what the others make of it (protocol/SPEC.md, sections 3, 6a and 10)."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.conformance.reach import Reach
from controller.conformance.rules import RULES, wait_verdict
from controller.conformance.talk import NotChecked, Talk
from controller.program.build import build_program
from controller.session.session import Session
from protocol.messages import Accepted, Capability, Hello, Move, Reason, Refused, Welcome
from protocol.shaper import WHOLE, Shaper, set_shaper
from protocol.units import AxisId, Steps
from sim.axis import AxisSpec
from sim.motors import move
from sim.rig import Rig
from sim.shaped import shaped
from sim.virtual_port import VirtualPort
from tests.end_to_end.whole_runs import assert_truly_made, few_frames, kit_of
from tests.sim.bench import ACCEL, HEAD, SPEED, STEPS_PER_DEGREE, Bench

ZV = Shaper(((0, WHOLE // 2), (60, WHOLE // 2)))
JERK_DEG_S3 = 50.0
JERKY = replace(HEAD, pan=AxisSpec(STEPS_PER_DEGREE, jerk_deg_s3=JERK_DEG_S3))
WITHOUT: dict[str, dict[str, Any]] = {
    "its kit says so": {"shapes": False},
    "it speaks 1.0": {"minor": 0},
    "it speaks 1.1": {"minor": 1},
    "its ramps limit the jerk": {"head": JERKY},
}


def welcome_of(bench: Bench) -> Welcome:
    welcome = bench.ask(Hello(1, 2, 7))
    assert isinstance(welcome, Welcome)
    return welcome


def test_a_board_that_shapes_says_so_and_does_it() -> None:
    bench = Bench()
    assert Capability.SHAPER in welcome_of(bench).capabilities
    bench.make_ready()
    bench.order(set_shaper(bench.next_id(), AxisId.PAN, ZV))
    bench.order(Move(bench.next_id(), Steps(900), Steps(0)))
    here = round(bench.head.pan.motion.legs[0].steps)
    assert bench.head.pan.motion == shaped(bench.now_ns, here, here + 900, SPEED, ACCEL, ZV)


@pytest.mark.parametrize("why", WITHOUT)
def test_a_board_that_does_not_shape_does_not_know_the_request(why: str) -> None:
    bench = Bench(**WITHOUT[why])
    assert Capability.SHAPER not in welcome_of(bench).capabilities
    bench.make_ready()
    before = bench.status()
    assert bench.ask(set_shaper(bench.next_id(), AxisId.PAN, ZV)) == Refused(Reason.UNKNOWN_KIND)
    assert bench.status() == before
    assert bench.ask(Move(bench.next_id(), Steps(900), Steps(0))) == Accepted()


@pytest.mark.parametrize("minor", [0, 1, 2])
def test_a_board_says_its_own_minor_version(minor: int) -> None:
    assert (welcome_of(Bench(minor=minor)).version_major, welcome_of(Bench(minor=minor)).version_minor) == (1, minor)


def test_a_board_that_limits_the_jerk_moves_so() -> None:
    bench = Bench(head=JERKY)
    bench.make_ready()
    bench.order(Move(bench.next_id(), Steps(900), Steps(500)))
    here = round(bench.head.pan.motion.legs[0].steps)
    jerk = JERK_DEG_S3 * STEPS_PER_DEGREE
    assert bench.head.pan.motion == move(bench.now_ns, here, here + 900, SPEED, ACCEL, jerk)
    assert not any(leg.jerk for leg in bench.head.tilt.motion.legs)


@pytest.mark.parametrize("minor", [0, 1, 2])
@pytest.mark.parametrize("shapes", [True, False])
def test_every_such_board_shoots_a_set(minor: int, shapes: bool, tmp_path: Path) -> None:
    """The host may have planned for shapers; on a board without them it waits longer, and every exposure is still."""
    kit = kit_of(50.0, head={"ring_hz": 5.0, "ring_damping": 0.1})
    rig = Rig(replace(rig_spec(kit, 3), minor=minor, shapes=shapes))
    program = build_program(kit, few_frames())
    assert program.pan.shaper.impulses
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        result = Runner(program, VirtualPort(rig), session).run()
    assert result.complete, result.sentence
    assert_truly_made(kit, few_frames(), rig.truth.exposures)


def test_a_kit_whose_board_does_not_shape_gets_such_a_rig() -> None:
    assert rig_spec(kit_of(), 0).shapes
    assert not rig_spec(kit_of(board={"shapes_ramps": False}), 0).shapes


@pytest.mark.parametrize(("minor", "shapes"), [(0, True), (1, True), (2, False)])
def test_the_other_boards_keep_the_rules_as_well(minor: int, shapes: bool) -> None:
    talk = Talk(VirtualPort(Rig(replace(rig_spec(kit_of(), 1), minor=minor, shapes=shapes))), reach=Reach())
    for rule in RULES:
        with suppress(NotChecked):  # rules for boards that shape
            wait_verdict(talk, rule)
