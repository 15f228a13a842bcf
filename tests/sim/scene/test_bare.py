"""Bare parts of the place show nothing, and the rest stays as it is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.scene.bare import WALL_PITCH_DEG, Bareness, Sector
from sim.scene.place import make_place
from sim.scene.scenery import Layer
from tests.sim.scene.dots import grid

WIDTH, SEED = 512, 3
BARE = Bareness()


def codes(layer: Layer) -> NDArray[np.float64]:
    """Red, green, blue and opacity (height, width, 4)."""
    points = layer.points[1:-1, 1:-1]
    return np.stack([points >> shift & 255 for shift in (0, 8, 16, 24)], axis=-1).astype(np.float64)


def inside(sector: Sector, yaw_deg: NDArray[np.float64], by_deg: float) -> NDArray[np.bool_]:
    away = np.abs((yaw_deg - sector.yaw_deg + 180) % 360 - 180)
    return np.asarray(away < sector.half_deg - by_deg)


def test_bare_parts_have_no_texture_and_the_others_are_unchanged() -> None:
    yaw, pitch = grid(WIDTH)
    usual, bare = (codes(make_place(SEED, WIDTH, bareness).layers[0]) for bareness in (None, BARE))
    step = np.abs(np.diff(bare[..., 1], axis=1))[:, :-1]
    yaw_between, pitch_between = yaw[:, 1:-1], pitch[:, 1:-1]
    wall = inside(BARE.wall, yaw_between, 2) & (pitch_between > WALL_PITCH_DEG[0] + 2)
    wall &= pitch_between < WALL_PITCH_DEG[1] - 2
    water = inside(BARE.water, yaw_between, 2) & (pitch_between < -20) & ~inside(BARE.wall, yaw_between, -2)
    sky = inside(BARE.clear, yaw_between, 8) & (pitch_between > 20) & ~inside(BARE.wall, yaw_between, -2)
    for part in (wall, water, sky):
        assert part.mean() > 0.05
        assert step[part].max() <= 2
    rest = ~inside(BARE.wall, yaw, -2) & ~inside(BARE.clear, yaw, -8) & (pitch > 20)
    rest |= ~inside(BARE.wall, yaw, -2) & ~inside(BARE.water, yaw, -2) & (pitch < -20)
    assert rest.mean() > 0.2
    np.testing.assert_array_equal(bare[rest], usual[rest])


def test_nothing_is_in_the_water_or_before_the_wall() -> None:
    yaw, _ = grid(WIDTH)
    usual, bare = (make_place(SEED, WIDTH, bareness).layers[1:] for bareness in (None, BARE))
    bare_yaw = inside(BARE.wall, yaw, 0) | inside(BARE.water, yaw, 0)
    assert any(codes(layer)[bare_yaw, 3].any() for layer in usual)
    assert not any(codes(layer)[bare_yaw, 3].any() for layer in bare)
    assert any(codes(layer)[~bare_yaw, 3].any() for layer in bare)
