"""Fewer frames than rows: proved, repeatable, within the head's limits."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from controller.kit.kit import Kit
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import Arrangement, RegionKind, Request
from tests.controller.planning import oracle
from tests.controller.planning.definition import holding
from tests.end_to_end.whole_runs import kit_of

EFFORT_S = 1.0


@cache
def fewest(focal: float, seed: int = 0) -> Plan:
    return make_plan(kit_of(focal), 0.3, Request(arrangement=Arrangement.FEWEST, effort_s=EFFORT_S, seed=seed))


def aims(plan: Plan) -> tuple[oracle.Array, oracle.Array]:
    return np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames])


@pytest.mark.long
@pytest.mark.parametrize("focal", [12.0, 14.0, 16.0, 18.0, 24.0])
def test_proved_and_never_more_than_rows(focal: float) -> None:
    plan, rows = fewest(focal), make_plan(kit_of(focal), 0.3)
    assert len(plan.frames) <= len(rows.frames)
    if focal <= 18:  # reached from every seed that was tried
        assert len(plan.frames) < len(rows.frames)
    field = plan.kit.field(0.3)
    assert plan.proof.covered
    assert prove_coverage(cores_at(field, *aims(plan))).covered
    assert holding(field, *aims(plan), oracle.evenly_spread(20_000), 0.0).all()
    assert len(plan.frames) >= oracle.least_frames(field.core_half_width_rad, field.core_half_height_rad)


@pytest.mark.long
@pytest.mark.parametrize("focal", [14.0])
def test_the_same_seed_gives_the_same_plan(focal: float) -> None:
    again = make_plan(kit_of(focal), 0.3, Request(arrangement=Arrangement.FEWEST, effort_s=EFFORT_S))
    assert again == fewest(focal)


def turning(low: float, high: float) -> Kit:
    return kit_of(14.0, head={"pan": {"min_deg": low, "max_deg": high}})


@pytest.mark.parametrize(
    ("kit", "asked"),
    [
        (turning(-100, 100), Request(arrangement=Arrangement.FEWEST, effort_s=0.5)),
        (turning(-180, 180), Request(arrangement=Arrangement.FEWEST, effort_s=0.5)),
        (
            turning(-170, 60),
            Request(
                region=RegionKind.WINDOW,
                pitch_from_deg=-30,
                pitch_to_deg=80,
                yaw_from_deg=220,
                yaw_to_deg=40,
                arrangement=Arrangement.FEWEST,
                effort_s=0.5,
            ),
        ),
        (
            kit_of(14.0, head={"tilt": {"min_deg": -30.0, "max_deg": 60.0}}),
            Request(floor_deg=-50, arrangement=Arrangement.FEWEST, effort_s=0.5),
        ),
    ],
    ids=["narrow", "one turn", "window", "tilt and floor"],
)
def test_free_poses_keep_to_the_heads_limits(kit: Kit, asked: Request) -> None:
    plan = make_plan(kit, 0.3, asked)
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
