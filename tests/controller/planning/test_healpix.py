"""Coverage checked with two other geometry libraries: HEALPix pixels and the TAN projection.

K. Gorski et al., "HEALPix", ApJ 622:759, 2005 (astropy-healpix) tiles the sphere; M. Calabretta and E. Greisen, A&A
395:1077, 2002, section 5.1 (astropy.wcs) gives the position of a direction in a frame's picture. A pixel is covered if
its centre is inside a core by more than the pixel's radius. Any other pixel is cut in four, down to a limit at which a
pixel is much smaller than any margin in these plans. Only the poses come from the program.
"""

from __future__ import annotations

from typing import Any

import astropy.units as u
import numpy as np
import pytest
from astropy.coordinates import angular_separation
from astropy.wcs import WCS
from astropy_healpix import HEALPix
from numpy.typing import NDArray

from tests.controller.planning.examples import Example, planned

Numbers = NDArray[np.int64]
FIRST_NSIDE, LAST_NSIDE = 32, 8192


def frame_picture(yaw_deg: float, pitch_deg: float) -> Any:
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval = [yaw_deg, pitch_deg]
    wcs.wcs.crpix = [1, 1]
    wcs.wcs.cdelt = [1, 1]  # yaw grows to the right
    return wcs


def pixels_left(example: Example, healpix: HEALPix, pixels: Numbers) -> Numbers:
    """The pixels that no frame's core contains by the pixel's radius."""
    yaw, pitch = (angle.to_value(u.rad) for angle in healpix.healpix_to_lonlat(pixels))
    corner_yaw, corner_pitch = (a.to_value(u.rad) for a in healpix.boundaries_lonlat(pixels, step=1))
    # No point of a pixel is much farther from its centre than its farthest corner; add a tenth for curved sides.
    radius = 1.1 * angular_separation(yaw[:, None], pitch[:, None], corner_yaw, corner_pitch).max(axis=1)
    wide, high = example.field.core_half_width_rad, example.field.core_half_height_rad
    left = np.ones(len(pixels), dtype=bool)
    for frame_yaw, frame_pitch in zip(example.yaw_deg, example.pitch_deg, strict=True):
        away = angular_separation(yaw, pitch, np.radians(frame_yaw), np.radians(frame_pitch))
        near = np.flatnonzero(left & (away < np.radians(75)))
        if len(near) == 0:
            continue
        directions = np.degrees(np.stack([yaw[near], pitch[near]], axis=1))
        x, y = np.radians(frame_picture(frame_yaw, frame_pitch).wcs_world2pix(directions, 0)).T
        # angle above the plane through an edge, from the distance in the picture
        length = np.sqrt(1 + x * x + y * y)
        across = np.arcsin((np.sin(wide) - np.cos(wide) * np.abs(x)) / length)
        up = np.arcsin((np.sin(high) - np.cos(high) * np.abs(y)) / length)
        left[near] = np.minimum(across, up) < radius[near]
    return pixels[left]


def uncovered(example: Example) -> tuple[int, Numbers]:
    """The nside reached and the pixels (nested order) that are left there; none if all is covered."""
    nside = FIRST_NSIDE
    pixels = np.arange(12 * nside * nside, dtype=np.int64)
    while True:
        pixels = pixels_left(example, HEALPix(nside, order="nested"), pixels)
        if len(pixels) == 0 or nside == LAST_NSIDE or len(pixels) > 400_000:
            return nside, pixels
        nside *= 2
        pixels = (4 * pixels[:, None] + np.arange(4)).ravel()


@pytest.mark.long
@pytest.mark.parametrize("focal", [24.0, 50.0])
def test_every_pixel_lies_in_a_core(focal: float) -> None:
    nside, left = uncovered(planned(focal))
    assert len(left) == 0
    # without cutting, pixels would have been left, so the limit did not decide
    assert FIRST_NSIDE < nside < LAST_NSIDE


@pytest.mark.long
@pytest.mark.parametrize("missing", [0, 14])
def test_pixels_are_left_where_a_frame_is_missing(missing: int) -> None:
    example = planned(24.0)
    spoiled = example.without(missing)
    left = np.arange(12 * 16**2, dtype=np.int64)
    for nside in (16, 32, 64):
        healpix = HEALPix(nside, order="nested")
        left = pixels_left(spoiled, healpix, left)
        if nside < 64:
            left = (4 * left[:, None] + np.arange(4)).ravel()
    yaw, pitch = (angle.to_value(u.rad) for angle in healpix.healpix_to_lonlat(left))
    away = angular_separation(yaw, pitch, np.radians(example.yaw_deg[missing]), np.radians(example.pitch_deg[missing]))
    assert away.min() < np.radians(5)
    assert not spoiled.proof().covered
