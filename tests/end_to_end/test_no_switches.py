"""A head without switches at zero: whole runs, and the operator's part when the position is lost."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from controller.capture.hand import Hand
from controller.capture.runner import Runner
from controller.commands.stand_in import rig_spec
from controller.planning.make import make_plan
from controller.program.build import build_program
from controller.session.session import Session
from sim.rig import Rig
from sim.scenario import Fault, Scenario
from sim.virtual_port import VirtualPort
from tests.end_to_end.kills import astray
from tests.end_to_end.whole_runs import kit_of, let_pass

PLAN = make_plan(
    kit_of(16.0, head={"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}, exposure={"bracket_ev": [0, 1]}),
    0.3,
)


def world(*faults: Fault) -> tuple[Rig, VirtualPort]:
    rig = Rig(replace(rig_spec(PLAN.kit, 2), scenario=Scenario("drawn", "", faults)))
    return rig, VirtualPort(rig)


def test_a_whole_run_needs_no_switch(tmp_path: Path) -> None:
    rig, port = world()
    program = build_program(PLAN.kit, PLAN.frames)
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        assert Runner(program, port, session).run().complete
    assert astray(PLAN, PLAN.kit, rig.truth.exposures) == []


@pytest.mark.parametrize("kind", ["line-cut", "host-asleep"])
def test_what_leaves_the_position_known_is_survived(tmp_path: Path, kind: str) -> None:
    rig, port = world(Fault(kind, after_exposure=5, for_s=20.0))
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        assert Runner(build_program(PLAN.kit, PLAN.frames), port, session).run().complete
    assert astray(PLAN, PLAN.kit, rig.truth.exposures) == []


@pytest.mark.parametrize("kind", ["board-reset", "supply-dip"])
def test_a_lost_position_waits_for_the_operator(tmp_path: Path, kind: str) -> None:
    rig, port = world(Fault(kind, after_exposure=5, for_s=5.0))
    with Session.create(tmp_path / "s.sqlite", {}, durable=False) as session:
        result = Runner(build_program(PLAN.kit, PLAN.frames), port, session).run()
        assert (result.complete, result.zero_lost) == (False, True)
        assert "set zero at its mark again" in result.sentence
        before = len(rig.truth.exposures)
        let_pass(port, 10.0)  # until the supply is back
        bring_to_the_mark(rig, port)
        program = build_program(PLAN.kit, PLAN.frames, session.made())
        assert Runner(program, port, session, first_id=session.next_command_id()).run().complete
        assert PLAN.exposures == session.made()
    assert 0 < before < len(PLAN.exposures)
    assert astray(PLAN, PLAN.kit, rig.truth.exposures) == []
    made = Counter((one.frame, one.exposure) for one in rig.truth.exposures)
    assert sum(made.values()) - len(made) <= 1


def bring_to_the_mark(rig: Rig, port: VirtualPort) -> None:
    """The operator's work with the keys: set zero here for now, turn back to the mark, set zero there."""
    hand = Hand(port, build_program(PLAN.kit, ()))
    hand.wait_ready()
    assert not hand.known
    hand.wait_zero()
    yaw_deg, pitch_deg = rig.head.pose_deg(port.now())
    per_pan, per_tilt = hand.steps_per_degree
    hand.wait_move(-round(yaw_deg * per_pan), -round(pitch_deg * per_tilt))
    hand.wait_zero()
    hand.wait_rest()
