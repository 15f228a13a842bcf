"""Spoilt photographs: turned, moved and out of focus by the amounts stated."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.poses import HeadFrame, commanded, turn_of
from controller.inspection.poses import turned as matrices_turned
from sim.scene.lens import axes_of
from sim.scene.render import HeldPose
from sim.scene.spoilt import NOT_TURNED, defocused, swept, turned
from tests.sim.scene.dots import Array

ANGLES = st.tuples(st.floats(-180, 180), st.floats(-90, 90), st.floats(-170, 170))
TURNS = st.tuples(*[st.floats(-20, 20)] * 3)


def rotation_of(pose: HeldPose) -> Array:
    """From the camera's axes (right, down, along the lens) to those of a level camera at yaw 0, by the host's rules."""
    frame = HeadFrame(pose.yaw_deg, pose.pitch_deg, pose.roll_deg, 1.0, 1.0, 1.0, 0.0, 0.0)
    return np.asarray(commanded([frame])[0])


@given(ANGLES, TURNS)
def test_a_turn_is_about_the_cameras_own_axes(
    angles: tuple[float, float, float], turn: tuple[float, float, float]
) -> None:
    """Against the host's rotations and scipy's rotation vectors."""
    before = HeldPose(angles[0], angles[1], 1.0, angles[2])
    after = rotation_of(turned(before, turn))
    due = rotation_of(before) @ matrices_turned(np.radians([turn]))[0]
    np.testing.assert_allclose(after, due, rtol=0, atol=1e-7)


@pytest.mark.parametrize(
    ("turn", "expected"),
    [((2.0, 0.0, 0.0), (30.0, 12.0, 0.0)), ((0.0, 0.0, 3.0), (30.0, 10.0, 3.0)), (NOT_TURNED, (30.0, 10.0, 0.0))],
)
def test_positive_turns_are_up_and_clockwise(turn: tuple[float, float, float], expected: tuple[float, ...]) -> None:
    pose = turned(HeldPose(30.0, 10.0), turn)
    assert (pose.yaw_deg, pose.pitch_deg, pose.roll_deg) == pytest.approx(expected)
    right = axes_of(pose.yaw_deg, pose.pitch_deg, pose.roll_deg)[:, 1]
    assert (right[2] < 0) == (expected[2] > 0)  # the right side hangs low
    assert turned(HeldPose(30.0, 0.0), (0.0, 2.0, 0.0)).yaw_deg == pytest.approx(32.0)


@given(ANGLES, TURNS)
def test_a_swept_exposure_covers_its_motion_evenly(
    angles: tuple[float, float, float], turn: tuple[float, float, float]
) -> None:
    middle = HeldPose(angles[0], angles[1], 1.0, angles[2])
    poses = swept((middle,), turn, 0.2)
    if turn == NOT_TURNED:
        assert poses == (middle,)
        return
    vectors = np.degrees(turn_of(np.stack([rotation_of(middle).T @ rotation_of(pose) for pose in poses])))
    np.testing.assert_allclose(vectors.mean(axis=0), 0, atol=1e-5)
    steps = np.diff(vectors, axis=0)
    np.testing.assert_allclose(steps, np.broadcast_to(np.array(turn) / len(poses), steps.shape), atol=1e-5)


@pytest.mark.parametrize("disc_px", [1.0, 3.0, 6.5, 12.0])
def test_a_point_out_of_focus_is_a_disc(disc_px: float) -> None:
    light = np.zeros((41, 41, 3), dtype=np.float32)
    light[20, 20] = 100.0
    spread = defocused(light, disc_px)
    assert spread.shape == light.shape
    assert spread[..., 1].sum() == pytest.approx(100, rel=1e-3)
    down, across = np.mgrid[-20:21, -20:21]
    away = np.hypot(down, across)
    assert spread[away > disc_px / 2 + 0.75].max() < 1e-3
    inner = spread[away < disc_px / 2 - 0.75][:, 1]
    due = 100 / (math.pi * disc_px**2 / 4)
    np.testing.assert_allclose(inner, due, rtol=0.03)


def test_an_even_light_stays_even() -> None:
    light = np.full((30, 20, 3), 0.3, dtype=np.float32)
    np.testing.assert_allclose(defocused(light, 7.0), light, rtol=1e-5)
    assert defocused(light, 0.0) is light


def test_the_hosts_axes_are_the_simulators() -> None:
    """Both say the same of one pose: right, down and along the lens, in their own worlds."""
    pose = HeldPose(33.0, -21.0, 1.0, 8.0)
    axes = axes_of(pose.yaw_deg, pose.pitch_deg, pose.roll_deg)
    world = np.array([[0, 1, 0], [0, 0, -1], [1, 0, 0]])  # x forward, y right, z up; as right, down, forward
    own = np.stack([axes[:, 1], -axes[:, 2], axes[:, 0]], axis=1)
    np.testing.assert_allclose(world @ own, rotation_of(pose), atol=1e-12)
