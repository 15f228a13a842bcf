"""The turn of a camera between two pictures, from points that both show. Pure geometry; any projection.

A camera's axes here are x to the picture's right, y down, z along the lens: right-handed, so that turning right is a
positive rotation about y and tilting up one about x. Pictures are upright; pixels count from the middle of the top left
one.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.optics.outline import Array
from controller.optics.projection import LAWS, Projection

TRIALS = 150  # pairs of matches tried; if half of all matches are wrong, one pair in four is right
FIRST_REACH = 0.03  # first tolerance of a match, a share of the points' extent, as the focal length may still be wrong
KEPT_SIGMA = 3.5
ROUNDS = 8
STRETCH = 1e-6  # of a radius, for slopes
UNBENDING = 30  # rounds; each leaves a third of the error or less if the corner is off by a tenth
FEWEST = 15  # matches that agree; wrong ones agree by chance in a few at most


class NoOverlap(Exception):
    """Too few points agree on one turn; `pair` counts from 0 if there are several."""

    def __init__(self, pair: int = 0) -> None:
        super().__init__(pair)
        self.pair = pair


# The same as `optics.projection.LAWS`, for many points at once; a test compares the two.
ANGLES: dict[Projection, Callable[[Array], Array]] = {
    Projection.RECTILINEAR: np.arctan,
    Projection.EQUIDISTANT: lambda radius: radius,
    Projection.EQUISOLID: lambda radius: np.asarray(2 * np.arcsin(radius / 2)),
    Projection.STEREOGRAPHIC: lambda radius: np.asarray(2 * np.arctan(radius / 2)),
    Projection.ORTHOGRAPHIC: np.arcsin,
}


@dataclass(frozen=True, slots=True)
class PictureGeometry:
    """The geometry of a picture's pixels. The lens's axis meets the picture at `middle_px` (column, row).

    `bends` are the distortion: what the picture shows at r, the projection alone would put at r(1 + b0 r^2 + b1 r^4 +
    b2 r^6), in focal lengths (the first radial terms: D. Brown, Photogrammetric Engineering 37:855, 1971).
    """

    focal_px: float
    middle_px: tuple[float, float]
    projection: Projection = Projection.RECTILINEAR
    bends: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @property
    def corner(self) -> float:
        """The distance of the picture's corner from its middle, in focal lengths."""
        return math.hypot(*self.middle_px) / self.focal_px

    def scaled(self, share: float) -> "PictureGeometry":
        """The same camera with a focal length `share` times as long."""
        return replace(self, focal_px=self.focal_px * share)

    @property
    def corner_share(self) -> float:
        """How far distortion pulls the picture's corner inward, as a share of its distance from the middle (pincushion:
        negative).
        """
        square = self.corner**2
        return sum(bend * square ** (power + 1) for power, bend in enumerate(self.bends))

    def bent(self, first: float, second: float = 0.0, third: float = 0.0) -> "PictureGeometry":
        """The same camera with these terms added to its distortion."""
        was = self.bends
        return replace(self, bends=(was[0] + first, was[1] + second, was[2] + third))

    def moved(self, right: float, down: float) -> "PictureGeometry":
        """The same camera with its axis elsewhere in the picture, by shares of the focal length."""
        column, row = self.middle_px
        return replace(self, middle_px=(column + right * self.focal_px, row + down * self.focal_px))

    def rays(self, points_px: Array) -> Array:
        """Unit vectors (n, 3) of pixels (n, 2). Raises ValueError beyond the projection's reach."""
        return self.seen(points_px)[0]

    def seen(self, points_px: Array) -> tuple[Array, Array]:
        """Unit vectors (n, 3) of pixels (n, 2), and the size of a pixel there, in radians (n,): the root mean square of
        its two sides.

        Raises ValueError beyond the projection's reach.
        """
        place = (points_px - self.middle_px) / self.focal_px
        square = np.einsum("ni,ni->n", place, place)
        radius = np.maximum(np.sqrt(square), 1e-9)
        first, second, third = self.bends
        due = radius * (1 + ((third * square + second) * square + first) * square)
        if due.size and due.max() * (1 + STRETCH) > LAWS[self.projection].largest_radius:
            raise ValueError("the picture is larger than this lens can show")
        angle = ANGLES[self.projection](due)
        sine = np.sin(angle)
        grows = 1 + ((7 * third * square + 5 * second) * square + 3 * first) * square  # slope of `due` against `radius`
        outward = (ANGLES[self.projection](due * (1 + STRETCH)) - angle) / (due * STRETCH) * grows
        rays = np.column_stack([place * (sine / radius)[:, np.newaxis], np.cos(angle)])
        return rays, np.hypot(sine / radius, outward) / (math.sqrt(2) * self.focal_px)

    def pixels(self, rays: Array) -> Array:
        """Where the lens shows unit vectors (n, 3), in pixels (n, 2); NaN if it does not."""
        across = np.hypot(rays[:, 0], rays[:, 1])
        angle = np.arctan2(across, rays[:, 2])
        beyond = np.pi / 2 if self.projection in {Projection.RECTILINEAR, Projection.ORTHOGRAPHIC} else np.pi
        law = LAWS[self.projection]
        due = np.array([law.radius(float(a)) if a < beyond - 1e-6 else np.nan for a in angle])
        seen = due
        for _ in range(UNBENDING if any(self.bends) else 0):
            square = seen**2
            seen = due / (1 + ((self.bends[2] * square + self.bends[1]) * square + self.bends[0]) * square)
        scale = np.where(across > 1e-9, seen / np.maximum(across, 1e-9), 1.0)
        return np.asarray(self.focal_px * scale[:, np.newaxis] * rays[:, :2] + np.array(self.middle_px))


