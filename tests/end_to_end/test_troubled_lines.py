"""Whole runs over lines that damage, lose and fail: the set is complete, the session and the truth agree."""

from pathlib import Path

import pytest

from controller.planning.make import make_plan
from controller.planning.plan import Plan
from protocol.units import MS, NS
from sim.scenario import Fault
from sim.virtual_port import HostKilled
from sim.wire import SOUND, LineTrouble
from tests.bench.figures import full_frame_kit
from tests.end_to_end.troubled_lines import World


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(full_frame_kit(24, brackets=3), 0.30)


def test_one_byte_in_a_thousand_costs_little(plan: Plan, tmp_path: Path) -> None:
    sound = World(plan, SOUND).run(tmp_path)[0].seconds
    (tmp_path / "s.sqlite").unlink()
    world = World(plan, LineTrouble(byte_error_rate=1e-3))
    result, summary = world.run(tmp_path)
    world.check(summary)
    assert result.seconds < 1.05 * sound


@pytest.mark.parametrize("seed", range(16))
def test_one_byte_in_a_hundred_is_survived(plan: Plan, tmp_path: Path, seed: int) -> None:
    world = World(plan, LineTrouble(byte_error_rate=1e-2), seed=seed)
    world.check(world.run(tmp_path)[1])


@pytest.mark.parametrize("begin_s", [0.9, 3.0, 7.0, 9.05, 9.3, 40.3, 41.0, 41.6, 42.2, 43.9, 146.0])
@pytest.mark.parametrize("length_s", [0.5, 4.0, 30.0])
def test_a_line_that_dies_and_comes_back(plan: Plan, tmp_path: Path, begin_s: float, length_s: float) -> None:
    world = World(plan, SOUND, Fault("line-cut", at_s=begin_s, for_s=length_s))
    result, summary = world.run(tmp_path)
    if result.complete:
        world.check(summary)
    else:  # failed at the very end: everything is made, and only the board's last message is missing
        assert summary.exposures_made == summary.exposures_planned or begin_s < 1


def test_a_board_that_takes_its_time_to_start(plan: Plan, tmp_path: Path) -> None:
    world = World(plan, SOUND, Fault("line-cut", at_s=0, for_s=3))
    result, summary = world.run(tmp_path)
    assert result.complete, result.sentence
    world.check(summary)


def test_a_dead_line_stops_the_head_within_the_board_s_patience(plan: Plan, tmp_path: Path) -> None:
    dead_from = 40 * NS
    world = World(plan, SOUND, Fault("line-cut", at_s=40))
    result, _ = world.run(tmp_path)
    assert not result.complete
    assert "does not answer" in result.sentence
    patience_ns = plan.kit.board.silence_ms * MS + 2 * NS
    for axis in (world.rig.head.pan, world.rig.head.tilt):
        assert axis.motion.end_ns <= dead_from + patience_ns


@pytest.mark.parametrize("at_s", [5.0, 9.1, 40.3, 41.2, 42.0, 50.0, 90.0])
def test_a_board_that_restarts(plan: Plan, tmp_path: Path, at_s: float) -> None:
    world = World(plan, SOUND, Fault("board-reset", at_s=at_s))
    world.check(world.run(tmp_path)[1])


@pytest.mark.parametrize("at_s", [4.0, 9.4, 9.8, 40.3, 41.2, 42.0])
def test_a_new_host_finds_the_head_still_moving(plan: Plan, tmp_path: Path, at_s: float) -> None:
    world = World(plan, SOUND, Fault("host-killed", at_s=at_s))
    with pytest.raises(HostKilled):
        world.run(tmp_path)
    world.rig.host.killed = False
    (tmp_path / "s.sqlite").unlink()
    made = len(world.rig.truth.exposures)
    result, _ = world.run(tmp_path)
    assert result.complete, result.sentence
    assert len(world.rig.truth.exposures) - made in (len(plan.frames) * 3, len(plan.frames) * 3 + 1)  # one was under way
    assert all(one.still for one in world.rig.truth.exposures[made + 1 :])


@pytest.mark.parametrize("restart_s", [41.2, 41.5, 42.0, 42.6])
@pytest.mark.parametrize("again_s", [2.0, 3.0, 4.0, 5.0, 6.0])
def test_a_line_that_dies_on_the_way_back_to_a_frame(
    plan: Plan, tmp_path: Path, restart_s: float, again_s: float
) -> None:
    """Exposures of a bracket known to be made stay known: they are not made again."""
    restart, cut = Fault("board-reset", at_s=restart_s), Fault("line-cut", at_s=restart_s + again_s, for_s=3)
    world = World(plan, SOUND, restart, cut)
    result, summary = world.run(tmp_path)
    assert result.complete, result.sentence
    world.check(summary)
