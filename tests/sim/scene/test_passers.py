"""People and cars are where geometry puts them at each moment, and in front of what is behind them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.scene.lens import Floats, LensSpec
from sim.scene.passers import CAR_MM_S, PERSON_MM_S, Passer, passers
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Scenery, layer_of
from tests.sim.scene.dots import Array, centre_of_light
from tests.sim.scene.test_render import rectilinear

BLACK = Scenery((layer_of(np.zeros((256, 512, 3), dtype=np.uint8)),))
ACROSS, UP = 600, 400
WHITE: Floats = np.ones((20, 10, 4), dtype=np.float32)


def walker(speed_mm_s: float = 1000.0, broadside: bool = False) -> Passer:
    """A white board of 400 x 800 mm that crosses straight ahead, 6 m away."""
    return Passer(WHITE, (400.0, 800.0), ((6000.0, -2000.0), (6000.0, 2000.0)), speed_mm_s, broadside=broadside)


def seen_px(lens: LensSpec, point_mm: Array, pupil_mm: Array) -> tuple[float, float]:
    """Where a camera at yaw 0 shows a point: similar triangles."""
    forward, right, up = point_mm - pupil_mm
    per_mm = ACROSS / lens.width_mm
    return (ACROSS - 1) / 2 + 24 * right / forward * per_mm, (UP - 1) / 2 - 24 * up / forward * per_mm


@pytest.mark.parametrize("along_mm", [0.0, 60.0])
@pytest.mark.parametrize("at_s", [0.5, 2.0, 3.3, 5.0, 9.0])
def test_a_walker_is_where_it_should_be(at_s: float, along_mm: float) -> None:
    lens = rectilinear(36, 24, along=along_mm)
    light = Renderer(BLACK, lens, ACROSS, UP, [walker(broadside=True)]).light(HeldPose(0.0, 0.0), at_s=at_s)
    along_way = at_s % 8
    y = -2000 + 1000 * min(along_way, 8 - along_way)
    due = seen_px(lens, np.array([6000.0, y, -1600 + 400.0]), np.array([along_mm, 0, 0]))
    there = centre_of_light(light, *due, 60)
    assert there == pytest.approx(due, abs=0.1)
    # As large as the plane at that distance shows it.
    size = 400 * 800 * (24 / (6000 - along_mm) * ACROSS / 36) ** 2
    assert light[..., 1].sum() == pytest.approx(size, rel=0.02)


@given(st.floats(0, 1000), st.floats(0.001, 0.5))
def test_nothing_leaps(at_s: float, later_s: float) -> None:
    passer = walker(1400.0)
    moved = np.linalg.norm(passer.foot_mm(at_s + later_s) - passer.foot_mm(at_s))
    assert moved <= 1400 * later_s * (1 + 1e-6) + 1e-6
    x, y, z = passer.foot_mm(at_s)
    assert x == pytest.approx(6000)
    assert abs(y) <= 2000 + 1e-6
    assert z == -1600


def test_nearer_things_hide_a_passer_and_farther_ones_do_not() -> None:
    codes = np.zeros((256, 512, 4), dtype=np.uint8)
    codes[..., 3] = 255  # black all around
    for distance_mm, hidden in ((3000.0, True), (9000.0, False)):
        scenery = Scenery((*BLACK.layers, layer_of(codes, distance_mm)))
        light = Renderer(scenery, rectilinear(36, 24), ACROSS, UP, [walker()]).light(HeldPose(0.0, 0.0), at_s=2.0)
        assert (light.max() == 0) == hidden


def test_passers_follow_their_seed_and_keep_their_distance() -> None:
    for seed in range(5):
        others, same = passers(seed, 4, 3), passers(seed, 4, 3)
        for number, (passer, again) in enumerate(zip(others, same, strict=True)):
            assert passer.ends_mm == again.ends_mm
            np.testing.assert_array_equal(passer.picture, again.picture)
            walks = number < 4
            assert passer.speed_mm_s == (PERSON_MM_S if walks else CAR_MM_S)
            nearest = min(passer.distance_mm(second / 10) for second in range(600))
            assert (3990 if walks else 13_990) <= nearest <= (12_200 if walks else 25_500)
            assert math.isclose(float(passer.picture[..., 3].max()), 1.0)
            assert 0.2 < passer.picture[..., 3].mean() < 0.9
    assert passers(1, 1, 0)[0].ends_mm != passers(2, 1, 0)[0].ends_mm
