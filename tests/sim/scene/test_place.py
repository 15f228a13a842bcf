"""The invented place: the same for a seed, without a seam, and with detail in every direction."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from sim.scene.lens import Floats, LensSpec
from sim.scene.noise import clouds, ridge
from sim.scene.place import make_place
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import Scenery
from sim.scene.sensor import SensorSpec, develop
from sim.scene.things import DISTANCES_MM

WIDTH = 1024


@pytest.fixture(scope="module")
def place() -> Scenery:
    return make_place(7, WIDTH)


def test_a_seed_is_a_place(place: Scenery) -> None:
    again, other = make_place(7, WIDTH), make_place(8, WIDTH)
    for layer, same in zip(place.layers, again.layers, strict=True):
        np.testing.assert_array_equal(layer.points, same.points)
    assert np.mean(place.layers[0].points != other.layers[0].points) > 0.9


@pytest.mark.parametrize("width", [512, 768, 1536])
def test_a_seed_is_the_same_place_in_any_size(place: Scenery, width: int) -> None:
    one, other = (whole_at_256(scenery) for scenery in (place, make_place(7, width)))
    assert np.corrcoef(one.ravel(), other.ravel())[0, 1] > 0.97


def whole_at_256(scenery: Scenery) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """The green of all layers together, 256 points across."""
    (layer,) = scenery.flattened().layers
    green = Image.fromarray((layer.points[1:-1, 1:-1] >> 8 & 255).astype(np.uint8))
    return np.asarray(green.resize((256, 128), Image.Resampling.BOX)).astype(float)


def test_near_things_stand_at_their_distances(place: Scenery) -> None:
    assert [layer.distance_mm for layer in place.layers] == [np.inf, *DISTANCES_MM]
    for layer in place.layers[1:]:
        opacity = layer.points[1:-1, 1:-1] >> 24
        assert 0.0001 < np.mean(opacity == 255) < 0.1
        assert not opacity[: WIDTH // 8].any()  # nothing floats in the sky


def views(place: Scenery) -> dict[HeldPose, np.ndarray[tuple[int, ...], np.dtype[np.float64]]]:
    angle = np.linspace(0, 0.6, 400)
    renderer = Renderer(place, LensSpec(20, 20, 30 * np.tan(angle), angle), 100, 100)
    aims = [HeldPose(yaw, pitch) for pitch in (-90, -60, -30, 0, 30, 60, 90) for yaw in range(0, 360, 45)]
    return {aim: develop(renderer.light(aim), 0.5, SensorSpec(1e9, 0), (0,)).astype(float) for aim in aims}


def test_there_is_detail_everywhere(place: Scenery) -> None:
    """In each ninth of each picture of 37 degrees, neighbouring pixels differ."""
    for aim, picture in views(place).items():
        for row in range(0, 99, 33):
            for column in range(0, 99, 33):
                part = picture[row : row + 33, column : column + 33, 1]
                steps = np.abs(np.diff(part, axis=1)).mean() + np.abs(np.diff(part, axis=0)).mean()
                assert steps > 0.5, aim


def test_it_closes_after_a_whole_turn(place: Scenery) -> None:
    for layer in place.layers:
        codes = (layer.points[1:-1, 1:-1] >> 8 & 255).astype(float)
        across_seam = np.abs(codes[:, 0] - codes[:, -1]).mean()
        elsewhere = np.abs(np.diff(codes, axis=1)).mean(axis=0)
        assert across_seam <= elsewhere.max()


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([128, 384, 512]), st.floats(0.3, 1.0))
def test_clouds_of_numbers(seed: int, width: int, gain: float) -> None:
    numbers = clouds((seed,), width, gain)
    assert numbers.shape == (width // 2, width)
    assert np.isfinite(numbers).all()
    assert abs(numbers.mean()) < 0.5
    assert 0.1 < numbers.std() < 1.0
    seam = np.abs(numbers[:, 0] - numbers[:, -1]).mean()
    assert seam < 2 * np.abs(np.diff(numbers, axis=1)).mean() + 1e-3


@given(st.integers(0, 2**32), st.floats(0.1, 0.9))
def test_a_skyline_closes(seed: int, roughness: float) -> None:
    yaw: Floats = (np.arange(512) / 512 * 2 * np.pi).astype(np.float32)
    line = ridge((seed,), yaw, roughness)
    assert np.abs(line).max() < 3
    assert line.std() > 0.2
    assert abs(line[0] - line[-1]) <= np.abs(np.diff(line)).max() * 1.5
