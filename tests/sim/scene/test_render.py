"""Parallax, brightness, blur: the picture changes with pose, pupil and time according to geometry."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.scene.film import View, aims_of
from sim.scene.lens import LensSpec
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Layer, Scenery, layer_of
from sim.scene.sensor import SensorSpec, develop
from tests.sim.scene.dots import centre_of_light, dots_at, grid

FOCAL_MM, PIXEL_MM = 24.0, 0.0059
ACROSS, UP = 6100, 151


def rectilinear(
    width_mm: float, height_mm: float, focal_mm: float = FOCAL_MM, along: float = 0.0, right: float = 0.0
) -> LensSpec:
    angle = np.linspace(0, math.atan(math.hypot(width_mm, height_mm) / focal_mm), 8192)
    return LensSpec(width_mm, height_mm, focal_mm * np.tan(angle), angle, pupil_along_mm=along, pupil_across_mm=right)


@lru_cache
def one_dot(yaw_deg: float) -> Layer:
    return dots_at(np.array([yaw_deg]), np.array([0.0]), 2048, 0.3)


def seen_at_px(psi_deg: float, distance_mm: float, along: float, right: float) -> float:
    """How many pixels right of the axis a dot appears that is at `psi_deg` and `distance_mm` from the turning point."""
    layer = replace(one_dot(psi_deg), distance_mm=distance_mm)
    lens = rectilinear(ACROSS * PIXEL_MM, UP * PIXEL_MM, along=along, right=right)
    light = Renderer(Scenery((layer,)), lens, ACROSS, UP).light(HeldPose(0.0, 0.0))
    psi = math.radians(psi_deg)
    about = (distance_mm * math.sin(psi) - right) / (distance_mm * math.cos(psi) - along) * FOCAL_MM / PIXEL_MM
    return centre_of_light(light, about + ACROSS / 2 - 0.5, (UP - 1) / 2, (UP - 3) // 2)[0] - (ACROSS / 2 - 0.5)


@pytest.mark.parametrize(
    ("along_mm", "psi_deg", "shift_px"),
    [
        (1, 10, 0.6562),
        (1, 25, 1.8859),
        (5, 25, 9.4757),
        (5, 30, 12.2813),
        (20, 25, 38.6082),
        (-7.5, 25, -13.9998),
        (60, 30, 158.4393),
    ],
)
def test_near_things_shift_against_far_ones(along_mm: float, psi_deg: float, shift_px: float) -> None:
    """R. Littlefield, Theory of the "No-Parallax" Point in Panorama Photography, 2006; figures from the closed form
    f e sin(psi) (d2 - d1) / ((d1 c - e)(d2 c - e)), c = cos(psi), with d1 = 1 m and d2 = 10 m."""
    near, far = (seen_at_px(psi_deg, distance_mm, along_mm, 0.0) for distance_mm in (1000.0, 10_000.0))
    assert near - far == pytest.approx(shift_px, abs=0.15)


@pytest.mark.parametrize(("right_mm", "psi_deg"), [(10.0, 0.0), (10.0, 20.0), (-25.0, -15.0)])
def test_a_pupil_beside_the_axis_shifts_all_alike(right_mm: float, psi_deg: float) -> None:
    shift = seen_at_px(psi_deg, 2000.0, 0.0, right_mm) - seen_at_px(psi_deg, 2000.0, 0.0, 0.0)
    # A sideways shift of a plane at distance d cos(psi): similar triangles.
    assert shift == pytest.approx(-right_mm * FOCAL_MM / (2000 * math.cos(math.radians(psi_deg))) / PIXEL_MM, abs=0.15)


def test_turning_about_the_pupil_shifts_nothing() -> None:
    near = dots_at(np.array([10.0]), np.array([5.0]), 1024, 0.5, 800.0)
    far = dots_at(np.array([10.0]), np.array([5.0]), 1024, 0.5)
    lens = rectilinear(36, 24)
    one, other = (Renderer(Scenery((layer,)), lens, 300, 200).light(HeldPose(3.0, 2.0)) for layer in (near, far))
    np.testing.assert_array_equal(one, other)


def test_what_is_near_covers_what_is_far() -> None:
    far = layer_of(np.full((256, 512, 3), 255, dtype=np.uint8))
    codes = np.zeros((256, 512, 4), dtype=np.uint8)
    codes[:, 256:, 3] = 255  # black, to the right of straight ahead
    scenery = Scenery((far, layer_of(codes, 1000.0)))
    for along in (0.0, 50.0):
        light = Renderer(scenery, rectilinear(36, 24, along=along), 300, 200).light(HeldPose(0.0, 0.0))
        assert np.all(light[:, :145] == 1)
        assert np.all(light[:, 155:] == 0)


def test_a_pupil_beyond_the_nearest_things_is_refused() -> None:
    layer = dots_at(np.array([0.0]), np.array([0.0]), 256, 2.0, 500.0)
    with pytest.raises(ValueError, match="500 mm"):
        Renderer(Scenery((layer,)), rectilinear(36, 24, along=500.0), 30, 20)


def edge(width: int) -> Scenery:
    """White to the left of straight ahead, black to the right."""
    codes = np.where(grid(width)[0] < 0, 255, 0).astype(np.uint8)
    return Scenery((layer_of(np.repeat(codes[..., np.newaxis], 3, axis=2)),))


@pytest.mark.parametrize("motion_px", [3.0, 8.0, 20.0, 60.0])
def test_blur_is_as_long_as_the_motion(motion_px: float) -> None:
    lens = rectilinear(36, 24)
    renderer = Renderer(edge(8192), lens, 800, 60)
    pixel_deg = math.degrees(lens.pixel_rad(800))
    yaw = (np.arange(200) + 0.5) / 200 * motion_px * pixel_deg
    view = View(0, 0, 0, 0.1, np.stack([yaw - yaw.mean(), np.zeros(200)], axis=-1))
    row = renderer.light(*aims_of(view, pixel_deg))[30, :, 1]
    # At constant speed the edge becomes an even slope: half of it is between a quarter and three quarters of the light.
    quarter, three = (float(np.interp(-share, -row, np.arange(800))) for share in (0.75, 0.25))
    assert 2 * (three - quarter) == pytest.approx(motion_px, abs=max(0.6, motion_px / 64))


def test_a_still_camera_does_not_blur() -> None:
    lens = rectilinear(36, 24)
    pixel_deg = math.degrees(lens.pixel_rad(800))
    poses = np.array([[10.0, 5.0], [10.0 + 0.4 * pixel_deg, 5.0], [10.0, 5.0 + 0.2 * pixel_deg]])
    (aim,) = aims_of(View(0, 0, 0, 0.1, poses), pixel_deg)
    assert (aim.yaw_deg, aim.pitch_deg) == pytest.approx(tuple(poses.mean(axis=0)))


@settings(max_examples=60)
@given(st.integers(1, 400), st.floats(0.01, 500), st.floats(0.01, 500), st.integers(0, 2**32))
def test_aims_stand_for_every_moment(count: int, wide_px: float, high_px: float, seed: int) -> None:
    poses = np.random.default_rng(seed).uniform(0, [wide_px, high_px], (count, 2)) * 0.05
    aims = aims_of(View(0, 0, 0, 0.1, poses), 0.05)
    total = sum(aim.weight for aim in aims)
    assert sum(aim.yaw_deg * aim.weight for aim in aims) / total == pytest.approx(poses[:, 0].mean())
    assert sum(aim.pitch_deg * aim.weight for aim in aims) / total == pytest.approx(poses[:, 1].mean())
    assert len(aims) <= count


def test_brightness_follows_the_bracket_until_it_clips() -> None:
    """+1 EV doubles the light (APEX, Tv = -log2 t, ASA PH2.5-1960)."""
    light = np.full((200, 200, 3), 0.02, dtype=np.float32)
    base = linear(develop(light, 1.0, SensorSpec(), (0, 0))).mean()
    for ev in (-2, -1, 1, 2, 3, 5):
        picture = linear(develop(light, 2.0**ev, SensorSpec(), (0, ev + 9)))
        assert picture.mean() / base == pytest.approx(2.0**ev, rel=0.02)
    assert np.all(develop(light, 2.0**8, SensorSpec(), (0, 0)) == 255)
    # A quarter of the sensor's range, four times as long: at the end of the range half the noise is clipped.
    assert linear(develop(light * 12.5, 4.0, SensorSpec(), (0, 1))).mean() == pytest.approx(1.0, abs=0.01)


def linear(picture: np.ndarray[tuple[int, ...], np.dtype[np.uint8]]) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Light of codes, IEC 61966-2-1."""
    code = picture / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("level", [0.0, 0.02, 0.1, 0.4])
def test_noise_is_as_large_as_said(level: float) -> None:
    """EMVA 1288's linear model: variance = read noise squared + light, in electrons."""
    sensor = replace(SensorSpec(), full_well=900.0, read_noise=3.0)
    values = linear(develop(np.full((400, 400, 3), level, dtype=np.float32), 1.0, sensor, (5,)))
    expected = math.sqrt(level * 900 + 9) / 900
    if level:
        assert values.std() == pytest.approx(expected, rel=0.03)
        assert values.mean() == pytest.approx(level, rel=0.01)
    else:  # half of it is below black and clipped
        assert values.mean() == pytest.approx(expected / math.sqrt(2 * math.pi), rel=0.1)


def test_noise_follows_the_seed() -> None:
    light = np.full((20, 30, 3), 0.2, dtype=np.float32)
    one, same, other = (develop(light, 1.0, SensorSpec(), seed) for seed in ((3, 1), (3, 1), (3, 2)))
    np.testing.assert_array_equal(one, same)
    assert np.mean(one != other) > 0.4
