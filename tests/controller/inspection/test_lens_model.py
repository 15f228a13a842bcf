"""The lens model: both ways, its derivatives, and OpenCV's projection as the outside check."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.lens_model import CURVES, TERMS, BrownLens, project, see
from controller.optics.projection import LAWS, Projection

WIDEST = {Projection.RECTILINEAR: 0.9, Projection.ORTHOGRAPHIC: 1.3}  # radians; 1.5 for the others


@st.composite
def lenses(draw: st.DrawFn) -> BrownLens:
    small = st.floats(-0.02, 0.02)
    return BrownLens(
        draw(st.sampled_from(list(Projection))),
        draw(st.floats(300, 20_000)),
        *(draw(st.floats(1000, 4000)) for _ in range(2)),
        *(draw(small) / 4**power for power in range(3)),
    )


def rays_of(lens: BrownLens, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle = np.concatenate([[0.0, 1e-6], rng.uniform(0, WIDEST.get(lens.projection, 1.5), 30)])
    turn = rng.uniform(0, 2 * np.pi, len(angle))
    return np.stack([np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn), np.cos(angle)], axis=1)


@settings(deadline=None, max_examples=60)
@given(lenses(), st.integers(0, 1000))
def test_a_ray_returns_from_its_pixel(lens: BrownLens, seed: int) -> None:
    rays = rays_of(lens, seed)
    pixels = project(lens, rays).pixels
    back = see(lens, pixels).rays
    there = np.isfinite(back[:, 0])
    assert there[:2].all()
    assert np.abs(back[there] - rays[there]).max() < 1e-6
    assert np.abs(project(lens, back[there]).pixels - pixels[there]).max() < 1e-6


@settings(deadline=None, max_examples=60)
@given(lenses(), st.integers(0, 1000))
def test_derivatives_agree_with_differences(lens: BrownLens, seed: int) -> None:
    rays = rays_of(lens, seed)[1:]
    there = project(lens, rays)
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = 1e-7
        slope = (project(lens, rays + step).pixels - project(lens, rays - step).pixels) / 2e-7
        assert np.allclose(there.by_ray[:, :, axis], slope, rtol=1e-4, atol=1e-4 * lens.focal_px)
    seen = see(lens, there.pixels)
    for column, term in enumerate(TERMS):
        size = 1e-3 if term.endswith("px") else 1e-7
        more, less = (lens.moved((term,), np.array([sign * size])) for sign in (1, -1))
        slope = (project(more, rays).pixels - project(less, rays).pixels) / (2 * size)
        assert np.allclose(there.by_terms[:, :, column], slope, rtol=1e-4, atol=1e-5 * lens.focal_px)
        slope = (see(more, there.pixels).rays - see(less, there.pixels).rays) / (2 * size)
        good = np.isfinite(slope).all(axis=(1,)) & np.isfinite(seen.by_terms[:, :, column]).all(axis=1)
        # Near a fold of the distortion the derivative itself changes fast.
        calm = good & (np.abs(seen.by_pixel).max(axis=(1, 2)) * lens.focal_px < 3)
        assert np.allclose(seen.by_terms[calm, :, column], slope[calm], rtol=1e-3, atol=1e-4)


@settings(deadline=None, max_examples=30)
@given(lenses(), st.integers(0, 1000))
def test_a_rectilinear_lens_is_that_of_opencv(lens: BrownLens, seed: int) -> None:
    """OpenCV's projectPoints with its terms k1, k2, k3 and without tangential terms."""
    rays = rays_of(BrownLens(Projection.RECTILINEAR, 1, 0, 0), seed)
    lens = BrownLens(Projection.RECTILINEAR, *(getattr(lens, name) for name in BrownLens.__slots__[1:]))
    matrix = np.array([[lens.focal_px, 0, lens.centre_x_px], [0, lens.focal_px, lens.centre_y_px], [0, 0, 1]])
    terms = np.array([lens.k1, lens.k2, 0, 0, lens.k3])
    expected = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), matrix, terms)[0][:, 0]
    assert np.abs(project(lens, rays).pixels - expected).max() < 1e-6


@pytest.mark.parametrize("projection", list(Projection))
def test_curves_are_the_laws_of_optics(projection: Projection) -> None:
    angles = np.linspace(0, WIDEST.get(projection, 1.5), 50)
    radii = CURVES[projection].radius(angles)
    assert np.allclose(radii, [LAWS[projection].radius(angle) for angle in angles])
    assert np.allclose(CURVES[projection].angle(radii), angles)
    assert np.allclose(CURVES[projection].slope(angles[1:-1]), np.gradient(radii, angles)[1:-1], rtol=1e-2)


@pytest.mark.parametrize("projection", list(Projection))
def test_what_a_lens_never_reaches_is_nan(projection: Projection) -> None:
    lens = BrownLens(projection, 1000, 0, 0)
    if projection in (Projection.RECTILINEAR, Projection.ORTHOGRAPHIC):
        assert np.isnan(project(lens, np.array([[0.1, 0, -1.0]])).pixels).all()
    if np.isfinite(LAWS[projection].largest_radius):
        assert np.isnan(see(lens, np.array([[3500.0, 0]])).rays).all()
    folded = BrownLens(Projection.RECTILINEAR, 1000, 0, 0, k1=-0.3)
    assert np.isnan(see(folded, np.array([[900.0, 0]])).rays).all()
