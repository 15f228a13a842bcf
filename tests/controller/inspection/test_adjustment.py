"""The adjustment against made-up sets whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from controller.inspection.adjustment import Adjusted, adjust
from controller.inspection.lens_model import BrownLens
from controller.inspection.links import Link, misses, points_of
from controller.inspection.poses import commanded, pan_axis, predicted, turn_of, turned
from controller.optics.projection import Projection
from tests.controller.inspection.sets import ASSUMED, LENS, NOISE_PX, MadeUp, grid, make

AXIS = pan_axis(0, 0)
RING = (np.arange(0, 360, 30.0), np.array([-20.0, 15.0]))


@pytest.fixture(scope="module")
def ring() -> tuple[MadeUp, Adjusted]:
    made = make(np.random.default_rng(5), grid(*RING, both_ways=True))
    return made, adjust(made.frames, made.links, ASSUMED, AXIS)


def off_px(made: MadeUp, adjusted: Adjusted, frames: np.ndarray | None = None) -> np.ndarray:
    """Each frame's turn from the truth in pixels, without what all frames have in common."""
    chosen = np.arange(len(made.frames)) if frames is None else frames
    turns = turn_of(adjusted.rotations @ made.rotations.transpose(0, 2, 1))[chosen]
    return np.asarray((turns - turns.mean(axis=0)) * LENS.focal_px)


def test_poses_are_within_a_third_of_a_pixel(ring: tuple[MadeUp, Adjusted]) -> None:
    assert np.sqrt(np.mean(off_px(*ring) ** 2)) < 0.3


def test_the_lens_is_within_its_uncertainty(ring: tuple[MadeUp, Adjusted]) -> None:
    _, adjusted = ring
    assert "k1" in adjusted.terms
    off = np.array([getattr(adjusted.lens, term) - getattr(LENS, term) for term in adjusted.terms])
    assert off @ np.linalg.solve(adjusted.lens_covariance(), off) < 25  # chi-square, 5 degrees of freedom, 99.99 %


def test_wild_points_are_told_apart(ring: tuple[MadeUp, Adjusted]) -> None:
    made, adjusted = ring
    good, wild = np.concatenate(adjusted.good), np.concatenate(made.wild)
    assert np.mean(good[~wild]) > 0.995
    assert np.mean(good[wild]) < 0.02  # one in a thousand falls near its place by chance
    assert adjusted.noise == pytest.approx(1, abs=0.05)
    assert np.nanmax(np.abs(adjusted.rms_px / NOISE_PX - 1)) < 0.6


def test_absolute_poses_come_from_the_head(ring: tuple[MadeUp, Adjusted]) -> None:
    """Turning all photographs at once changes no match, so on the whole they are where the head puts them."""
    made, adjusted = ring
    expected, _ = predicted(made.frames, AXIS, adjusted.head)
    turns = np.degrees(turn_of(adjusted.rotations @ expected.transpose(0, 2, 1)))
    assert np.abs(turns.mean(axis=0)).max() < 0.002
    assert np.std(turns) == pytest.approx(0.02, rel=0.3)


def test_frames_without_points_keep_their_commanded_pose() -> None:
    made = make(np.random.default_rng(8), grid(np.arange(0, 120, 30.0), np.array([0.0, 30.0])))
    links = [link for link in made.links if 3 not in (link.first, link.second)]
    links.append(Link(3, 2, np.zeros((0, 2)), np.zeros((0, 2)), 0.3))
    adjusted = adjust(made.frames, links, ASSUMED, AXIS)
    assert list(np.flatnonzero(adjusted.alone)) == [3]
    assert np.array_equal(adjusted.rotations[3], commanded(made.frames)[3])
    assert np.degrees(np.sqrt(adjusted.turns_covariance()[3].diagonal())) == pytest.approx(0.02, rel=0.1)
    assert np.isnan(adjusted.rms_px[-1])


def test_a_set_without_any_points_stays_as_commanded() -> None:
    frames = grid(*RING)
    adjusted = adjust(frames, [], ASSUMED, AXIS)
    assert adjusted.alone.all()
    assert np.array_equal(adjusted.rotations, commanded(frames))
    assert adjusted.lens == ASSUMED
    with pytest.raises(ValueError, match="no frames"):
        adjust([], [], ASSUMED, AXIS)


@pytest.mark.parametrize("turn_deg", [0.2, 1.0, 3.0])
def test_a_frame_that_was_moved_is_found_and_drags_no_other(turn_deg: float) -> None:
    made = make(np.random.default_rng(11), grid(*RING))
    # The same photographs, of a head that claims to be elsewhere.
    frames = list(made.frames)
    frames[7] = replace(frames[7], yaw_deg=frames[7].yaw_deg + turn_deg)
    adjusted = adjust(frames, made.links, ASSUMED, AXIS)
    assert np.sqrt(np.mean(off_px(made, adjusted) ** 2)) < 0.3


@pytest.mark.parametrize("truth", [replace(LENS, k1=0.0, k2=0.0), replace(LENS, k2=0.0), LENS])
def test_a_lens_has_the_terms_that_the_data_carry(truth: BrownLens) -> None:
    for seed in (101, 102):
        made = make(np.random.default_rng(seed), grid(*RING), truth)
        terms = adjust(made.frames, made.links, ASSUMED, AXIS).terms
        assert ("k1" in terms) == (truth.k1 != 0)
        assert "k3" not in terms
        assert "k2" not in terms or truth.k2 != 0


@pytest.mark.parametrize("projection", [Projection.EQUIDISTANT, Projection.EQUISOLID, Projection.STEREOGRAPHIC])
def test_a_fisheye_is_adjusted_alike(projection: Projection) -> None:
    truth = BrownLens(projection, 1500.0, 2003.0, 1496.0, k1=0.01)
    made = make(np.random.default_rng(3), grid(np.arange(0, 360, 45.0), np.array([0.0])), truth)
    adjusted = adjust(made.frames, made.links, replace(truth, focal_px=1470.0, k1=0.0), AXIS)
    assert np.sqrt(np.mean(off_px(made, adjusted) ** 2)) < 0.3
    assert adjusted.lens.focal_px == pytest.approx(1500.0, rel=1e-3)


def test_derivatives_of_misses_agree_with_differences() -> None:
    made = make(np.random.default_rng(2), grid(np.array([0.0, 30.0]), np.array([10.0])), wild=0.0)
    points = points_of(made.links)
    there = misses(points, LENS, made.rotations)
    size = 1e-6
    for frame, derivative in ((0, there.by_first), (1, there.by_second)):
        for axis in range(3):
            turn = np.zeros((2, 3))
            turn[frame, axis] = size
            more = misses(points, LENS, made.rotations @ turned(turn)).residuals
            less = misses(points, LENS, made.rotations @ turned(-turn)).residuals
            # The whitening moves a little as well, which Gauss-Newton leaves out: in proportion to the residual.
            assert np.allclose(derivative[:, :, axis], (more - less) / (2 * size), rtol=1e-3, atol=20)


def test_residuals_have_a_standard_deviation_of_one() -> None:
    made = make(np.random.default_rng(4), grid(*RING), wild=0.0)
    residuals = misses(points_of(made.links), LENS, made.rotations).residuals
    assert np.std(residuals) == pytest.approx(1, abs=0.03)
