"""The terms in which a lens may differ from its kit: their priors, and the effect of each on pairs of pictures.

The terms are the focal length (its logarithm), three radial terms of distortion, and where the axis meets the picture
(right and down, in focal lengths). One more effect is included in the uncertainty but not estimated: a pupil off the
axis shifts all near things the same way, and their distances are unknown. It is a *consider* term (A. Bryson and Y.-C.
Ho, *Applied Optimal Control*, 1975, chapter 12; S. Schmidt, 1966): its slope is known, its size has a prior.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from controller.calibration.turning import PictureGeometry, PictureTurn, weights
from controller.optics.outline import Array

TERMS = 6
STEP = 1e-4  # of each term, for slopes
# Priors. Lenses distort by some per cent at the corner, and sensors are some tenths of a per cent off centre. Common
# practice, no source. These are twice the usual values, since pictures that tell anything tell much more.
CORNER_SHARES = (0.03, 0.03, 0.01)  # of each radial term
ASIDE_SHARE = 0.01  # of the picture's width

Points = tuple[Array, Array]


@dataclass(frozen=True, slots=True, eq=False)
class PupilPlace:
    """Where the pupil may be: off the axis by `u_pupil_mm`, with nothing nearer than `nearest_mm`."""

    u_pupil_mm: float = 0.0
    nearest_mm: float = math.inf

    @property
    def u_shift(self) -> float:
        """The standard uncertainty of the pupil's offset as a share of the distance."""
        return self.u_pupil_mm / self.nearest_mm


def changed(camera: PictureGeometry, change: Array) -> PictureGeometry:
    """The camera with its terms changed by `change` (6,)."""
    return camera.moved(*change[4:]).scaled(math.exp(change[0])).bent(*change[1:4])


def from_prior(camera: PictureGeometry, expected: PictureGeometry) -> tuple[Array, Array]:
    """The prior: the information (6,) of each term, and how far each is below its expected value."""
    bends = [share / expected.corner ** (2 * power) for power, share in enumerate(CORNER_SHARES, 1)]
    sd = np.array([math.inf, *bends, *[_aside(expected)] * 2])
    off = (np.array(expected.middle_px) - camera.middle_px) / expected.focal_px
    return 1 / sd**2, np.array([0.0, *(-bend for bend in camera.bends), *off])


def _aside(camera: PictureGeometry) -> float:
    return ASIDE_SHARE * 2 * camera.middle_px[0] / camera.focal_px


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """What n pairs of pictures tell at one setting of the terms.

    `theta` (n,) are the turns about one axis in degrees, `slopes` (n, 6) the effect of the terms on them, `spread` (n,)
    their standard uncertainties. `shape` (6, 6) and `pull` (6,) are the normal equations of the terms, from the relative
    places of points with the turn removed. `scatter` (6, 6) is the covariance of `pull` from the actual scatter of the
    points, `along` (n, 6) that of turns and pull. `shifted` (n,) and `pulled` (6,) are the effect of a pupil off the axis
    on turns and pull.
    """

    theta: Array
    slopes: Array
    spread: Array
    shape: Array
    pull: Array
    scatter: Array
    along: Array
    shifted: Array
    pulled: Array


def pairs_at(pairs: Sequence[Points], turns: Sequence[PictureTurn], camera: PictureGeometry, about: Array) -> Pairs:
    """What the kept matches tell, for turns about the axis `about` (3,)."""
    firsts = [first[turn.kept] for (first, _), turn in zip(pairs, turns, strict=True)]
    seconds = [second[turn.kept] for (_, second), turn in zip(pairs, turns, strict=True)]
    counts = [len(first) for first in firsts]
    places = np.concatenate(firsts), np.concatenate(seconds)
    matrices = np.repeat(Rotation.from_rotvec([turn.vector_rad for turn in turns]).as_matrix(), counts, axis=0)

    def misfit(of: PictureGeometry) -> tuple[Array, Array, Array]:
        (first, first_rad), (second, second_rad) = of.seen(places[0]), of.seen(places[1])
        turned = np.einsum("nij,nj->ni", matrices, second)
        weight = weights(of, first_rad, second_rad)[:, np.newaxis] * of.focal_px / camera.focal_px  # as pixels would be
        return weight * (first - turned), first, weight * turned

    here, rays, turned = misfit(camera)
    weight, moved = np.linalg.norm(turned, axis=1, keepdims=True), matrices[:, :, 2] - [0.0, 0.0, 1.0]
    columns = [(misfit(changed(camera, STEP * unit))[0] - here) / STEP for unit in np.eye(TERMS)]
    columns.append(weight * (moved - np.sum(moved * rays, axis=1, keepdims=True) * rays))
    bends = np.stack(columns, axis=-1)  # (points, 3, 7)
    variance = max(float(np.sum(here**2)) / (2 * sum(counts) - 3 * len(counts)), 1e-24)
    found = [
        _pair(part, about)
        for part in zip(*(np.split(each, np.cumsum(counts)[:-1]) for each in (here, turned, bends)), strict=True)
    ]
    slopes, normal, pull, scatter, along = (np.array(part) for part in zip(*found, strict=True))
    return Pairs(
        theta=np.degrees([turn.vector_rad @ about for turn in turns]),
        slopes=np.degrees(slopes[:, :TERMS]),
        spread=np.degrees([math.sqrt(about @ turn.covariance @ about) for turn in turns]),
        shape=normal.sum(axis=0)[:TERMS, :TERMS] / variance,
        pull=pull.sum(axis=0)[:TERMS] / variance,
        scatter=scatter.sum(axis=0)[:TERMS, :TERMS] / variance**2,
        along=np.degrees(along[:, :TERMS]) / variance,
        shifted=np.degrees(slopes[:, TERMS]),
        pulled=-normal.sum(axis=0)[:TERMS, TERMS] / variance,
    )


def _pair(part: tuple[Array, Array, Array], about: Array) -> tuple[Array, Array, Array, Array, Array]:
    """One pair: slopes of the turn (6,), normal equations (6, 6) and pull (6,), its scatter, and its covariance with the
    turn (6,).

    A small turn w changes the misfit by turned x w. It absorbs as much of each column as it can.
    """
    here, turned, bends = part
    cross = _crosses(turned)
    inverse = np.linalg.inv(np.sum(turned**2) * np.eye(3) - turned.T @ turned)
    taken = -inverse @ np.einsum("nij,nik->jk", cross, bends)
    left = bends + np.einsum("nij,jk->nik", cross, taken)
    pulls = -np.einsum("nik,ni->nk", left, here)
    by_point = -np.einsum("nij,ni->nj", cross, here) @ inverse @ about
    return about @ taken, np.einsum("nik,nil->kl", left, left), pulls.sum(axis=0), pulls.T @ pulls, by_point @ pulls


def _crosses(vectors: Array) -> Array:
    """Matrices (n, 3, 3) that take w to vector x w."""
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    return np.stack([np.stack([zero, -z, y], -1), np.stack([z, zero, -x], -1), np.stack([-y, x, zero], -1)], axis=1)
