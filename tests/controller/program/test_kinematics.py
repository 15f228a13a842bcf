"""The camera's direction: compared with scipy's rotations, with the inverse, and with the simulator's own head."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from controller.program.kinematics import CameraPose, angles_of_steps, axes_for, reached, will_reach
from controller.program.levelled import STEEP_DEG, levelled
from sim.lean import leaned, leaned_roll
from tests.controller.kit.tables import kit_with

PANS, TILTS = st.floats(-370, 370), st.floats(-95, 95)
LEANS, TOWARD = st.floats(0, 20), st.floats(-360, 360)


def rotation(yaw_deg: float, pitch_deg: float, roll_deg: float) -> Rotation:
    """The pose as a rotation with x ahead, y to the right, z up; yaw toward y, pitch toward z.

    These axes are left-handed, so scipy's turns about z, y and x are those of yaw, minus pitch and roll.
    """
    return Rotation.from_euler("ZYX", [yaw_deg, -pitch_deg, -roll_deg], degrees=True)


def on_a_base(pan_deg: float, tilt_deg: float, lean_deg: float, toward_deg: float) -> Rotation:
    """Pan and tilt on a base whose top was turned toward `toward_deg`, which moves z toward that side."""
    side = math.radians(toward_deg)
    axis = np.cross([0.0, 0.0, 1.0], [math.cos(side), math.sin(side), 0.0])
    return Rotation.from_rotvec(math.radians(lean_deg) * axis) * rotation(pan_deg, tilt_deg, 0.0)


def off_deg(pose: CameraPose, other: Rotation) -> float:
    return math.degrees((rotation(pose.yaw_deg, pose.pitch_deg, pose.roll_deg).inv() * other).magnitude())


@given(PANS, TILTS, LEANS, TOWARD)
def test_yaw_pitch_and_roll_are_the_rotation_of_the_head(pan: float, tilt: float, lean: float, toward: float) -> None:
    pose = reached(pan, tilt, lean, toward)
    assert off_deg(pose, on_a_base(pan, tilt, lean, toward)) < 1e-6
    assert abs(pose.yaw_deg - pan) <= 180 + 1e-9
    assert abs(pose.pitch_deg) <= 90
    assert abs(pose.roll_deg) <= 180


@given(st.floats(-180, 180), st.floats(-STEEP_DEG, STEEP_DEG), LEANS, TOWARD)
def test_there_and_back(yaw: float, pitch: float, lean: float, toward: float) -> None:
    """Up to STEEP_DEG a levelled pose is met exactly, and the remaining roll is as stated."""
    aim = levelled(yaw, pitch, lean, toward)
    pose = reached(aim.pan_deg, aim.tilt_deg, lean, toward)
    assert off_deg(pose, rotation(yaw, pitch, aim.roll_deg)) < 1e-6
    assert pose.pitch_deg == pytest.approx(pitch, abs=1e-9)
    assert math.remainder(pose.yaw_deg - yaw, 360) == pytest.approx(0, abs=1e-8)
    assert pose.roll_deg == pytest.approx(aim.roll_deg, abs=1e-8)


@given(st.floats(-180, 180), st.floats(STEEP_DEG, 90), LEANS, TOWARD)
def test_steep_poses_say_what_is_left(yaw: float, pitch: float, lean: float, toward: float) -> None:
    """For steeper poses the result is the head's real pose, whatever was asked; level heads meet every pose."""
    aim = levelled(yaw, pitch, lean, toward)
    pose = will_reach(kit_with({"head.lean_deg": lean, "head.lean_toward_deg": toward}).head, yaw, pitch)
    if aim.tilt_deg <= 95:  # the default limit
        assert off_deg(pose, on_a_base(aim.pan_deg, aim.tilt_deg, lean, toward)) < 1e-6
    if lean == 0:
        assert (pose.yaw_deg, pose.pitch_deg, pose.roll_deg) == (yaw, pitch, 0.0)


@given(PANS, TILTS, LEANS, TOWARD)
def test_the_simulated_head_turns_alike(pan: float, tilt: float, lean: float, toward: float) -> None:
    seen = CameraPose(*leaned(pan, tilt, lean, toward), leaned_roll(pan, tilt, lean, toward))
    assert off_deg(seen, on_a_base(pan, tilt, lean, toward)) < 1e-6


def test_signs() -> None:
    """In the direction of the lean the camera looks low. To the right of it, its left side is low, so its roll is
    negative.
    """
    assert reached(40.0, 0.0, 2.0, 40.0).pitch_deg == pytest.approx(-2.0)
    assert reached(130.0, 0.0, 2.0, 40.0).roll_deg == pytest.approx(-2.0)
    assert reached(310.0, 0.0, 2.0, 40.0).roll_deg == pytest.approx(2.0)
    past = reached(10.0, 91.0, 0.0, 0.0)
    assert (past.yaw_deg, past.pitch_deg, past.roll_deg) == pytest.approx((-170.0, 89.0, 180.0))


def test_a_limit_holds_the_tilt_and_the_pose_says_so() -> None:
    head = kit_with({"head.tilt.max_deg": 30.0, "head.lean_deg": 2.0, "head.lean_toward_deg": 0.0}).head
    assert axes_for(head, 0.0, 29.5) == (0.0, 30.0)
    assert will_reach(head, 0.0, 29.5).pitch_deg == pytest.approx(28.0)


def test_measured_steps_count() -> None:
    head = kit_with({"head.pan.measured_steps_per_degree": 300.0, "head.tilt.backlash_deg": 0.2}).head
    assert angles_of_steps(head, 3000, 3200) == (10.0, 10.0)
