"""Pointing and projection together, compared with the zenithal projections of astropy.

M. Calabretta and E. Greisen, "Representations of celestial coordinates in FITS", A&A 395:1077-1122, 2002, section 5.1:
TAN, ARC, ZEA, STG and SIN are rectilinear, equidistant, equisolid, stereographic, orthographic.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from astropy.wcs import WCS

from controller.optics.projection import Projection, off_axis_angle, picture_radius
from controller.planning.directions import Array, camera_axes

CODES = {
    Projection.RECTILINEAR: "TAN",
    Projection.EQUIDISTANT: "ARC",
    Projection.EQUISOLID: "ZEA",
    Projection.STEREOGRAPHIC: "STG",
    Projection.ORTHOGRAPHIC: "SIN",
}
# Largest angle off axis of the random directions, degrees: TAN shows less than a half sphere, SIN at most one.
WIDEST_DEG = {Projection.RECTILINEAR: 80.0, Projection.ORTHOGRAPHIC: 89.0}
POINTINGS = [(0.0, 0.0), (40.0, 30.0), (200.0, -75.0), (359.0, 89.0), (123.0, -12.0)]


def zenithal(code: str, yaw_deg: float, pitch_deg: float, to_the_right: int) -> Any:
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = [f"RA---{code}", f"DEC--{code}"]
    wcs.wcs.crval = [yaw_deg, pitch_deg]
    wcs.wcs.crpix = [1, 1]
    wcs.wcs.cdelt = [to_the_right, 1]
    return wcs


def random_directions(yaw_deg: float, pitch_deg: float, widest_deg: float) -> Array:
    """2000 directions (n, 3) within `widest_deg` of a lens axis, by rejection from the whole sphere."""
    rng = np.random.default_rng(20)
    cloud = rng.normal(size=(200_000, 3))
    cloud /= np.linalg.norm(cloud, axis=1, keepdims=True)
    yaw, pitch = np.radians(yaw_deg), np.radians(pitch_deg)
    axis = np.array([np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)])
    cosines = cloud @ axis
    near: Array = cloud[(cosines > np.cos(np.radians(widest_deg))) & (cosines < 1 - 1e-12)][:2000]
    assert len(near) == 2000
    return near


def our_picture(projection: Projection, yaw_deg: float, pitch_deg: float, directions: Array) -> Array:
    """The positions of `directions` in a camera's picture, x to the right and y up, in focal lengths."""
    axes = camera_axes(np.radians(yaw_deg), np.radians(pitch_deg))
    right, up = directions @ axes.right, directions @ axes.up
    theta = np.arctan2(np.hypot(right, up), directions @ axes.forward)
    radius = np.array([picture_radius(projection, 1.0, float(angle)) for angle in theta])
    return np.stack([right, up], axis=1) * (radius / np.hypot(right, up))[:, None]


@pytest.mark.parametrize("projection", CODES)
@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), POINTINGS)
def test_picture_agrees_with_astropy(projection: Projection, yaw_deg: float, pitch_deg: float) -> None:
    directions = random_directions(yaw_deg, pitch_deg, WIDEST_DEG.get(projection, 150.0))
    ours = our_picture(projection, yaw_deg, pitch_deg, directions)
    yaws = np.degrees(np.arctan2(directions[:, 1], directions[:, 0]))
    pitches = np.degrees(np.arcsin(np.clip(directions[:, 2], -1, 1)))
    scale = np.maximum(1, np.abs(ours))
    # Yaw grows to the right here: either the x scale is positive ...
    clockwise = zenithal(CODES[projection], yaw_deg, pitch_deg, +1)
    theirs = np.radians(clockwise.wcs_world2pix(np.stack([yaws, pitches], axis=1), 0))
    assert np.max(np.abs(theirs - ours) / scale) < 1e-6
    # ... or yaw is mirrored and grows to the left, as right ascension does, with x pointing the other way.
    mirrored = zenithal(CODES[projection], -yaw_deg, pitch_deg, -1)
    theirs = np.radians(mirrored.wcs_world2pix(np.stack([-yaws, pitches], axis=1), 0))
    assert np.max(np.abs(theirs - ours) / scale) < 1e-6


def test_worked_example() -> None:
    # astropy TAN, camera at (40, 30), direction (60, 45): x = 0.26032939 to the right, y = 0.30155259 up (in f)
    yaw, pitch = np.radians(60), np.radians(45)
    direction = np.array([[np.cos(pitch) * np.cos(yaw), np.cos(pitch) * np.sin(yaw), np.sin(pitch)]])
    assert our_picture(Projection.RECTILINEAR, 40, 30, direction)[0] == pytest.approx([0.26032939, 0.30155259], abs=5e-9)


@pytest.mark.parametrize("projection", CODES)
def test_angle_agrees_with_astropys_inverse(projection: Projection) -> None:
    wcs = zenithal(CODES[projection], 0, 0, +1)
    for radius in (0.01, 0.3, 0.7, 0.99):
        yaw_deg, pitch_deg = wcs.wcs_pix2world([[np.degrees(radius), 0.0]], 0)[0]
        assert pitch_deg == pytest.approx(0, abs=1e-9)
        assert np.degrees(off_axis_angle(projection, 1.0, radius)) == pytest.approx(yaw_deg, abs=1e-9)
