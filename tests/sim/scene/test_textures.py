"""Textures are where their plane is, keep their mean light, and do not alias."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from sim.scene.bare import Sector
from sim.scene.place import make_place
from sim.scene.textures import Surfaces, Texture
from tests.sets.open_surfaces import surfaces

WIDTH = 2048
EYE_MM = 1600.0


def noise(seed: int, size: int = 64) -> NDArray[np.uint8]:
    return np.random.default_rng(seed).integers(20, 236, (size, size), dtype=np.uint8)


def angles() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    yaw = ((np.arange(WIDTH) + 0.5) / WIDTH - 0.5) * 2 * np.pi
    pitch = (0.5 - (np.arange(WIDTH // 2) + 0.5) / (WIDTH // 2)) * np.pi
    return yaw.astype(np.float32), pitch.astype(np.float32)


def test_every_version_has_a_mean_of_one_and_half_the_points() -> None:
    texture = Texture.of(noise(1), 640.0)
    assert [version.shape[0] for version in texture.versions] == [64, 32, 16, 8]
    assert [float(version.mean()) for version in texture.versions] == pytest.approx([1.0] * 4, abs=1e-5)
    spreads = [float(version.std()) for version in texture.versions]
    np.testing.assert_allclose(np.divide(spreads[1:], spreads[:-1]), 0.5, atol=0.12)  # of independent points


def test_a_fine_grain_shows_each_point_and_a_coarse_one_their_mean() -> None:
    texture = Texture.of(noise(2), 640.0)
    middles = ((np.arange(64) + 0.5) * 10).astype(np.float32)
    fine = texture.light(middles[np.newaxis], middles[:, np.newaxis], np.full(64, 10.0, dtype=np.float32))
    np.testing.assert_allclose(fine, texture.versions[0], rtol=1e-5)
    blocks = ((np.arange(16) + 0.5) * 40).astype(np.float32)
    coarse = texture.light(blocks[np.newaxis], blocks[:, np.newaxis], np.full(16, 40.0, dtype=np.float32))
    np.testing.assert_allclose(coarse, texture.versions[0].reshape(16, 4, 16, 4).mean(axis=(1, 3)), rtol=1e-5)
    # Beyond its edge a texture goes on as in a mirror.
    beyond = texture.light(-middles[np.newaxis], middles[:, np.newaxis], np.full(64, 10.0, dtype=np.float32))
    np.testing.assert_allclose(beyond, fine, rtol=1e-5)


def stripes(across_mm: float) -> Texture:
    """Dark left half, bright right half."""
    codes = np.full((256, 256), 60, dtype=np.uint8)
    codes[:, 128:] = 200
    return Texture.of(codes, across_mm)


@pytest.mark.parametrize(("down_deg", "right_mm"), [(40.0, 500.0), (25.0, -1500.0), (60.0, 500.0)])
def test_the_ground_is_a_level_plane_below_the_camera(down_deg: float, right_mm: float) -> None:
    """Stripes along yaw 0, each 1 m wide: edges every metre from 0.5 m to the right on."""
    yaw, pitch = angles()
    light = Surfaces(stripes(1000.0), stripes(1.0)).ground_light(yaw, pitch, EYE_MM)
    row = int(np.argmin(np.abs(pitch + math.radians(down_deg))))
    away = EYE_MM / math.tan(-float(pitch[row]))
    due = math.asin(right_mm / away)
    near = np.flatnonzero(np.abs(yaw - due) < 0.05)
    steps = np.abs(np.diff(light[row, near]))
    found = float(np.average((yaw[near][1:] + yaw[near][:-1]) / 2, weights=steps))
    assert found == pytest.approx(due, abs=math.pi / WIDTH)


def test_the_wall_stands_on_the_ground_at_its_distance() -> None:
    yaw, pitch = angles()
    wall = Surfaces(stripes(1000.0), stripes(1000.0), Sector(20.0, 30.0), 4000.0, 3000.0)
    light, inside = wall.wall_light(yaw, pitch, EYE_MM)
    yaws, pitches = np.degrees(yaw)[inside.max(axis=0) > 0], np.degrees(pitch)[inside.max(axis=1) > 0]
    assert (yaws.min(), yaws.max()) == pytest.approx((-10, 50), abs=0.3)
    foot, top = (math.degrees(math.atan2(height - EYE_MM, 4000)) for height in (0, 3000))
    assert (pitches.min(), pitches.max()) == pytest.approx((foot, top), abs=0.3)
    row = WIDTH // 4
    edges = np.flatnonzero(np.abs(np.diff(light[row, :, 0])) > 0.1 * light[row, :, 0].max())
    along_mm = (yaw[edges] + yaw[edges + 1]) / 2 * 4000
    off = (along_mm - 500 + 500) % 1000 - 500  # edges are at 500 mm and every metre from there
    assert np.abs(off).max() < 2 * math.pi / WIDTH * 4000 * 1.5


def test_open_surfaces_are_layers_of_the_place() -> None:
    usual, real = make_place(4, 768), make_place(4, 768, surfaces=surfaces())
    assert [layer.distance_mm for layer in real.layers] == [math.inf, 20_000.0, 6_000.0, 3_000.0, 2_500.0]
    far, same = usual.layers[0].points[1:-1, 1:-1], real.layers[0].points[1:-1, 1:-1]
    np.testing.assert_array_equal(far[:180], same[:180])  # sky and hills
    assert np.mean(far[-150:] != same[-150:]) > 0.9
