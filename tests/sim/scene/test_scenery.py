"""Lookups on the sphere, and pictures that users provide."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage

from sim.scene.scenery import (
    FULL,
    NARROWEST,
    WIDEST,
    Scenery,
    layer_of,
    light_of_codes,
    points_across,
    scenery_of,
    seen,
)
from tests.sim.scene.dots import unit

CODES = np.random.default_rng(8).integers(0, 256, (64, 128, 4), dtype=np.uint8)
LAYER = layer_of(CODES)


def looked_up(yaw_deg: float, pitch_deg: float, length: float = 1.0) -> NDArray[np.float64]:
    """Red, green, blue and opacity in one direction, as codes 0 to 255."""
    x, y, z = (unit(np.array([yaw_deg]), np.array([pitch_deg]))[0] * length).astype(np.float32)[:, np.newaxis]
    red_blue, green_opacity = seen(LAYER, x, y, z)
    return np.array([red_blue[0, 0], green_opacity[0, 0], red_blue[0, 1], green_opacity[0, 1]]) / 256


@given(st.floats(-180, 180), st.floats(-89.9, 89.9), st.floats(0.01, 5000))
def test_lookup_is_bilinear_everywhere_the_seam_included(yaw: float, pitch: float, length: float) -> None:
    column, row = (yaw / 360 + 0.5) * 128 - 0.5, (0.5 - pitch / 180) * 64 - 0.5
    wide = np.pad(CODES.astype(float), ((0, 0), (1, 1), (0, 0)), mode="wrap")
    expected = [
        ndimage.map_coordinates(wide[..., part], [[row], [column + 1]], order=1, mode="nearest")[0] for part in range(4)
    ]
    # Weights are whole 256ths, and a position is known to about one of them.
    np.testing.assert_allclose(looked_up(yaw, pitch, length), expected, rtol=0, atol=4 * 255 / 256)


@pytest.mark.parametrize(("row", "column"), [(0, 0), (0, 127), (63, 5), (31, 64), (63, 127)])
def test_a_point_is_seen_in_its_own_direction(row: int, column: int) -> None:
    yaw, pitch = ((column + 0.5) / 128 - 0.5) * 360, (0.5 - (row + 0.5) / 64) * 180
    np.testing.assert_allclose(looked_up(yaw, pitch), CODES[row, column], rtol=0, atol=2)


def test_light_of_codes_is_the_standards_curve() -> None:
    """IEC 61966-2-1: code 255 is full light, 188 close to a half, 10 on the straight part."""
    light = light_of_codes(1.0)
    assert light[0] == 0
    assert light[FULL] == 1
    assert light[188 * 256] == pytest.approx(0.5029, abs=2e-4)
    assert light[10 * 256] == pytest.approx(10 / 255 / 12.92, rel=1e-6)
    np.testing.assert_allclose(light_of_codes(4.0), 4 * light, rtol=1e-6)


@given(st.floats(1e-5, 1))
def test_scenery_is_just_coarse_enough(pixel_rad: float) -> None:
    points = points_across(pixel_rad)
    wanted = 2 * math.pi / pixel_rad
    assert NARROWEST <= points <= WIDEST
    if NARROWEST <= wanted <= WIDEST:
        assert points <= wanted < 1.51 * points
    assert points % 4 == 0


def test_layers_in_one_picture() -> None:
    far, near = np.full((8, 16, 3), 200, dtype=np.uint8), np.zeros((8, 16, 4), dtype=np.uint8)
    near[:, :4, 3], near[:, 4:8, 3] = 255, 128
    (layer,) = Scenery((layer_of(far), layer_of(near, 1000.0))).flattened().layers
    red = layer.points[1:-1, 1:-1] & 255
    assert red.tolist() == [[0] * 4 + [100] * 4 + [200] * 8] * 8
    assert math.isinf(layer.distance_mm)


def test_a_picture_that_somebody_brings() -> None:
    (layer,) = scenery_of(CODES[..., :3]).layers
    np.testing.assert_array_equal(layer.points, layer_of(CODES[..., :3]).points)
