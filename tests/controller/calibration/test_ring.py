"""Closed rings of made-up points with a known truth."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from controller.calibration.finding import coverage_factor
from controller.calibration.lens_terms import Points
from controller.calibration.ring import NotClosed, close_ring
from controller.calibration.turning import Camera, NoOverlap
from tests.controller.calibration.coverage import CASES, assert_honest
from tests.controller.calibration.pictured import camera_of, common_points, turned

Array = NDArray[np.float64]
STEPS_PER_DEGREE = 320.0


def even_steps(count: int) -> Array:
    return np.asarray(np.arange(count) * 360 / count * STEPS_PER_DEGREE)


def ring_of(
    seed: int,
    camera: Camera,
    steps: Array,
    noise_px: float,
    missed_deg: float,
    count: int = 60,
    pitch_deg: float = 0.0,
    bend: float = 0.0,
) -> list[Points]:
    """Matched points of neighbours, the last with the first as well."""
    random = np.random.default_rng(seed)
    yaw = steps / STEPS_PER_DEGREE + random.normal(0, missed_deg, len(steps))
    turns = np.append(np.diff(yaw), 360 + yaw[0] - yaw[-1])
    return [common_points(random, camera, turned(turn, pitch_deg), count, noise_px, bend) for turn in turns]


@pytest.mark.parametrize("guess", [0.9, 1.0, 1.1])
@pytest.mark.parametrize("pitch_deg", [0.0, 40.0])
def test_a_clean_ring_gives_everything(guess: float, pitch_deg: float) -> None:
    camera, steps = camera_of(), even_steps(12)
    ring = close_ring(ring_of(1, camera, steps, 1e-6, 0.0, pitch_deg=pitch_deg), steps, camera.scaled(guess))
    assert ring.camera.focal_px == pytest.approx(camera.focal_px, rel=1e-7)
    assert ring.steps_per_degree == pytest.approx(STEPS_PER_DEGREE, rel=1e-7)


@pytest.mark.parametrize("bend", [-0.05, -0.01, 0.02])
def test_a_lens_that_distorts_is_seen_through(bend: float) -> None:
    camera, steps = camera_of(), even_steps(12)
    ring = close_ring(ring_of(1, camera, steps, 1e-6, 0.0, bend=bend), steps, camera.scaled(1.03))
    assert ring.camera.focal_px == pytest.approx(camera.focal_px, rel=1e-6)
    assert ring.camera.bends == pytest.approx((bend, 0.0, 0.0), abs=1e-5)
    assert ring.steps_per_degree == pytest.approx(STEPS_PER_DEGREE, rel=1e-7)


def test_the_steps_need_not_be_even_nor_fill_the_turn() -> None:
    camera, steps = camera_of(), np.array([0.0, 20, 55, 90, 118, 150, 185, 220, 250, 280, 318]) * STEPS_PER_DEGREE
    ring = close_ring(ring_of(2, camera, steps, 1e-6, 0.0), steps, camera.scaled(1.04))
    assert ring.steps_per_degree == pytest.approx(STEPS_PER_DEGREE, rel=1e-7)


def test_the_other_way_round_is_as_good() -> None:
    camera, steps = camera_of(), -even_steps(12)
    random = np.random.default_rng(3)
    pairs = [common_points(random, camera, turned(-30.0), 60, 1e-6) for _ in range(12)]
    ring = close_ring(pairs, steps, camera)
    assert ring.steps_per_degree == pytest.approx(STEPS_PER_DEGREE, rel=1e-7)


def test_the_heads_own_errors_are_told_from_those_of_the_points() -> None:
    camera, steps = camera_of(), even_steps(24)
    rough = [close_ring(ring_of(seed, camera, steps, 0.2, 0.05), steps, camera).missed_deg for seed in range(5)]
    smooth = [close_ring(ring_of(seed, camera, steps, 0.2, 0.0), steps, camera).missed_deg for seed in range(5)]
    assert np.mean(rough) == pytest.approx(0.05, rel=0.15)
    assert np.mean(smooth) < 0.005


def test_a_ring_that_does_not_close_is_refused() -> None:
    camera, steps = camera_of(), even_steps(12)
    whole = ring_of(5, camera, steps, 0.2, 0.0)
    with pytest.raises(NotClosed):
        close_ring([common_points(np.random.default_rng(1), camera, turned(0.0), 60, 0.2)] * 12, steps, camera)
    random = np.random.default_rng(6)
    nothing = random.uniform((0, 0), (1000, 667), (60, 2)), random.uniform((0, 0), (1000, 667), (60, 2))
    with pytest.raises(NoOverlap) as caught:
        close_ring([*whole[:7], nothing, *whole[8:]], steps, camera)
    assert caught.value.pair == 7


@pytest.mark.long
def test_the_truth_lies_in_the_stated_interval() -> None:
    random = np.random.default_rng(17)
    bounds: tuple[list[tuple[float, float]], list[tuple[float, float]]] = ([], [])
    truths: tuple[list[float], list[float]] = ([], [])
    for seed in range(CASES):
        count = int(random.integers(7, 9))
        camera = camera_of(random.uniform(18, 22))
        steps = even_steps(count)
        missed = float(random.choice([0.0, 0.002, 0.01, 0.05]))
        pairs = ring_of(seed, camera, steps, random.uniform(0.1, 0.5), missed, 30, bend=random.normal(0, 0.02))
        ring = close_ring(pairs, steps, camera.scaled(random.uniform(0.995, 1.005)))
        found = (
            (ring.steps_per_degree, ring.u_steps_per_degree, ring.steps_freedom, STEPS_PER_DEGREE),
            (ring.camera.focal_px, ring.u_focal_px, ring.focal_freedom, camera.focal_px),
        )
        for place, (value, u, freedom, true) in enumerate(found):
            half = coverage_factor(freedom) * u
            bounds[place].append((value - half, value + half))
            truths[place].append(true)
    for intervals, true_values in zip(bounds, truths, strict=True):
        assert_honest(intervals, true_values)