@dataclass(frozen=True, slots=True, eq=False)
class PictureTurn:
    """A rotation of rays of the second picture into the first one's axes: turning right is positive about y.

    `vector_rad` (3,) is axis times angle, `covariance` (3, 3) that of its error in radians squared, `kept` (n,) marks the
    matches that agreed. `rms_px` is their root mean square misfit, at the scale of the picture's middle.
    """

    vector_rad: Array
    covariance: Array
    kept: NDArray[np.bool_]
    rms_px: float


def turn_between(
    first_px: Array, second_px: Array, camera: PictureGeometry, right: NDArray[np.bool_] | None = None
) -> PictureTurn:
    """The turn between two pictures from matched points, each (n, 2), some of which may be wrong.

    `right` (n,) marks matches that are known to be mostly right; without it they are searched for.

    The best rotation between two sets of rays is Wahba's problem (G. Wahba, SIAM Review 7:409, 1965). The right matches
    are found by trying pairs of them (M. Fischler and R. Bolles, Comm. ACM 24:381, 1981). The covariance is from the
    actual scatter of the matches (H. White, Econometrica 48:817, 1980). Raises NoOverlap, ValueError.
    """
    if len(first_px) < FEWEST:
        raise NoOverlap
    views = _views(first_px, second_px, camera)
    reach = FIRST_REACH * _extent(views.first)
    rotation = _consensus(views.first, views.second, reach) if right is None else _aligned(views, right)
    misfit = _misfit(views, rotation)
    kept = misfit < reach
    for _ in range(ROUNDS):
        if np.count_nonzero(kept) < FEWEST:
            raise NoOverlap
        rotation = _aligned(views, kept)
        misfit = _misfit(views, rotation)
        # The median of a length in two directions, each with standard deviation s, is 1.177 s.
        typical = float(np.median(misfit[misfit < reach])) / 1.177
        before, kept = kept, misfit < min(reach, max(KEPT_SIGMA * typical, 1e-6))
        if np.array_equal(before, kept):
            break
    if np.count_nonzero(kept) < FEWEST:
        raise NoOverlap
    return _turn(views, rotation, kept, camera)


def turn_by(first_px: Array, second_px: Array, camera: PictureGeometry, kept: NDArray[np.bool_]) -> PictureTurn:
    """The turn from the matches `kept` (n,) alone. Raises ValueError."""
    views = _views(first_px, second_px, camera)
    return _turn(views, _aligned(views, kept), kept, camera)


