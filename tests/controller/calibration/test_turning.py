"""Turns between pictures from matched points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from controller.calibration.turning import NoOverlap, PictureGeometry, turn_between
from controller.optics.projection import Projection, picture_radius
from tests.controller.calibration.coverage import CASES, share_held
from tests.controller.calibration.pictured import camera_of, common_points, turned


@pytest.mark.parametrize("projection", Projection)
def test_pixels_and_rays_undo_each_other(projection: Projection) -> None:
    camera = PictureGeometry(300.0, (400.5, 300.25), projection)
    points = np.random.default_rng(1).uniform((250, 150), (550, 450), (200, 2))
    rays = camera.rays(points)
    assert np.linalg.norm(rays, axis=1) == pytest.approx(1)
    assert camera.pixels(rays) == pytest.approx(points)
    off_axis = np.arccos(rays[:, 2])
    radius = [picture_radius(projection, 300.0, float(angle)) for angle in off_axis]
    assert np.hypot(*(points - camera.middle_px).T) == pytest.approx(radius)


@pytest.mark.parametrize("projection", Projection)
def test_pixels_and_rays_undo_each_other_through_a_lens_that_distorts(projection: Projection) -> None:
    camera = PictureGeometry(300.0, (400.5, 300.25), projection, (-0.05, 0.02, -0.01))
    points = np.random.default_rng(1).uniform((250, 150), (550, 450), (200, 2))
    assert camera.pixels(camera.rays(points)) == pytest.approx(points, abs=1e-6)


@pytest.mark.parametrize("projection", Projection)
def test_the_size_of_a_pixel_is_how_far_rays_move(projection: Projection) -> None:
    """The root mean square of both sides, found by moving points a thousandth of a pixel."""
    camera = PictureGeometry(300.0, (400.5, 300.25), projection, (-0.05, 0.02, -0.01))
    points = np.random.default_rng(1).uniform((250, 150), (550, 450), (50, 2))
    rays, size = camera.seen(points)
    sides = [np.linalg.norm(camera.rays(points + step) - rays, axis=1) * 1000 for step in np.eye(2) / 1000]
    assert size == pytest.approx(np.hypot(*sides) / np.sqrt(2), rel=1e-3)


def test_right_is_right_and_up_is_up() -> None:
    camera = camera_of()
    right, up = Rotation.from_rotvec([0, 0.1, 0]), Rotation.from_rotvec([0.1, 0, 0])
    ahead = np.array([[0.0, 0.0, 1.0]])
    # After a turn to the right a thing is seen farther left; after one up, farther down.
    assert camera.pixels(right.inv().apply(ahead))[0, 0] < camera.middle_px[0]
    assert camera.pixels(up.inv().apply(ahead))[0, 1] > camera.middle_px[1]


@settings(max_examples=30)
@given(st.floats(-40, 40), st.floats(-30, 30), st.floats(0, 0.5), st.integers(0, 2**32))
def test_a_turn_is_found_in_spite_of_wrong_matches(right: float, pitch: float, wrong: float, seed: int) -> None:
    random, camera, turn = np.random.default_rng(seed), camera_of(), turned(right, pitch)
    first, second = common_points(random, camera, turn, 120, 0.3)
    spoiled = random.permutation(120)[: int(120 * wrong)]
    second[spoiled] = random.uniform((0, 0), (1000, 667), (len(spoiled), 2))
    found = turn_between(first, second, camera)
    apart = (Rotation.from_rotvec(found.vector_rad) * turn.inv()).magnitude()
    assert np.degrees(apart) < 0.05
    assert found.kept.sum() > 0.9 * (120 - len(spoiled))
    assert found.rms_px < 1.0


def test_its_covariance_is_honest() -> None:
    """The truth is within 1.96 standard uncertainties in 95 of 100 cases, about each axis."""
    random, camera = np.random.default_rng(3), camera_of(35.0)
    off, u = [], []
    for _ in range(CASES):
        turn = turned(random.uniform(10, 25), random.uniform(-20, 20))
        first, second = common_points(random, camera, turn, 60, random.uniform(0.1, 0.6))
        found = turn_between(first, second, camera, np.ones(60, dtype=bool))
        off.append((Rotation.from_rotvec(found.vector_rad) * turn.inv()).as_rotvec())
        u.append(np.sqrt(np.diag(found.covariance)))
    for axis in range(3):
        bounds = [(float(-1.96 * s[axis]), float(1.96 * s[axis])) for s in u]
        assert 0.93 <= share_held(bounds, [float(e[axis]) for e in off]) <= 0.97


def test_pictures_with_nothing_in_common_are_refused() -> None:
    random, camera = np.random.default_rng(5), camera_of()
    with pytest.raises(NoOverlap):
        turn_between(random.uniform(0, 667, (300, 2)), random.uniform(0, 667, (300, 2)), camera)
    with pytest.raises(NoOverlap):
        turn_between(np.zeros((3, 2)), np.zeros((3, 2)), camera)


def test_a_picture_larger_than_the_lens_can_show_is_refused() -> None:
    camera = PictureGeometry(100.0, (500.0, 333.0), Projection.ORTHOGRAPHIC)
    points = np.random.default_rng(6).uniform((0, 0), (1000, 667), (50, 2))
    with pytest.raises(ValueError, match="larger than this lens"):
        turn_between(points, points, camera)
