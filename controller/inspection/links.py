"""The matching points of a set, and how far each is from where the poses and the lens put it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.inspection.lens_model import TERMS, Array, BrownLens, project, see
from controller.inspection.points import Matches

Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
LEAST_SIGMA_PX = 0.01  # no match is surer; 0 would be an infinite weight
AT_ONCE = 16_384  # points whose derivatives are in memory together
FARTHEST_PX = 1e6  # a point that is carried further than this out of the picture counts as not seen


@dataclass(frozen=True, slots=True, eq=False)
class Link:
    """Points found in two frames: their numbers, pixels (n, 2) in each, and each coordinate's standard uncertainty.

    `sigma_px` is one number, or one for each point (n,). A match with an uncertainty u of the second place against the
    first has sigma_px = u / sqrt(2), as both places share it.
    """

    first: int
    second: int
    first_px: Array
    second_px: Array
    sigma_px: float | Array


def link_of(first: int, second: int, matches: Matches) -> Link:
    """The link of two frames with these matches, also those that do not agree."""
    return Link(first, second, matches.first_px, matches.second_px, matches.u_px / math.sqrt(2))


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """All matching points in one row of arrays, link after link; `bounds` (links + 1,) is where each link begins."""

    first: Whole
    second: Whole
    first_px: Array
    second_px: Array
    sigma_px: Array
    bounds: Whole

    @property
    def link(self) -> Whole:
        """The link of each point."""
        return np.repeat(np.arange(len(self.bounds) - 1), np.diff(self.bounds))

    def only(self, kept: Flags) -> "Points":
        """The points that are flagged (n,), with as many links as before."""
        counts = np.bincount(self.link[kept], minlength=len(self.bounds) - 1)
        return self._rows(kept, np.concatenate([[0], np.cumsum(counts)]))

    def _rows(self, rows: Flags | slice, bounds: Whole) -> "Points":
        places = self.first_px[rows], self.second_px[rows]
        return Points(self.first[rows], self.second[rows], *places, self.sigma_px[rows], bounds)

    def thinned(self, most: int) -> "Points":
        """About `most` points of each link, evenly chosen."""
        counts = np.diff(self.bounds)[self.link]
        place = np.arange(len(self.first)) - self.bounds[self.link]
        return self.only((place * most) // counts != ((place - 1) * most) // counts)

    def parts(self) -> Iterator["Points"]:
        """The same points in parts of whole links, of about AT_ONCE points."""
        begin = 0
        links = len(self.bounds) - 1
        while begin < links:
            end = int(np.searchsorted(self.bounds, self.bounds[begin] + AT_ONCE, side="right")) - 1
            end = min(max(end, begin + 1), links)
            rows = slice(self.bounds[begin], self.bounds[end])
            yield self._rows(rows, self.bounds[begin : end + 1] - self.bounds[begin])
            begin = end


@dataclass(frozen=True, slots=True, eq=False)
class Misses:
    """Whitened residuals (n, 2) and their derivatives by the turn of both frames (n, 2, 3) and by TERMS (n, 2, 6).

    NaN became 0 in a point that the lens cannot see; `seen` (n,) tells. `whiten` (n, 2, 2) turned pixels into these.
    """

    residuals: Array
    by_first: Array
    by_second: Array
    by_terms: Array
    seen: Flags
    whiten: Array


def points_of(links: Sequence[Link]) -> Points:
    """Collect the points of all links. A link without points keeps its number."""
    counts = np.array([len(link.first_px) for link in links], dtype=np.int64)
    sigmas = [np.broadcast_to(np.asarray(link.sigma_px, dtype=float), len(link.first_px)) for link in links]
    return Points(
        np.repeat([link.first for link in links], counts).astype(np.int64),
        np.repeat([link.second for link in links], counts).astype(np.int64),
        np.concatenate([np.zeros((0, 2)), *(link.first_px for link in links)]),
        np.concatenate([np.zeros((0, 2)), *(link.second_px for link in links)]),
        np.maximum(np.concatenate([np.zeros(0), *sigmas]), LEAST_SIGMA_PX),
        np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
    )


def misses(points: Points, lens: BrownLens, rotations: Array, second: BrownLens | None = None) -> Misses:
    """Carry each point of the first frame into the second, and compare.

    With a lens of its own for the second frames, the derivatives by TERMS are those of that lens alone.

    Both points are uncertain. The first one's uncertainty is carried along, so that residuals have a standard deviation
    of 1 all over the picture (R. Hartley and A. Zisserman, Multiple View Geometry, 2nd ed. 2004, section 4.2, transfer
    error with propagated covariance).
    """
    between = rotations[points.second].transpose(0, 2, 1) @ rotations[points.first]
    seen = see(lens, points.first_px)
    there = (between @ seen.rays[:, :, None])[:, :, 0]
    hit = project(second or lens, there)
    carried = hit.by_ray @ between
    everything = np.empty((len(there), 2, 7 + len(TERMS)))
    everything[:, :, 0] = hit.pixels - points.second_px
    everything[:, :, 1:4] = -carried @ _crossing(seen.rays)
    everything[:, :, 4:7] = hit.by_ray @ _crossing(there)
    everything[:, :, 7:] = hit.by_terms + (carried @ seen.by_terms if second is None else 0.0)
    grown = carried @ seen.by_pixel
    spread = np.eye(2) + grown @ grown.transpose(0, 2, 1)
    with np.errstate(invalid="ignore"):
        near = (np.abs(grown) < FARTHEST_PX).all(axis=2) & (np.abs(everything[:, :, 0]) < FARTHEST_PX)
        good = np.asarray((near & np.isfinite(everything).all(axis=2)).all(axis=1))
    everything[~good], spread[~good] = 0.0, np.eye(2)
    whiten = _whitening(spread) / points.sigma_px[:, None, None]
    white = whiten @ everything
    return Misses(white[:, :, 0], white[:, :, 1:4], white[:, :, 4:7], white[:, :, 7:], good, whiten)


def lengths(points: Points, lens: BrownLens, rotations: Array) -> Array:
    """The lengths (n,) of the whitened residuals; infinite if the lens cannot see the point."""
    found = [np.zeros(0)]
    for part in points.parts():
        missed = misses(part, lens, rotations)
        found.append(np.where(missed.seen, np.hypot(missed.residuals[:, 0], missed.residuals[:, 1]), np.inf))
    return np.concatenate(found)


def _whitening(spread: Array) -> Array:
    """The inverses of the Cholesky factors of (n, 2, 2), which are all at least the identity."""
    factor = np.zeros_like(spread)
    above = np.sqrt(spread[:, 0, 0])
    aside = spread[:, 1, 0] / above
    below = np.sqrt(np.maximum(spread[:, 1, 1] - aside**2, 1.0))
    factor[:, 0, 0], factor[:, 1, 1] = 1 / above, 1 / below
    factor[:, 1, 0] = -aside / (above * below)
    return factor


def _crossing(vectors: Array) -> Array:
    """The matrices (n, 3, 3) of the cross product with each vector."""
    matrices = np.zeros((len(vectors), 3, 3))
    for row, column, part in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        matrices[:, row, column], matrices[:, column, row] = -vectors[:, part], vectors[:, part]
    return matrices
