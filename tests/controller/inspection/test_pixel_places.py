"""The lens without derivatives is the lens with them, except past a fold, where it shows nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.inspection.lens_model import BrownLens, project
from controller.inspection.pixel_places import PixelPlaces, fold_radius
from controller.optics.projection import Projection
from tests.controller.inspection.test_lens_model import lenses, rays_of


@settings(deadline=None, max_examples=60)
@given(lenses(), st.integers(0, 1000))
def test_pixels_are_those_of_the_lens_model(lens: BrownLens, seed: int) -> None:
    rays = rays_of(lens, seed)
    places = PixelPlaces(lens).pixels(rays)
    shown = np.isfinite(places[:, 0])
    assert np.allclose(places[shown], project(lens, rays).pixels[shown], rtol=0, atol=1e-6 * lens.focal_px)
    # What it leaves out is past the fold, and what it shows comes back from its pixel.
    assert shown.all() or np.isfinite(fold_radius(lens))
    assert np.allclose(PixelPlaces(lens).rays(places[shown]), rays[shown], atol=1e-6)


@given(st.floats(-0.3, -0.01), st.sampled_from(list(Projection)))
def test_the_radius_grows_up_to_the_fold_and_no_further(k1: float, projection: Projection) -> None:
    lens = BrownLens(projection, 1000.0, 0.0, 0.0, k1=k1)
    fold = fold_radius(lens)
    radius = np.linspace(0, 1.5 * fold, 3000)
    grows = np.diff(radius * (1 + k1 * radius**2)) > 0
    assert np.array_equal(grows, radius[1:] < fold) or abs(radius[1:][grows][-1] - fold) < 2 * radius[1]


def test_what_is_far_outside_is_not_folded_into_the_picture() -> None:
    """With k1 = -0.2 a ray 61 degrees off would land at 494 pixels from the middle, where another ray is."""
    lens = BrownLens(Projection.RECTILINEAR, 1000.0, 0.0, 0.0, k1=-0.2)
    far = np.array([[np.sin(np.radians(61)), 0.0, np.cos(np.radians(61))]])
    assert abs(project(lens, far).pixels[0, 0]) < 1000
    assert np.isnan(PixelPlaces(lens).pixels(far)).all()


@pytest.mark.parametrize("projection", list(Projection))
def test_the_middle_is_the_principal_point_and_behind_is_nothing_for_flat_lenses(projection: Projection) -> None:
    places = PixelPlaces(BrownLens(projection, 700.0, 31.0, -4.0))
    assert np.allclose(places.pixels(np.array([[0.0, 0.0, 1.0]])), [[31.0, -4.0]])
    behind = places.pixels(np.array([[0.3, 0.0, -0.9]]))
    assert np.isnan(behind).all() == (projection in {Projection.RECTILINEAR, Projection.ORTHOGRAPHIC})