def weights(camera: PictureGeometry, first_rad: Array, second_rad: Array) -> Array:
    """Weight of each match (n,), from the size of a pixel at both places, 1 in the middle of the picture.

    A misfit times its weight and the focal length is in pixels. Without the weight a longer focal length would always
    seem to fit better, because it makes angles smaller.
    """
    return np.asarray(math.sqrt(2) / (camera.focal_px * np.hypot(first_rad, second_rad)))


@dataclass(frozen=True, slots=True, eq=False)
class _Views:
    """Matches as unit vectors of both pictures (n, 3), and their weights (n,)."""

    first: Array
    second: Array
    weight: Array


def _views(first_px: Array, second_px: Array, camera: PictureGeometry) -> _Views:
    (first, first_rad), (second, second_rad) = camera.seen(first_px), camera.seen(second_px)
    return _Views(first, second, weights(camera, first_rad, second_rad))


def _turn(views: _Views, rotation: Array, kept: NDArray[np.bool_], camera: PictureGeometry) -> PictureTurn:
    rms_px = float(np.sqrt(np.mean(_misfit(views, rotation)[kept] ** 2))) * camera.focal_px
    return PictureTurn(Rotation.from_matrix(rotation).as_rotvec(), _covariance(views, rotation, kept), kept, rms_px)


def _aligned(views: _Views, kept: NDArray[np.bool_]) -> Array:
    """The rotation matrix that brings the second rays nearest to the first (W. Kabsch, Acta Cryst. A34:827, 1978)."""
    square = views.weight[kept, np.newaxis] ** 2
    left, _, right = np.linalg.svd((square * views.first[kept]).T @ views.second[kept])
    left[:, 2] *= np.sign(np.linalg.det(left) * np.linalg.det(right))
    return np.asarray(left @ right)


def _misfit(views: _Views, rotation: Array) -> Array:
    off = views.first - views.second @ rotation.T
    return np.asarray(views.weight * np.sqrt(np.einsum("ni,ni->n", off, off)))


def _extent(rays: Array) -> float:
    """The largest distance between rays, roughly, in radians."""
    return 2 * float(np.linalg.norm(rays - rays.mean(axis=0), axis=1).max())


def _consensus(first: Array, second: Array, reach: float) -> Array:
    """The rotation matrix from two matches on which most matches agree."""
    random = np.random.default_rng(len(first))
    chosen = random.integers(len(first), size=(TRIALS, 2))
    turned = np.einsum("tij,tkj->tik", _frames(first, chosen), _frames(second, chosen))
    # The square of the distance of two unit vectors is 2 - 2 cos; this is every cosine at once.
    off = 2 - 2 * (turned.reshape(-1, 9) @ np.einsum("ni,nj->nij", first, second).reshape(-1, 9).T)
    # A closer match counts more, so that ties go to the better fit.
    score = np.clip(1 - off / reach**2, 0, None).sum(axis=1)
    return np.asarray(turned[int(np.argmax(score))])


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


def _covariance(views: _Views, rotation: Array, kept: NDArray[np.bool_]) -> Array:
    """Covariance of a small rotation w in first = (1 + w x) R second: a sandwich of the normal equations."""
    seen, square = views.second[kept] @ rotation.T, views.weight[kept, np.newaxis] ** 2
    pull = square * np.cross(seen, views.first[kept])  # d(misfit)/dw is -[seen] x, so the normal equations sum these
    curvature = np.linalg.inv(square.sum() * np.eye(3) - (square * seen).T @ seen)
    return np.asarray(curvature @ (pull.T @ pull) @ curvature * len(seen) / max(len(seen) - 3, 1))


def main_direction(turns: Sequence[PictureTurn]) -> Array:
    """The unit vector about which most of the turning happened, in the camera's axes, shape (3,)."""
    total = np.sum([turn.vector_rad for turn in turns], axis=0)
    return np.asarray(total / np.linalg.norm(total))
