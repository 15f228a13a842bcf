"""Distortion and vignetting of the simulated lens: against OpenCV, the host's own lens model and the formulas."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.commands.stand_in import lens_spec
from controller.inspection.lens_model import BrownLens, project
from controller.kit.kit import Kit
from controller.optics.projection import LAWS, Projection
from sim.scene.lens import Distortion, Vignetting, rays
from sim.scene.render import HeldPose, Renderer
from sim.scene.scenery import scenery_of
from tests.end_to_end.whole_runs import kit_of
from tests.sim.scene.dots import Array

ACROSS, UP = 300, 450
OFFSET = {"offset_right_mm": 0.8, "offset_up_mm": -1.1}
FOCAL_MM = {
    Projection.RECTILINEAR: 24.0,
    Projection.EQUIDISTANT: 15.0,
    Projection.EQUISOLID: 15.0,
    Projection.STEREOGRAPHIC: 12.0,
    Projection.ORTHOGRAPHIC: 26.0,
}
WHITE = scenery_of(np.full((256, 512, 3), 255, dtype=np.uint8))


def kit_with(projection: Projection) -> Kit:
    return kit_of(FOCAL_MM[projection], lens={"projection": projection.value}, camera=OFFSET)


def pixels_of(kit: Kit, distortion: Distortion) -> tuple[Array, Array]:
    """Rays (n, 3) as right, down, along the lens, and the pixels (n, 2) that the simulator says see them."""
    forward, right, up = rays(lens_spec(kit, distortion=distortion), ACROSS, UP).reshape(3, -1).astype(np.float64)
    rows, columns = (part.ravel() for part in np.mgrid[:UP, :ACROSS])
    seen = np.stack([right, -up, forward], axis=-1)
    assert np.isfinite(seen).all()
    return seen, np.stack([columns, rows], axis=-1).astype(np.float64)


def camera_px(kit: Kit) -> tuple[float, float, float]:
    """Focal length and principal point in pixels; whole numbers are the centres of pixels."""
    per_mm = ACROSS / kit.field(0.0).width_mm
    centre_x = (ACROSS - 1) / 2 - OFFSET["offset_right_mm"] * per_mm
    return kit.lens.focal_length_mm * per_mm, centre_x, (UP - 1) / 2 + OFFSET["offset_up_mm"] * per_mm


SHARES = st.tuples(st.floats(-0.03, 0.03), st.floats(-0.02, 0.02), st.floats(-0.01, 0.01))


def bending(kit: Kit, shares: tuple[float, float, float]) -> Distortion:
    """The terms that each move the corner by these shares of its radius."""
    rho = LAWS[kit.lens.projection].radius(float(lens_spec(kit).angle_rad[-1]))
    rho = min(rho, np.hypot(12 + OFFSET["offset_right_mm"], 18 - OFFSET["offset_up_mm"]) / kit.lens.focal_length_mm)
    return Distortion(shares[0] / rho**2, shares[1] / rho**4, shares[2] / rho**6)


@settings(max_examples=12, deadline=None)
@given(SHARES)
def test_pixels_are_where_opencv_projects_their_rays(shares: tuple[float, float, float]) -> None:
    """OpenCV's projectPoints, the model of Brown 1971; its terms are k1, k2, p1, p2, k3."""
    kit = kit_with(Projection.RECTILINEAR)
    bend = bending(kit, shares)
    seen, pixels = pixels_of(kit, bend)
    focal, x, y = camera_px(kit)
    matrix = np.array([[focal, 0, x], [0, focal, y], [0, 0, 1]])
    bent = np.array([bend.k1, bend.k2, 0, 0, bend.k3])
    there, _ = cv2.projectPoints(seen, np.zeros(3), np.zeros(3), matrix, bent)
    np.testing.assert_allclose(there[:, 0], pixels, rtol=0, atol=2e-4)  # rays are single precision


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(list(Projection)), SHARES)
def test_every_projection_is_bent_as_the_host_models_it(
    projection: Projection, shares: tuple[float, float, float]
) -> None:
    kit = kit_with(projection)
    bend = bending(kit, shares)
    seen, pixels = pixels_of(kit, bend)
    there = project(BrownLens(projection, *camera_px(kit), bend.k1, bend.k2, bend.k3), seen).pixels
    np.testing.assert_allclose(there, pixels, rtol=0, atol=3e-4)


@pytest.mark.parametrize("k1", [-0.03, 0.0, 0.03])
def test_distortion_leaves_the_image_circle_as_large_as_it_is(k1: float) -> None:
    kit = kit_of(8.0, lens={"projection": "equidistant", "image_circle_mm": 22.0})
    dark = np.isnan(rays(lens_spec(kit, distortion=Distortion(k1)), 240, 360)[0])
    column, row = np.meshgrid((np.arange(240) + 0.5) / 10 - 12, (np.arange(360) + 0.5) / 10 - 18)
    np.testing.assert_array_equal(dark, np.hypot(column, row) > 11)


def test_a_distortion_that_folds_the_picture_is_refused() -> None:
    with pytest.raises(ValueError, match="folds"):
        lens_spec(kit_with(Projection.RECTILINEAR), distortion=Distortion(-0.6))


@pytest.mark.parametrize(("natural", "corner"), [(True, 1.0), (False, 0.4), (True, 0.5)])
def test_light_falls_off_by_the_formula(natural: bool, corner: float) -> None:
    """The law of cosines to the fourth (S. F. Ray, Applied Photographic Optics, 2002) by a share in the corner."""
    lens = lens_spec(kit_of(24.0), vignetting=Vignetting(natural, corner))
    light = Renderer(WHITE, lens, 48, 72).light(HeldPose(10.0, 20.0))[..., 1]
    for row, column in [(36, 24), (0, 0), (71, 0), (10, 40), (60, 3)]:
        x_mm, y_mm = (column + 0.5 - 24) * 0.5, (row + 0.5 - 36) * 0.5
        square = x_mm**2 + y_mm**2
        share = 1 - (1 - corner) * square / (12**2 + 18**2)
        if natural:
            share *= (24**2 / (24**2 + square)) ** 2  # cos^4 for a focal length of 24 mm
        assert light[row, column] == pytest.approx(share, rel=1e-4)
    assert light[0, 0] == pytest.approx(light[71, 47], rel=1e-6)
