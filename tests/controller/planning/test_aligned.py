"""Plans for a head that was put up again: every frame looks where it looked, whatever the base."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import InputError
from controller.planning.aligned import HeadBase, aligned_plan
from controller.planning.make import make_plan
from controller.planning.plan import Plan, proof_at
from controller.planning.plan_file import load_plan, save_plan
from controller.planning.reached_poses import frame_pose, poses_of
from controller.planning.request import RegionKind, Request
from controller.program.build import build_program
from controller.program.kinematics import axes_for
from sim.lean import leaned
from tests.end_to_end.whole_runs import kit_of

REQUESTS = {
    "sphere": Request(),
    "band": Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=30),
    "window": Request(RegionKind.WINDOW, -20, 30, 300, 40),
    "passes": Request(RegionKind.BAND, -20, 30, passes=3, passes_within_deg=10),
    "nadir by hand": Request(nadir_by_hand=True),
}
TURNS, SHORT = (-370.0, 370.0), (-190.0, 190.0)


@lru_cache(maxsize=16)
def earlier(name: str, limits: tuple[float, float] = TURNS, lean: tuple[float, float] = (0.0, 0.0)) -> Plan:
    tilt: dict[str, Any] = {"min_deg": -40.0} if name == "nadir by hand" else {}
    head = {"pan": {"min_deg": limits[0], "max_deg": limits[1]}, "tilt": tilt}
    return make_plan(kit_of(12.0, head={**head, "lean_deg": lean[0], "lean_toward_deg": lean[1]}), 0.3, REQUESTS[name])


def off_deg(one: float, other: float) -> float:
    return abs((one - other + 180) % 360 - 180)


@given(
    name=st.sampled_from(sorted(REQUESTS)),
    limits=st.sampled_from([TURNS, SHORT]),
    yaw=st.floats(-720, 720),
    lean=st.floats(0, 1.5),
    toward=st.floats(-180, 180),
)
@settings(max_examples=8)
def test_every_frame_looks_where_it_looked(
    name: str, limits: tuple[float, float], yaw: float, lean: float, toward: float
) -> None:
    """For any yaw and lean of the base, up to the pitch at which two axes meet a pose exactly."""
    plan = earlier(name, limits)
    base = HeadBase(yaw, round(lean, 4), round(toward, 2))
    aligned = aligned_plan(plan, base)
    assert [(each.id, each.row, each.by_hand, each.repeats, each.pass_number) for each in aligned.frames] == [
        (each.id, each.row, each.by_hand, each.repeats, each.pass_number) for each in plan.frames
    ]
    for was, now in zip(plan.frames, aligned.frames, strict=True):
        if now.by_hand or abs(was.pitch_deg) > 60:
            assert off_deg(now.yaw_deg + yaw, was.yaw_deg) < 1e-5
            continue
        program_aim = frame_pose(aligned.kit.head, now)
        assert off_deg(program_aim.yaw_deg + yaw, was.yaw_deg) < 1e-5
        assert abs(program_aim.pitch_deg - was.pitch_deg) < 1e-5
    build_program(aligned.kit, aligned.frames)  # within the limits of both axes
    assert aligned.proof.covered
    assert proof_at(aligned, poses_of(aligned.kit.head, aligned.first_pass)).covered
    assert aligned.overlap <= plan.overlap
    assert aligned.hash != plan.hash or (aligned.frames == plan.frames and aligned.kit == plan.kit)


@given(yaw=st.floats(-180, 180))
@settings(max_examples=5)
def test_a_base_and_back_again_is_the_same_plan(yaw: float) -> None:
    plan = earlier("window")
    there = aligned_plan(plan, HeadBase(yaw, 0.0, 0.0))
    back = aligned_plan(there, HeadBase(-yaw, 0.0, 0.0))
    for was, now in zip(plan.frames, back.frames, strict=True):
        assert off_deg(was.yaw_deg, now.yaw_deg) < 1e-5
    assert off_deg(plan.region.yaw_from_deg, back.region.yaw_from_deg) < 1e-5
    assert there.proof.worst_margin_deg == pytest.approx(plan.proof.worst_margin_deg, abs=1e-5)


def test_the_file_is_read_again(tmp_path: Path) -> None:
    """Self-contained, sealed, and proved again when it is read."""
    aligned = aligned_plan(earlier("sphere"), HeadBase(100.0, 0.5, 20.0))
    save_plan(aligned, tmp_path / "new.json")
    assert load_plan(tmp_path / "new.json") == aligned


def test_without_a_difference_only_the_sun_is_left_out() -> None:
    plan = earlier("sphere")
    assert aligned_plan(plan, HeadBase(0.0, 0.0, 0.0)) == plan


def test_the_order_costs_what_it_did_where_the_pan_allows() -> None:
    plan = earlier("sphere")
    aligned = aligned_plan(plan, HeadBase(117.0, 0.0, 0.0))
    assert aligned.budget.moving_seconds == pytest.approx(plan.budget.moving_seconds, rel=0.1)


def test_a_lean_that_takes_overlap_is_told_in_the_plan() -> None:
    """The tightest plan: what a lean leaves of the overlap is the new plan's, and proved."""
    plan = earlier("sphere")
    leaning = [aligned_plan(plan, HeadBase(0.0, lean, 30.0)) for lean in (0.5, 2.0, 4.0)]
    overlaps = [plan.overlap, *(each.overlap for each in leaning)]
    assert overlaps == sorted(overlaps, reverse=True)
    assert overlaps[-1] < plan.overlap
    assert all(each.optics.core_width_deg >= plan.optics.core_width_deg for each in leaning)


def test_a_lean_that_leaves_too_little_is_refused() -> None:
    """With little overlap to begin with; the frame at the nadir suffers most."""
    with pytest.raises(InputError, match=r"leans by 8\.00.*Level it as it was then"):
        aligned_plan(make_plan(kit_of(12.0), 0.05), HeadBase(0.0, 8.0, 30.0))


def test_a_pan_that_cannot_reach_a_frame_is_refused_with_the_cure() -> None:
    plan = earlier("window", (-90.0, 90.0))
    assert aligned_plan(plan, HeadBase(-30.0, 0.0, 0.0)).proof.covered
    with pytest.raises(InputError, match=r"Frame \d+ would be at yaw .* Turn the tripod"):
        aligned_plan(plan, HeadBase(120.0, 0.0, 0.0))


def test_the_lean_is_the_simulators() -> None:
    """A simulated head with the base's lean looks where the plan says."""
    aligned = aligned_plan(earlier("band"), HeadBase(40.0, 1.2, 75.0))
    for frame in aligned.frames:
        axes = axes_for(aligned.kit.head, frame.yaw_deg, frame.pitch_deg)
        assert leaned(*axes, 1.2, 75.0) == pytest.approx((frame.yaw_deg, frame.pitch_deg), abs=1e-6)
