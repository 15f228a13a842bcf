"""Closed rings of simulated points with a known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from controller.calibration.lens_terms import Points, PupilPlace
from controller.calibration.ring import ON_AXIS, NotClosed, close_ring
from controller.calibration.turning import NoOverlap, PictureGeometry
from tests.controller.calibration.pictured import camera_of, common_points, turned
from tests.controller.calibration.ringed import RingRig, bent_by

Array = NDArray[np.float64]
STEPS_PER_DEGREE = 320.0


def even_steps(count: int) -> Array:
    return np.asarray(np.arange(count) * 360 / count * STEPS_PER_DEGREE)


def ring_of(
    seed: int,
    camera: PictureGeometry,
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


def test_a_slip_within_the_ring_is_seen_and_placed() -> None:
    """From the fifth picture on the head is 0.2 degrees too far; the other stops are good."""
    rig = RingRig(slip_deg=0.2, slip_at=5, missed_deg=0.002, count=9)
    ring = close_ring(rig.pairs(np.random.default_rng(2)), rig.steps, rig.expected)
    assert ring.slip.seen
    assert ring.slip.after == 4
    assert ring.slip.jump_deg == pytest.approx(0.2, abs=0.02)


def test_the_lens_is_found_along_with_its_uncertainty() -> None:
    """Distortion at the corner and the place of the axis, against the true lens of the points."""
    rig = replace(bent_by(RingRig(points=200), -0.03), aside_px=(10.0, -6.0))
    ring = close_ring(rig.pairs(np.random.default_rng(4)), rig.steps, rig.expected)
    u_px = ring.camera.focal_px * np.sqrt(np.diag(ring.lens_covariance)[4:])
    aside = np.array(ring.camera.middle_px) - rig.expected.middle_px
    assert np.all(np.abs(aside - rig.aside_px) < 4 * u_px)
    assert u_px.max() < 1.0
    # A point seen at (1 - 0.03) of the corner's radius belongs at the corner.
    assert ring.camera.corner_share == pytest.approx(0.03, abs=0.01)


def test_a_pupil_that_may_be_off_the_axis_widens_the_focal_length_alone() -> None:
    rig = RingRig()
    pairs = rig.pairs(np.random.default_rng(5))
    on, off = (
        close_ring(pairs, rig.steps, rig.expected, standing=each) for each in (ON_AXIS, PupilPlace(10.0, 10_000.0))
    )
    assert off.u_focal_px > 2 * on.u_focal_px
    assert off.u_steps_per_degree == pytest.approx(on.u_steps_per_degree, rel=0.01)
    assert off.pupil_share > 0.5 > on.pupil_share
