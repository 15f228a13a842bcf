"""The parallax of points, given how near they are and where the entrance pupil is.

Things are on spheres about the point about which the head turns. With the pupil at q from it (in the camera's axes:
right, 0, ahead), a thing P is seen from frame i along R_i' P - q.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from controller.inspection.adjustment import Adjusted
from controller.inspection.lens_model import TERMS, Array, project, see
from controller.inspection.links import Flags, Misses, Points


class NoPupil(StrEnum):
    """Why no offset of the entrance pupil is stated."""

    NOTHING_NEAR = "nothing near shows a parallax: all is far away, or the lens already turns about its pupil"
    UNLIKE = "points are off the turn of the far ones, but not as one pupil beside the axis shows things at one distance"
    NO_GROUND = "too few points below the horizon agree with a level ground"
    TOO_WEAK = "near things show too little of a parallax to tell"


@dataclass(frozen=True, slots=True, eq=False)
class OffsetFit:
    """The pupil's offset (2,), right and ahead, over a length, its covariance, and how many points say so."""

    offset: Array
    covariance: Array
    points: int

    def near(self, other: "OffsetFit", deviations: float) -> bool:
        """Whether both numbers are within so many standard deviations of another fit's."""
        apart = np.abs(self.offset - other.offset)
        return bool((apart < deviations * np.sqrt(self.covariance.diagonal())).all())


@dataclass(frozen=True, slots=True, eq=False)
class Parallax:
    """Points with their nearness, one over the distance in units of the known length, at some offset (2,): right, ahead.

    `off` (n, 2) are residuals in standard deviations, `by_offset` (n, 2, 2) their derivatives, `moved_px` (n, 2) by how
    much the offset moves the second places.
    """

    off: Array
    by_offset: Array
    moved_px: Array


def parallax_of(points: Points, adjusted: Adjusted, missed: Misses, nearness: Array, offset: Array) -> Parallax:
    """The exact parallax: things are on spheres about the axis. A small offset moves them by it over the distance."""
    rays = see(adjusted.lens, points.first_px).rays
    between = adjusted.rotations[points.second].transpose(0, 2, 1) @ adjusted.rotations[points.first]
    pupil = nearness[:, None] * np.array([offset[0], 0.0, offset[1]])
    outward = (between @ (pupil + reach_of(pupil, rays) * rays)[:, :, None])[:, :, 0] - pupil
    hit = project(adjusted.lens, outward)
    by_pupil = between - np.eye(3) - (between @ rays[:, :, None]) * rays[:, None, :]
    by_offset = (hit.by_ray @ by_pupil)[:, :, [0, 2]] * nearness[:, None, None]
    whiten = missed.whiten / adjusted.noise
    off = (whiten @ (hit.pixels - points.second_px)[:, :, None])[:, :, 0]
    by_offset = whiten @ by_offset
    lost = ~np.isfinite(off).all(axis=1) | ~np.isfinite(by_offset).all(axis=(1, 2))
    off[lost], by_offset[lost] = 0.0, 0.0
    plain = project(adjusted.lens, (between @ rays[:, :, None])[:, :, 0]).pixels
    return Parallax(off, by_offset, np.nan_to_num(hit.pixels - plain))


def reach_of(pupil: Array, rays: Array) -> Array:
    """How far along rays (n, 3) from pupils (n, 3) things at a distance of 1 from the axis are, (n, 1)."""
    along = np.sum(pupil * rays, axis=1, keepdims=True)
    return np.asarray(np.sqrt(np.maximum(along**2 + 1 - np.sum(pupil**2, axis=1, keepdims=True), 0)) - along)


def normal_of_offset(
    there: Parallax, missed: Misses, points: Points, adjusted: Adjusted, weights: Array
) -> tuple[Array, Array, Array]:
    """Normal matrix (2, 2) and gradient (2,) of the offset, and its cross terms with turns and lens (2, 3 n + terms)."""
    weighted = there.by_offset * weights[:, None, None]
    normal = np.einsum("nia,nib->ab", weighted, there.by_offset)
    gradient = np.einsum("nia,ni->a", weighted, there.off)
    count = len(adjusted.rotations)
    turns = np.zeros((count, 3, 2))
    for frame, by_turn in ((points.first, missed.by_first), (points.second, missed.by_second)):
        np.add.at(turns, frame, np.einsum("nia,nib->nab", by_turn, weighted) / adjusted.noise)
    terms = missed.by_terms[:, :, [TERMS.index(term) for term in adjusted.terms]]
    lens = np.einsum("nia,nib->ab", weighted, terms) / adjusted.noise
    return normal, gradient, np.concatenate([turns.reshape(-1, 2).T, lens], axis=1)


def misses_of(missed: Misses, kept: Flags) -> Misses:
    """Those of some points (n,)."""
    return Misses(
        missed.residuals[kept],
        missed.by_first[kept],
        missed.by_second[kept],
        missed.by_terms[kept],
        missed.seen[kept],
        missed.whiten[kept],
    )
