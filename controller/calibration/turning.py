"""By how much a camera was turned between two pictures, from points that both show. Pure geometry; any projection.

A camera's axes here are x to the picture's right, y down, z along the lens: right-handed, so that turning right is a
positive rotation about y and tilting up one about x. Pictures are upright, pixels count from the middle of the top
left one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.optics.outline import Array
from controller.optics.projection import LAWS, Projection

TRIALS = 150  # pairs of matches tried; with half of them wrong, one in four is right
FIRST_REACH = 0.03  # how well matches must fit at first, when the focal length may be off, as a share of their extent
KEPT_SIGMA = 3.5
ROUNDS = 8
FEWEST = 15  # matches that agree; wrong ones agree by chance in a few at most


class NoOverlap(Exception):
    """Too few points agree on one turn; `pair` counts from 0 where there are several."""

    def __init__(self, pair: int = 0) -> None:
        super().__init__(pair)
        self.pair = pair


@dataclass(frozen=True, slots=True)
class Camera:
    """What a picture's pixels mean. The lens's axis meets the picture at `middle_px` (column, row).

    `bend` is how the lens distorts: what its projection puts at r(1 + bend r^2) is seen at r, in focal lengths (the first
    radial term: D. Brown, Photogrammetric Engineering 37:855, 1971).
    """

    focal_px: float
    middle_px: tuple[float, float]
    projection: Projection = Projection.RECTILINEAR
    bend: float = 0.0

    def scaled(self, share: float) -> "Camera":
        """The same camera with a focal length `share` times as long."""
        return replace(self, focal_px=self.focal_px * share)

    def bent(self, more: float) -> "Camera":
        """The same camera with a lens that distorts by `more`."""
        return replace(self, bend=self.bend + more)

    def rays(self, points_px: Array) -> Array:
        """Unit vectors (n, 3) of pixels (n, 2). Raises ValueError where the projection never reaches that far."""
        seen = (points_px - self.middle_px) / self.focal_px
        x, y = (seen * (1 + self.bend * np.sum(seen**2, axis=1, keepdims=True))).T
        radius = np.hypot(x, y)
        if radius.size and radius.max() > LAWS[self.projection].largest_radius:
            raise ValueError("the picture is larger than this lens can show")
        angle = np.fromiter((LAWS[self.projection].angle(float(r)) for r in radius), float, len(radius))
        scale = np.where(radius > 1e-9, np.sin(angle) / np.maximum(radius, 1e-9), 1.0)
        return np.stack([scale * x, scale * y, np.cos(angle)], axis=-1)

    def pixels(self, rays: Array) -> Array:
        """Where a lens that does not distort shows unit vectors (n, 3), in pixels (n, 2); NaN where it does not."""
        across = np.hypot(rays[:, 0], rays[:, 1])
        angle = np.arctan2(across, rays[:, 2])
        beyond = np.pi / 2 if self.projection in {Projection.RECTILINEAR, Projection.ORTHOGRAPHIC} else np.pi
        law = LAWS[self.projection]
        radius = np.array([law.radius(float(a)) if a < beyond - 1e-6 else np.nan for a in angle])
        scale = np.where(across > 1e-9, radius / np.maximum(across, 1e-9), 1.0)
        return np.asarray(self.focal_px * scale[:, np.newaxis] * rays[:, :2] + np.array(self.middle_px))


@dataclass(frozen=True, slots=True, eq=False)
class Turn:
    """A rotation that takes rays of the second picture into the first one's axes: turning right is positive about y.

    `vector_rad` (3,) is axis times angle, `covariance` (3, 3) that of its error in radians squared, `kept` (n,) which
    matches agreed, `rms_px` how far the others of one picture lie from where the other says, at the middle's scale.
    """

    vector_rad: Array
    covariance: Array
    kept: NDArray[np.bool_]
    rms_px: float


def turn_between(first_px: Array, second_px: Array, camera: Camera, right: NDArray[np.bool_] | None = None) -> Turn:
    """The turn between two pictures from matched points, each (n, 2), some of which may be wrong.

    `right` (n,) says which matches are known to be right, mostly, which saves looking for them.

    The best rotation between two sets of rays is Wahba's problem (G. Wahba, SIAM Review 7:409, 1965); which matches are
    right is found by trying pairs of them (M. Fischler and R. Bolles, Comm. ACM 24:381, 1981). The covariance is taken
    from how the matches really scatter (H. White, Econometrica 48:817, 1980). Raises NoOverlap, ValueError.
    """
    if len(first_px) < FEWEST:
        raise NoOverlap
    first, second = camera.rays(first_px), camera.rays(second_px)
    reach = FIRST_REACH * _extent(first)
    if right is None:
        rotation = _consensus(first, second, reach)
    else:
        rotation = Rotation.align_vectors(first[right], second[right])[0]
    misfit = _misfit(first, second, rotation)
    kept = misfit < reach
    for _ in range(ROUNDS):
        if np.count_nonzero(kept) < FEWEST:
            raise NoOverlap
        rotation = Rotation.align_vectors(first[kept], second[kept])[0]
        misfit = _misfit(first, second, rotation)
        # The median of a length in two directions, each with standard deviation s, is 1.177 s.
        typical = float(np.median(misfit[misfit < reach])) / 1.177
        before, kept = kept, misfit < min(reach, max(KEPT_SIGMA * typical, 1e-6))
        if np.array_equal(before, kept):
            break
    if np.count_nonzero(kept) < FEWEST:
        raise NoOverlap
    return _turn(first, second, rotation, kept, camera)


def turn_by(first_px: Array, second_px: Array, camera: Camera, kept: NDArray[np.bool_]) -> Turn:
    """The turn by just those matches that are `kept` (n,). Raises ValueError."""
    first, second = camera.rays(first_px), camera.rays(second_px)
    return _turn(first, second, Rotation.align_vectors(first[kept], second[kept])[0], kept, camera)


def _turn(first: Array, second: Array, rotation: Rotation, kept: NDArray[np.bool_], camera: Camera) -> Turn:
    misfit = _misfit(first[kept], second[kept], rotation)
    rms_px = float(np.sqrt(np.mean(misfit**2))) * camera.focal_px
    return Turn(rotation.as_rotvec(), _covariance(first[kept], second[kept], rotation), kept, rms_px)


def _misfit(first: Array, second: Array, rotation: Rotation) -> Array:
    return np.asarray(np.linalg.norm(first - rotation.apply(second), axis=1))


def _extent(rays: Array) -> float:
    """The largest distance between rays, about, in radians."""
    return 2 * float(np.linalg.norm(rays - rays.mean(axis=0), axis=1).max())


def _consensus(first: Array, second: Array, reach: float) -> Rotation:
    """The rotation on which most matches agree, of those that two matches give."""
    random = np.random.default_rng(len(first))
    chosen = random.integers(len(first), size=(TRIALS, 2))
    turned = np.einsum("tij,tkj->tik", _frames(first, chosen), _frames(second, chosen))
    off = np.linalg.norm(first[np.newaxis] - np.einsum("tij,nj->tni", turned, second), axis=2)
    # Whoever agrees better counts more, so that ties go to the better fit.
    score = np.clip(1 - (off / reach) ** 2, 0, None).sum(axis=1)
    return Rotation.from_matrix(turned[int(np.argmax(score))])


def _frames(rays: Array, chosen: NDArray[np.int64]) -> Array:
    """Orthonormal axes (trials, 3, 3), as columns, spanned by two rays each."""
    one, other = rays[chosen[:, 0]], rays[chosen[:, 1]]
    middle, across = one + other, one - other
    normal = np.cross(middle, across)
    parts = [part / np.maximum(np.linalg.norm(part, axis=1, keepdims=True), 1e-12) for part in (middle, across, normal)]
    degenerate = np.linalg.norm(across, axis=1) < 1e-6
    frames = np.stack(parts, axis=-1)
    frames[degenerate] = np.eye(3)
    return frames


def _covariance(first: Array, second: Array, rotation: Rotation) -> Array:
    """Of a small rotation w in first = (1 + w x) R second: bread and meat of the least squares."""
    seen = rotation.apply(second)
    pull = np.cross(seen, first)  # d(misfit)/dw is -[seen] x, so the normal equations sum these
    curvature = np.linalg.inv(len(seen) * np.eye(3) - seen.T @ seen)
    return np.asarray(curvature @ (pull.T @ pull) @ curvature * len(seen) / max(len(seen) - 3, 1))


def main_direction(turns: Sequence[Turn]) -> Array:
    """The unit vector about which most of the turning happened, in the camera's axes, shape (3,)."""
    total = np.sum([turn.vector_rad for turn in turns], axis=0)
    return np.asarray(total / np.linalg.norm(total))
