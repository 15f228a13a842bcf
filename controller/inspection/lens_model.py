"""Pixels and rays of a real lens: one of the five projections with radial distortion and a principal point.

The camera's axes are x to the right, y down and z along the lens. A pixel is (column, row); whole numbers are the centres
of pixels. The distorted radius is f rho (1 + k1 rho^2 + k2 rho^4 + k3 rho^6), with rho the radius of the undistorted
projection for a focal length of 1 (D. C. Brown, "Close-range camera calibration",
Photogrammetric Engineering 37(8), 1971).
Pixels and rays that the lens never reaches give NaN.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.optics.projection import LAWS, Projection

Array = NDArray[np.float64]
TERMS = ("focal_px", "k1", "centre_x_px", "centre_y_px", "k2", "k3")  # in the order of the columns of Jacobians
ON_AXIS = 1e-9  # a ray this near to the axis, in radians, has no direction of its own in the picture
ROUNDS, CLOSE = 50, 1e-13  # of Newton's method for the undistorted radius


@dataclass(frozen=True, slots=True)
class Curve:
    """A projection for whole arrays: radius and slope at an angle in radians, and the angle at a radius."""

    radius: Callable[[Array], Array]
    slope: Callable[[Array], Array]
    angle: Callable[[Array], Array]
    widest_rad: float


CURVES: dict[Projection, Curve] = {
    Projection.RECTILINEAR: Curve(np.tan, lambda angle: 1 / np.cos(angle) ** 2, np.arctan, np.pi / 2),
    Projection.EQUIDISTANT: Curve(lambda angle: angle, np.ones_like, lambda radius: radius, np.pi),
    Projection.EQUISOLID: Curve(
        lambda angle: 2 * np.sin(angle / 2),
        lambda angle: np.cos(angle / 2),
        lambda radius: 2 * np.arcsin(radius / 2),
        np.pi,
    ),
    Projection.STEREOGRAPHIC: Curve(
        lambda angle: 2 * np.tan(angle / 2),
        lambda angle: 1 / np.cos(angle / 2) ** 2,
        lambda radius: 2 * np.arctan(radius / 2),
        np.pi,
    ),
    Projection.ORTHOGRAPHIC: Curve(np.sin, np.cos, np.arcsin, np.pi / 2),
}


@dataclass(frozen=True, slots=True)
class BrownLens:
    """A lens: its projection, focal length and principal point in pixels, and Brown's three radial terms."""

    projection: Projection
    focal_px: float
    centre_x_px: float
    centre_y_px: float
    k1: float = 0.0
    k2: float = 0.0
    k3: float = 0.0

    def moved(self, terms: tuple[str, ...], by: Array) -> "BrownLens":
        """The lens with a number added to each of these terms."""
        return replace(self, **{name: getattr(self, name) + float(step) for name, step in zip(terms, by, strict=True)})


@dataclass(frozen=True, slots=True, eq=False)
class Projected:
    """Where rays meet the picture: `pixels` (n, 2), and the derivatives by ray (n, 2, 3) and by TERMS (n, 2, 6)."""

    pixels: Array
    by_ray: Array
    by_terms: Array


@dataclass(frozen=True, slots=True, eq=False)
class SeenRays:
    """The rays of pixels: `rays` (n, 3) of length 1, and the derivatives by pixel (n, 3, 2) and by TERMS (n, 3, 6)."""

    rays: Array
    by_pixel: Array
    by_terms: Array


