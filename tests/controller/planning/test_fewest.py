"""Fewer frames than rows: proved, repeatable, within the head's limits."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from controller.kit.kit import Kit
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.effort import Effort
from controller.planning.fewest import Search
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.region import SPHERE
from controller.planning.request import Arrangement, RegionKind, Request
from controller.planning.row_poses import poses_of_rows
from controller.planning.rows import Task, fewest_rows
from controller.planning.targets import better_mounted
from tests.controller.planning import oracle
from tests.controller.planning.counted import looks
from tests.controller.planning.definition import holding
from tests.controller.planning.examples import field_of
from tests.end_to_end.whole_runs import kit_of

LOOKS = 300  # clock checks


@cache
def fewest(focal: float, seed: int = 0) -> Plan:
    return make_plan(kit_of(focal), 0.3, Request(arrangement=Arrangement.FEWEST, seed=seed), looks(LOOKS))


def aims(plan: Plan) -> tuple[oracle.Array, oracle.Array]:
    return np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])


@pytest.mark.parametrize("focal", [12.0, 14.0, 16.0, 18.0, 24.0])
def test_proved_and_never_more_than_rows(focal: float) -> None:
    plan, rows = fewest(focal), make_plan(kit_of(focal), 0.3)
    assert len(plan.frames) <= len(rows.frames)
    assert len(plan.frames) < len(rows.frames)  # every seed that was tried reaches this
    field = plan.kit.field(0.3)
    assert plan.proof.covered
    assert prove_coverage(cores_at(field, *aims(plan))).covered
    assert holding(field, *aims(plan), oracle.evenly_spread(20_000), 0.0).all()
    assert len(plan.frames) >= oracle.least_frames(field.core_half_width_rad, field.core_half_height_rad)


def test_the_same_seed_gives_the_same_plan() -> None:
    again = make_plan(kit_of(14.0), 0.3, Request(arrangement=Arrangement.FEWEST), looks(LOOKS))
    assert again == fewest(14.0)


@pytest.mark.parametrize("focal", [12.0, 24.0])
def test_the_clock_decides_only_when_to_end(focal: float) -> None:
    """With more time a search finds what it finds with less, and perhaps something better afterwards."""
    task = Task(field_of(focal), SPHERE)
    rows = np.array([(pose.yaw_deg, pose.pitch_deg) for pose in poses_of_rows(fewest_rows(task), task)])
    found = [Search(task, looks(many), 5).run(rows) for many in (0, 40, 100, 250)]
    assert np.array_equal(found[0], rows)
    assert len(found[-1]) < len(rows)
    for less, more in pairwise(found):
        assert len(more) < len(less) or np.array_equal(more, less)


def test_effort_is_for_both_ways_to_mount_together() -> None:
    reads = 0

    def now_s() -> float:
        nonlocal reads
        reads += 1
        return float(reads)

    better_mounted(kit_of(14.0), 0.3, Request(arrangement=Arrangement.FEWEST), Effort(400, now_s))
    assert 390 <= reads <= 410


def turning(low: float, high: float) -> Kit:
    return kit_of(14.0, head={"pan": {"min_deg": low, "max_deg": high}})


@pytest.mark.parametrize(
    ("kit", "asked"),
    [
        (turning(-100, 100), Request(arrangement=Arrangement.FEWEST)),
        (turning(-180, 180), Request(arrangement=Arrangement.FEWEST)),
        (
            turning(-170, 60),
            Request(
                region=RegionKind.WINDOW,
                pitch_from_deg=-30,
                pitch_to_deg=80,
                yaw_from_deg=220,
                yaw_to_deg=40,
                arrangement=Arrangement.FEWEST,
            ),
        ),
        (
            kit_of(14.0, head={"tilt": {"min_deg": -30.0, "max_deg": 60.0}}),
            Request(floor_deg=-50, arrangement=Arrangement.FEWEST),
        ),
    ],
    ids=["narrow", "one turn", "window", "tilt and floor"],
)
def test_free_poses_keep_to_the_heads_limits(kit: Kit, asked: Request) -> None:
    plan = make_plan(kit, 0.3, asked, looks(300))
    yaw, pitch = aims(plan)
    assert plan.proof.covered
    pan, tilt = kit.head.pan, kit.head.tilt
    assert pan.min_deg <= yaw.min() <= yaw.max() <= pan.max_deg
    assert tilt.min_deg <= pitch.min() <= pitch.max() <= tilt.max_deg


@pytest.mark.parametrize("low", [-180.0, -359.0, -30.0, 0.0])
def test_rows_turn_within_a_head_of_one_turn(low: float) -> None:
    plan = make_plan(turning(low, low + 360), 0.3)
    yaw, _ = aims(plan)
    assert plan.proof.covered
    assert low <= yaw.min() <= yaw.max() <= low + 360
    assert len(yaw) == len(make_plan(kit_of(14.0), 0.3).frames)
