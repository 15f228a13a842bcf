"""Poses on a head that leans: compared with the simulator's head, and with scipy's rotations."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from controller.errors import InputError
from controller.planning.plan import Frame
from controller.program.build import build_program
from controller.program.levelled import STEEP_DEG, levelled
from sim.lean import leaned
from tests.controller.kit.tables import kit_with
from tests.end_to_end.whole_runs import kit_of, run, world_of

YAWS = st.floats(-180, 180)
LEANS, TOWARD = st.floats(0, 5), st.floats(0, 359.9)


def looks(yaw: float, pitch: float) -> np.ndarray:
    yaw, pitch = math.radians(yaw), math.radians(pitch)
    return np.array([math.cos(pitch) * math.cos(yaw), math.cos(pitch) * math.sin(yaw), math.sin(pitch)])


def apart(one: tuple[float, float], other: tuple[float, float]) -> float:
    """The angle between two directions, degrees."""
    a, b = looks(*one), looks(*other)
    return math.degrees(math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b)))


@given(YAWS, st.floats(-STEEP_DEG, STEEP_DEG), LEANS, TOWARD)
def test_the_camera_looks_where_it_should(yaw: float, pitch: float, lean: float, toward: float) -> None:
    pose = levelled(yaw, pitch, lean, toward)
    seen = leaned(pose.pan_deg, pose.tilt_deg, lean, toward)
    assert apart(seen, (yaw, pitch)) == pytest.approx(0, abs=1e-9)
    assert abs(pose.pan_deg - yaw) <= 180


@given(YAWS, st.floats(-90, 90), LEANS, TOWARD)
def test_the_roll_that_is_left(yaw: float, pitch: float, lean: float, toward: float) -> None:
    """Compared with scipy's rotations: x ahead, y to the right, z down, so that yaw is a turn about z, pitch about y."""
    pose = levelled(yaw, pitch, lean, toward)
    head = Rotation.from_euler("ZY", [pose.pan_deg, pose.tilt_deg], degrees=True)
    # A lean toward yaw t lowers what is there: a turn by -lean about the axis to the right of t.
    side = math.radians(toward + 90)
    base = Rotation.from_rotvec(-math.radians(lean) * np.array([math.cos(side), math.sin(side), 0]))
    off = Rotation.from_euler("ZY", [yaw, pitch], degrees=True).inv() * base * head
    # The whole error, direction and roll together, stays within slightly more than twice the lean.
    assert math.degrees(off.magnitude()) <= 2.3 * lean + 1e-6
    if abs(pitch) <= STEEP_DEG:
        roll = off.as_rotvec(degrees=True)
        assert roll == pytest.approx([pose.roll_deg, 0, 0], abs=1e-6)
        most = math.sin(math.radians(lean)) / math.cos(math.radians(pitch))
        assert abs(pose.roll_deg) <= math.degrees(math.asin(min(1.0, most))) + 1e-9


@given(YAWS, st.floats(STEEP_DEG, 90), LEANS, TOWARD)
def test_steep_poses_are_missed_by_less_than_the_lean(yaw: float, pitch: float, lean: float, toward: float) -> None:
    for steep in (pitch, -pitch):
        pose = levelled(yaw, steep, lean, toward)
        assert apart(leaned(pose.pan_deg, pose.tilt_deg, lean, toward), (yaw, steep)) <= lean + 1e-9


def test_roll_is_the_lean_at_the_horizon_across_it() -> None:
    assert levelled(90.0, 0.0, 0.7, 0.0).roll_deg == pytest.approx(-0.7)
    assert levelled(0.0, 0.0, 0.7, 0.0).roll_deg == 0
    assert levelled(12.0, 3.0, 0.0, 50.0) == levelled(12.0, 3.0, 0.0, 0.0)


def test_a_whole_run_on_a_head_that_leans(tmp_path: Path) -> None:
    """The simulator's truth: every exposure points where the plan says, to within about a microstep."""
    world = world_of(kit_of(head={"lean_deg": 1.5, "lean_toward_deg": 70.0}))
    assert run(world, tmp_path).result.complete
    planned = {0: (15.0, 5.0), 1: (120.0, -15.5), 2: (359.9, 30.25)}
    seen = {shot.frame: (shot.yaw_deg, shot.pitch_deg) for shot in world.truth}
    for frame, pose in planned.items():
        assert apart(seen[frame], pose) < 0.01


def test_a_lean_alone_takes_no_pose_past_a_limit() -> None:
    head = {"head.tilt.max_deg": 30.0, "head.lean_deg": 2.0, "head.lean_toward_deg": 0.0}
    frames = [Frame(id=0, row=0, yaw_deg=0.0, pitch_deg=29.5)]
    program = build_program(kit_with(head), frames)
    assert program.longest_move_ns > 0
    with pytest.raises(InputError):
        build_program(kit_with(head), [Frame(id=0, row=0, yaw_deg=0.0, pitch_deg=31.0)])