def project(lens: BrownLens, rays: Array) -> Projected:
    """Project rays (n, 3) of any length."""
    curve = CURVES[lens.projection]
    length = np.linalg.norm(rays, axis=1)
    across = np.hypot(rays[:, 0], rays[:, 1])
    angle = np.arctan2(across, rays[:, 2])
    angle = np.where(angle < curve.widest_rad, angle, np.nan)
    near = across < ON_AXIS * length
    outward = rays[:, :2] / np.where(near, 1.0, across)[:, None]
    outward[near] = (1.0, 0.0)
    rho = curve.radius(angle)
    stretch = _stretch(lens, rho)
    # The scale across the radius; on the axis it has the limit 1 / length, as all five laws have slope 1 there.
    aside = np.where(near, 1 / length, rho * stretch / np.where(near, 1.0, across))
    along = _bent_slope(lens, rho) * curve.slope(angle)
    by_angle = np.empty_like(rays)
    by_angle[:, :2] = outward * (rays[:, 2] / length**2)[:, None]
    by_angle[:, 2] = -across / length**2
    sideways = np.stack([-outward[:, 1], outward[:, 0]], axis=1)
    by_ray = outward[:, :, None] * (along[:, None] * by_angle)[:, None, :]
    by_ray[:, :, :2] += aside[:, None, None] * sideways[:, :, None] * sideways[:, None, :]
    radial = np.where(near, 0.0, rho)
    by_terms = np.zeros((len(rays), 2, len(TERMS)))
    by_terms[:, :, 0] = outward * (radial * stretch)[:, None]
    for column, power in ((1, 3), (4, 5), (5, 7)):
        by_terms[:, :, column] = outward * (lens.focal_px * radial**power)[:, None]
    by_terms[:, 0, 2] = by_terms[:, 1, 3] = 1.0
    pixels = lens.focal_px * by_terms[:, :, 0] + (lens.centre_x_px, lens.centre_y_px)
    pixels[np.isnan(angle)] = np.nan
    return Projected(pixels, lens.focal_px * by_ray, by_terms)


def see(lens: BrownLens, pixels: Array) -> SeenRays:
    """Find the rays of pixels (n, 2)."""
    offset = (pixels - (lens.centre_x_px, lens.centre_y_px)) / lens.focal_px
    bent = np.hypot(offset[:, 0], offset[:, 1])
    with np.errstate(invalid="ignore"):
        angle = CURVES[lens.projection].angle(_straight(lens, bent))
    outward = offset / np.where(bent > 0, bent, 1.0)[:, None]
    rays = np.concatenate([outward * np.sin(angle)[:, None], np.cos(angle)[:, None]], axis=1)
    there = project(lens, rays)
    # A ray's length does not move its pixel, so the least-norm inverse keeps rays on the unit sphere.
    transposed = there.by_ray.transpose(0, 2, 1)
    by_pixel = transposed @ _inverse(there.by_ray @ transposed)
    return SeenRays(rays, by_pixel, -by_pixel @ there.by_terms)


def _stretch(lens: BrownLens, rho: Array) -> Array:
    square = rho**2
    return np.asarray(1 + square * (lens.k1 + square * (lens.k2 + square * lens.k3)))


def _bent_slope(lens: BrownLens, rho: Array) -> Array:
    square = rho**2
    return np.asarray(1 + square * (3 * lens.k1 + square * (5 * lens.k2 + square * 7 * lens.k3)))


def _straight(lens: BrownLens, bent: Array) -> Array:
    """The undistorted radius for f = 1; NaN past the radius at which the distortion folds the picture back."""
    largest = LAWS[lens.projection].largest_radius
    rho = bent.copy()
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        for _ in range(ROUNDS):
            step = (rho * _stretch(lens, rho) - bent) / _bent_slope(lens, rho)
            rho = rho - step
            if not np.any(np.abs(step) > CLOSE * (1 + bent)):
                break
        good = (np.abs(rho * _stretch(lens, rho) - bent) <= 1e-9 * (1 + bent)) & (rho >= 0) & (rho <= largest)
    return np.where(good & _unfolded(lens, rho), rho, np.nan)


def _unfolded(lens: BrownLens, rho: Array) -> NDArray[np.bool_]:
    """Whether the distorted radius grows all the way from the centre to these radii."""
    # In 1 / rho^2, so that the polynomial keeps its degree whichever terms are zero.
    roots = np.roots([1.0, 3 * lens.k1, 5 * lens.k2, 7 * lens.k3])
    real = roots.real[(np.abs(roots.imag) < 1e-12) & (roots.real > 0)]
    return np.asarray(rho**2 * max(real, default=0.0) < 1)


def _inverse(matrices: Array) -> Array:
    """The inverses of (n, 2, 2); NaN if there is none."""
    a, b, c, d = (matrices[:, row, column] for row in (0, 1) for column in (0, 1))
    with np.errstate(invalid="ignore", divide="ignore"):
        scale = 1 / (a * d - b * c)
    return np.asarray(np.stack([d, -b, -c, a], axis=1).reshape(-1, 2, 2) * scale[:, None, None])
