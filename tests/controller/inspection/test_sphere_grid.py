"""Grids of the unrolled sphere, against the plate carrée of astropy's WCS."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.wcs import WCS
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.poses import HeadFrame, commanded
from controller.inspection.sphere_grid import SphereGrid, angles_deg, directions_of, whole_sphere, window

WINDOWS = st.builds(
    lambda left, across, low, up, width: window((left, left + across), (low, min(90.0, low + up)), width, 1e6),
    st.floats(-180, 360),
    st.floats(5, 359),
    st.floats(-90, 80),
    st.floats(5, 180),
    st.integers(50, 600),
)
GRIDS = st.one_of(st.integers(20, 300).map(lambda half: whole_sphere(2 * half)), WINDOWS)


@given(GRIDS)
def test_every_pixel_s_direction_has_its_place_in_the_middle_of_the_pixel(grid: SphereGrid) -> None:
    pixels = np.random.default_rng(1).integers(0, grid.rows * grid.columns, 300)
    row, column = np.divmod(pixels, grid.columns)
    places = grid.places(grid.directions(pixels))
    expected = np.stack([column, row], axis=1) + 0.5
    # A window's scale is that of its columns: its last row may end a fraction of a pixel off.
    assert np.allclose(places, expected, atol=1e-4)


@pytest.mark.parametrize("grid", [whole_sphere(720), window((100.0, 220.0), (-20.0, 45.0), 500, 100.0)])
def test_places_are_those_of_the_plate_carree(grid: SphereGrid) -> None:
    """FITS projection CAR by astropy (Calabretta and Greisen 2002). Its first pixel has its middle at 0, ours at 0.5."""
    middle = grid.yaw_from_deg + grid.columns / grid.pixels_per_deg / 2
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---CAR", "DEC--CAR"]
    wcs.wcs.crval = [middle, 0.0]
    wcs.wcs.crpix = [grid.columns / 2 + 0.5, grid.pitch_to_deg * grid.pixels_per_deg + 0.5]
    wcs.wcs.cdelt = [1 / grid.pixels_per_deg, -1 / grid.pixels_per_deg]
    rng = np.random.default_rng(2)
    yaw, pitch = middle + rng.uniform(-59, 59, 200), rng.uniform(-20, 45, 200)
    expected = wcs.wcs_world2pix(np.stack([yaw, pitch], axis=1), 0) + 0.5
    assert np.allclose(grid.places(directions_of(np.radians(yaw), np.radians(pitch))), expected, atol=1e-6)


@given(st.floats(-180, 180), st.floats(-89.9, 89.9))
def test_a_camera_looks_where_its_pose_says(yaw: float, pitch: float) -> None:
    (rotation,) = commanded([HeadFrame(yaw, pitch, 7.0, 0.1, 0.1, 0.1, 0.0, 0.0)])
    assert np.allclose(directions_of(np.radians(yaw), np.radians(pitch)), rotation[:, 2], atol=1e-9)
    back = angles_deg(rotation[None, :, 2])
    assert back[1][0] == pytest.approx(pitch, abs=1e-6)
    assert (back[0][0] - yaw + 180) % 360 == pytest.approx(180, abs=1e-4)


@given(WINDOWS, st.integers(50, 600))
def test_a_window_is_no_larger_than_asked(grid: SphereGrid, width: int) -> None:
    assert grid.columns * grid.rows <= (600 * 600 / 2) * 1.02 + 600
    finer = window((0.0, 90.0), (-10.0, 20.0), width, 1.0)
    assert finer.columns <= min(width, 90)
    assert finer.rows <= 31


def test_a_sphere_is_twice_as_wide_as_high() -> None:
    grid = whole_sphere(2048)
    assert (grid.columns, grid.rows, grid.turn_px) == (2048, 1024, 2048)
    with pytest.raises(ValueError, match="twice as wide"):
        whole_sphere(2047)
