"""Pointing compared with scipy's rotations and astropy's angular distances."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.coordinates import angular_separation, offset_by
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from controller.planning.directions import camera_axes, spiral, yaw_pitch_deg
from tests.controller.planning import oracle

YAWS, PITCHES = st.floats(-720, 720), st.floats(-90, 90)


@given(YAWS, PITCHES)
def test_axes_agree_with_scipy(yaw_deg: float, pitch_deg: float) -> None:
    # The matrix Z(yaw) Y(-pitch) does the same to (x, y, z) for either direction of y; here y is to the right.
    turn = oracle.pose_rotations(np.array([yaw_deg]), np.array([pitch_deg])).as_matrix()[0]
    axes = camera_axes(np.radians(yaw_deg), np.radians(pitch_deg))
    np.testing.assert_allclose(np.stack(axes, axis=1), turn, rtol=0, atol=1e-12)


def test_yaw_grows_to_the_right_and_pitch_upward() -> None:
    ahead = camera_axes(np.array(0.0), np.array(0.0))
    turned, raised = camera_axes(np.radians(10), np.array(0.0)), camera_axes(np.array(0.0), np.radians(10))
    assert turned.forward @ ahead.right > 0.17
    assert raised.forward @ ahead.up > 0.17
    assert raised.forward[2] > 0.17


@given(YAWS, PITCHES, YAWS, PITCHES)
def test_angle_between_two_frames(yaw1: float, pitch1: float, yaw2: float, pitch2: float) -> None:
    one, two = (camera_axes(np.radians(y), np.radians(p)).forward for y, p in ((yaw1, pitch1), (yaw2, pitch2)))
    angle = 2 * np.arctan2(np.linalg.norm(one - two), np.linalg.norm(one + two))
    separation = angular_separation(*np.radians([yaw1, pitch1, yaw2, pitch2]))
    assert angle == pytest.approx(float(separation), abs=1e-10)


@given(st.floats(0, 360), st.floats(-85, 85), st.floats(0, 360), st.floats(0.01, 179))
def test_offset_agrees_with_astropy(yaw: float, pitch: float, bearing: float, distance: float) -> None:
    axes = camera_axes(np.radians(yaw), np.radians(pitch))
    aside = np.cos(np.radians(bearing)) * axes.up + np.sin(np.radians(bearing)) * axes.right
    moved = np.cos(np.radians(distance)) * axes.forward + np.sin(np.radians(distance)) * aside
    found = yaw_pitch_deg(moved)
    expected = [float(part.deg) for part in offset_by(*np.radians([yaw, pitch, bearing, distance]))]
    assert float(angular_separation(*np.radians([*found, *expected]))) < 1e-9


@pytest.mark.parametrize(("pitch", "step", "expected"), [(60, 60, 28.95502), (45, 40, 27.99089), (75, 120, 25.90508)])
def test_spacing_of_neighbours_in_a_row(pitch: float, step: float, expected: float) -> None:
    # 2 asin(cos pitch sin(step / 2)), equal to astropy's angular_separation
    one, two = (camera_axes(np.radians(yaw), np.radians(pitch)).forward for yaw in (0, step))
    assert np.degrees(np.arccos(one @ two)) == pytest.approx(expected, abs=1e-5)
    assert np.degrees(angular_separation(0, np.radians(pitch), np.radians(step), np.radians(pitch))) == (
        pytest.approx(expected, abs=1e-5)
    )


@given(st.floats(0, 359.999), st.floats(-89.9, 89.9))
def test_yaw_and_pitch_of_a_direction(yaw: float, pitch: float) -> None:
    back = yaw_pitch_deg(camera_axes(np.radians(yaw), np.radians(pitch)).forward)
    assert (back[0] - yaw + 180) % 360 - 180 == pytest.approx(0, abs=1e-8)
    assert back[1] == pytest.approx(pitch, abs=1e-10)
    assert 0 <= back[0] <= 360


@pytest.mark.parametrize("count", [64, 1000, 20_000])
def test_the_spiral_leaves_no_large_hole(count: int) -> None:
    points = spiral(count)
    np.testing.assert_allclose(np.linalg.norm(points, axis=1), 1, atol=1e-12)
    probes = oracle.evenly_spread(3 * count + 1)
    nearest = np.asarray(cKDTree(points).query(probes)[0])
    assert nearest.max() < 1.1 * np.sqrt(4 * np.pi / count)
