"""The matching points of a set, and how far each is from where the poses and the lens put it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.inspection.lens_model import TERMS, Array, Lens, project, see

Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """Points found in two frames: their numbers, pixels (n, 2) in each, and each coordinate's standard uncertainty."""

    first: int
    second: int
    first_px: Array
    second_px: Array
    sigma_px: float


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """All matching points in one row of arrays, link after link; `bounds` (links + 1,) is where each link begins."""

    first: Whole
    second: Whole
    first_px: Array
    second_px: Array
    sigma_px: Array
    bounds: Whole


@dataclass(frozen=True, slots=True, eq=False)
class Misses:
    """Whitened residuals (n, 2) and their derivatives by the turn of both frames (n, 2, 3) and by TERMS (n, 2, 6).

    NaN became 0 in a point that the lens cannot see; `seen` (n,) tells.
    """

    residuals: Array
    by_first: Array
    by_second: Array
    by_terms: Array
    seen: NDArray[np.bool_]


def points_of(links: Sequence[Link]) -> Points:
    """Collect the points of all links; links without points are left out of no count."""
    counts = np.array([len(link.first_px) for link in links], dtype=np.int64)
    return Points(
        np.repeat([link.first for link in links], counts).astype(np.int64),
        np.repeat([link.second for link in links], counts).astype(np.int64),
        np.concatenate([np.zeros((0, 2)), *(link.first_px for link in links)]),
        np.concatenate([np.zeros((0, 2)), *(link.second_px for link in links)]),
        np.repeat([link.sigma_px for link in links], counts).astype(float),
        np.concatenate([[0], np.cumsum(counts)]),
    )


def misses(points: Points, lens: Lens, rotations: Array) -> Misses:
    """Carry each point of the first frame into the second, and compare.

    Both points are uncertain. The first one's uncertainty is carried along, so that residuals have a standard deviation
    of 1 all over the picture (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed. 2004, section 4.2, transfer
    error with propagated covariance).
    """
    between = rotations[points.second].transpose(0, 2, 1) @ rotations[points.first]
    seen = see(lens, points.first_px)
    there = (between @ seen.rays[:, :, None])[:, :, 0]
    hit = project(lens, there)
    carried = hit.by_ray @ between
    by_first = -carried @ _crossing(seen.rays)
    by_second = hit.by_ray @ _crossing(there)
    by_terms = hit.by_terms + carried @ seen.by_terms
    grown = carried @ seen.by_pixel
    spread = (np.eye(2) + grown @ grown.transpose(0, 2, 1)) * points.sigma_px[:, None, None] ** 2
    residuals = hit.pixels - points.second_px
    everything = np.concatenate([residuals[:, :, None], by_first, by_second, by_terms], axis=2)
    good = np.isfinite(everything).all(axis=(1, 2)) & np.isfinite(spread).all(axis=(1, 2))
    everything[~good], spread[~good] = 0.0, np.eye(2)
    white = np.linalg.solve(np.linalg.cholesky(spread), everything)
    return Misses(white[:, :, 0], white[:, :, 1:4], white[:, :, 4:7], white[:, :, 7 : 7 + len(TERMS)], good)


def _crossing(vectors: Array) -> Array:
    """The matrices (n, 3, 3) of the cross product with each vector."""
    matrices = np.zeros((len(vectors), 3, 3))
    for row, column, part in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        matrices[:, row, column], matrices[:, column, row] = -vectors[:, part], vectors[:, part]
    return matrices
