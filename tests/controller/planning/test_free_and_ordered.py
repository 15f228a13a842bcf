"""Free poses, orders, links, targets and the sun."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from ruckig import InputParameter, Ruckig, Trajectory

from controller.errors import WorldError
from controller.planning.budget import numbered
from controller.planning.cores import cores_at, pictures_at
from controller.planning.coverage import prove_coverage
from controller.planning.fewest import Search
from controller.planning.links import find_links
from controller.planning.make import make_plan
from controller.planning.motion import AxisMotion, mover_of
from controller.planning.order import Order, arrange, moving_seconds
from controller.planning.region import SPHERE
from controller.planning.request import Arrangement, Request
from controller.planning.row_poses import poses_of_rows
from controller.planning.rows import Task, fewest_rows
from controller.planning.sun import frames_with_sun, sun_at
from controller.planning.targets import better_mounted, must_meet_limits, must_reach, print_resolution
from tests.controller.planning.counted import looks
from tests.controller.planning.examples import field_of
from tests.controller.planning.oracle import evenly_spread
from tests.end_to_end.whole_runs import kit_of

# Frames for 36 x 24 mm upright, full sphere, 30 % overlap, that other means have shown to be enough.
KNOWN = {12.0: 11, 18.0: 18, 24.0: 28, 35.0: 52}


@pytest.mark.parametrize("focal", KNOWN)
def test_fewer_frames_in_free_poses(focal: float) -> None:
    task = Task(field_of(focal), SPHERE)
    rows = np.array([(pose.yaw_deg, pose.pitch_deg) for pose in poses_of_rows(fewest_rows(task), task)])
    found = Search(task, looks(1000, enough=KNOWN[focal]), 0).run(rows)
    assert len(found) <= KNOWN[focal]
    assert prove_coverage(cores_at(task.field, *found.T)).covered
    assert cores_at(task.field, *found.T).best_margin_rad(evenly_spread(50_000)).min() > 0


@pytest.mark.parametrize("margin_deg", [0.0, 1.0, 4.0])
def test_found_plans_keep_the_margin_that_is_asked_for(margin_deg: float) -> None:
    task = Task(field_of(14.0), SPHERE)
    rows = poses_of_rows(fewest_rows(task, float(np.radians(margin_deg + 0.1))), task)
    aims = np.array([(pose.yaw_deg, pose.pitch_deg) for pose in rows])
    effort = looks(1000, enough=len(aims) - 1)
    found = Search(task, effort, 0, margin_rad=float(np.radians(margin_deg))).run(aims)
    assert len(found) < len(aims)
    assert prove_coverage(cores_at(task.field, *found.T)).worst_margin_deg >= margin_deg


def test_no_effort_leaves_the_rows() -> None:
    plan = make_plan(kit_of(24.0), 0.3, Request(arrangement=Arrangement.FEWEST, effort_s=0.0))
    assert len(plan.frames) == len(make_plan(kit_of(24.0), 0.3).frames)


@pytest.mark.parametrize("degrees", [0.3, 5.0, 36.0, 170.0])
def test_moving_takes_what_an_optimal_trajectory_takes(degrees: float) -> None:
    wanted = InputParameter(1)
    wanted.target_position = [degrees]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [30.0], [40.0], [float("inf")]
    trajectory = Trajectory(1)
    Ruckig(1).calculate(wanted, trajectory)
    assert AxisMotion(30.0, 40.0).seconds(np.array(degrees)) == pytest.approx(trajectory.duration, rel=1e-9)


def test_play_is_taken_up_in_one_direction_only() -> None:
    motion = AxisMotion(30.0, 40.0, takeup_deg=0.5)
    there, back = motion.seconds(np.array([10.0, -10.0]))
    assert back > there == AxisMotion(30.0, 40.0).seconds(np.array(10.0))


@pytest.mark.parametrize("focal", [14.0, 24.0, 50.0])
def test_orders_visit_all_and_the_quickest_is_quickest(focal: float) -> None:
    kit = kit_of(focal)
    task = Task(kit.field(0.3), SPHERE)
    poses = poses_of_rows(fewest_rows(task), task)
    mover = mover_of(kit, numbered(poses))
    times = {}
    for order in Order:
        way = arrange(poses, order, mover)
        assert sorted((p.row, p.pitch_deg) for p in way) == sorted((p.row, p.pitch_deg) for p in poses)
        assert len({(p.row, p.yaw_deg) for p in way}) == len(poses)
        assert max(p.yaw_deg for p in way) - min(p.yaw_deg for p in way) < 360
        times[order] = moving_seconds(way, mover)
    assert times[Order.QUICKEST] == min(times.values())


def test_links_of_a_row_and_of_a_chain() -> None:
    field = field_of(24.0)
    step = 2 * np.degrees(field.core_half_width_rad)
    chain = find_links(field, step * np.arange(4), np.zeros(4))
    assert chain.connected
    assert chain.cut_frames() == [1, 2]
    assert chain.weakest()[0] == pytest.approx(0.30, abs=0.04)  # counted over a grid of points
    apart = find_links(field, np.array([0.0, 180.0]), np.zeros(2))
    assert not apart.connected
    assert apart.weakest() == (0.0, None)


def test_limits_name_what_would_do() -> None:
    kit = kit_of(24.0)
    with pytest.raises(WorldError, match="An overlap of 22 % would do") as caught:
        must_meet_limits(make_plan(kit, 0.3), Request(max_frames=26))
    assert "26 frames" in str(caught.value)
    assert make_plan(kit, 0.22).budget.frames <= 26 < make_plan(kit, 0.23).budget.frames


def test_resolution_and_the_better_way_to_mount() -> None:
    kit = kit_of(14.0)
    best, compared = better_mounted(kit, 0.3, Request())
    assert best.kit.camera.mounted == "landscape"
    assert compared["landscape"][0] == best.budget.frames == 14 < compared["portrait"][0]
    with pytest.raises(WorldError, match="focal length of"):
        must_reach(kit, 0.3, Request(), 80.0)
    must_reach(kit, 0.3, Request(), 30.0)
    assert print_resolution(254.0, 72.0, 360.0) == pytest.approx(20.0)  # an inch is 2.54 cm


def test_the_sun_of_the_worked_example() -> None:
    """Reda and Andreas, Solar Energy 76:577, 2004, appendix A.5: zenith 50.11162, azimuth 194.34024 degrees."""
    moment = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
    sun = sun_at(39.742476, -105.1786, moment)
    assert 90 - sun.altitude_deg == pytest.approx(50.11162, abs=0.01)
    assert sun.azimuth_deg == pytest.approx(194.34024, abs=0.01)


def test_frames_that_see_the_sun() -> None:
    field = field_of(50.0)
    noon = datetime(2026, 6, 21, 12, 0, tzinfo=UTC)
    sun = sun_at(50.0, 8.0, noon)
    pictures = pictures_at(field, np.array([sun.azimuth_deg + 10, 90.0]), np.array([sun.altitude_deg, -40.0]))
    assert frames_with_sun(pictures, 50.0, 8.0, noon, 60.0, north_yaw_deg=10.0) == [0]
    assert frames_with_sun(pictures, 50.0, 8.0, noon + timedelta(hours=12), 60.0, north_yaw_deg=10.0) == []
