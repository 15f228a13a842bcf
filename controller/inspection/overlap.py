"""What two frames have in common, as two small pictures on one local plane.

Both frames are drawn in the stereographic projection about the middle of their overlap. It keeps shapes (J. Snyder, Map
Projections: A Working Manual, USGS 1395, 1987, chapter 21), so that a detail looks alike from a fisheye and from its far
edge. Directions are as in `planning.directions`; a camera's own axes are right, down and along the lens.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from controller.calibration.registration import opencv
from controller.optics.outline import Array
from controller.planning.directions import camera_axes

GRID = 24  # points each way on a picture at which the other frame is asked
WIDEST = 4.0  # farthest corner from the middle, as the distance of a point 127 degrees off in units of the scale
MOST_PX = 300_000  # of one local picture
FAR_OFF = -1e9  # a place in no picture
OUTSIDE = -1e4  # the same, for OpenCV, which counts pixels in 16 bits
MAP_STEP = 4  # the lens is asked at every fourth pixel, and interpolated between: an error below 0.02 px
BLUR_BELOW = 0.75  # a picture more than this much finer than the plane is reduced first, to prevent aliasing


class PixelLens(Protocol):
    """Where pixels (n, 2) of the full-size picture look, as unit vectors (n, 3) right, down, along the lens; and back.

    `pixels` gives NaN for directions that the lens does not show.
    """

    def rays(self, points_px: Array, /) -> Array:
        """Unit vectors (n, 3)."""

    def pixels(self, rays: Array, /) -> Array:
        """Pixels (n, 2), column and row; the middle of the top left one is (0, 0)."""


@dataclass(frozen=True, slots=True, eq=False)
class FrameView:
    """One frame as its pose says: `axes` (3, 3) has the camera's right, down and forward as rows.

    `size_px` (columns, rows) is that of the full-size picture, upright. `u_aim_rad` is the standard uncertainty of the
    pose about each axis. `circle_px` is the radius of the image circle about the picture's middle (None: no circle).
    """

    axes: Array
    lens: PixelLens
    size_px: tuple[int, int]
    u_aim_rad: float
    circle_px: float | None = None

    def sees(self, directions: Array) -> NDArray[np.bool_]:
        """Whether the picture shows directions (n, 3)."""
        return self.shows(self.lens.pixels(directions @ self.axes.T))

    def shows(self, points_px: NDArray[np.floating]) -> NDArray[np.bool_]:
        """Whether places (n, 2) are in the picture, between the middles of its outermost pixels."""
        (column, row), (right, bottom) = points_px.T, (side - 1.0 for side in self.size_px)
        with np.errstate(invalid="ignore"):  # NaN is outside
            held = (column >= 0) & (column <= right) & (row >= 0) & (row <= bottom)
            if self.circle_px is not None:
                held &= (column - right / 2) ** 2 + (row - bottom / 2) ** 2 <= self.circle_px**2
        return np.asarray(held)

    def directions(self, points_px: Array) -> Array:
        """Unit vectors (n, 3) in the world in which pixels (n, 2) look. Raises ValueError beyond the lens."""
        return np.asarray(self.lens.rays(points_px) @ self.axes)


@dataclass(frozen=True, slots=True, eq=False)
class Overlap:
    """A local plane: `axes` (3, 3) has its right, down and outward direction as rows, `scale_px` pixels to a radian in
    its middle. Its pixels count from `corner_px` (the place of the first pixel's middle, from the plane's middle).
    """

    axes: Array
    scale_px: float
    corner_px: tuple[float, float]
    size_px: tuple[int, int]

    def directions(self, points_px: Array) -> Array:
        """Unit vectors (n, 3) of places (n, 2) on the plane."""
        flat = (points_px + self.corner_px) / self.scale_px
        square = np.einsum("ni,ni->n", flat, flat)[:, np.newaxis] / 4
        return np.asarray(np.concatenate([flat, 1 - square], axis=1) / (1 + square) @ self.axes)

    def places(self, directions: Array) -> Array:
        """Places (n, 2) on the plane of unit vectors (n, 3)."""
        local = directions @ self.axes.T
        return np.asarray(2 * self.scale_px * local[:, :2] / (1 + local[:, 2:]) - self.corner_px)


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A frame on the local plane: `grey` (rows, columns), and `held`, which pixels the frame shows."""

    grey: NDArray[np.uint8]
    held: NDArray[np.bool_]


def axes_of(yaw_deg: float, pitch_deg: float, roll_deg: float = 0.0) -> Array:
    """A camera's right, down and forward in the world, as rows of a (3, 3) matrix."""
    yaw, pitch, roll = (np.radians(np.float64(angle)) for angle in (yaw_deg, pitch_deg, roll_deg))
    axes = camera_axes(yaw, pitch, roll)
    return np.stack([axes.right, -axes.up, axes.forward])


def find_overlap(first: FrameView, second: FrameView, share: float = 0.5) -> Overlap | None:
    """The plane of what both frames show by their poses; None if that is nothing.

    Its pixels are `share` as fine as those of the coarser of the full-size pictures there, or less fine if it would have
    more than MOST_PX.
    """
    common = np.concatenate([_seen_by(first, second), _seen_by(second, first)])
    if not len(common):
        return None
    outward = common.mean(axis=0)
    if np.linalg.norm(outward) < 1e-3:  # all around: no middle
        outward = first.axes[2] + second.axes[2]
    outward /= np.linalg.norm(outward)
    axes = _upright(outward, first, second)
    plane = Overlap(axes, 1.0, (0.0, 0.0), (1, 1))
    flat = plane.places(common[common @ outward > -0.5])
    flat = flat[np.hypot(*flat.T) <= WIDEST]
    low, high = flat.min(axis=0), flat.max(axis=0)
    scale = share * min(pixels_per_rad(view, outward, axes) for view in (first, second))
    area = float(np.prod(np.maximum(high - low, 1e-9)))
    scale = min(scale, math.sqrt(MOST_PX / area))
    columns, rows = (int(side) for side in np.maximum(np.ceil((high - low) * scale), 1))
    return Overlap(axes, scale, (float(low[0] * scale), float(low[1] * scale)), (columns, rows))


def _seen_by(of: FrameView, by: FrameView) -> Array:
    """Directions (n, 3) evenly over the picture `of` that `by` also shows."""
    columns, rows = (np.linspace(0, size - 1, GRID) for size in of.size_px)
    points = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    directions = of.directions(points[of.shows(points)])
    return directions[by.sees(directions)]


def needed_share(view: FrameView, overlap: Overlap) -> float:
    """How large a picture must be, relative to full size, for the plane to lose nothing; 1 at most."""
    return min(1.0, overlap.scale_px / pixels_per_rad(view, overlap.axes[2], overlap.axes))


def _upright(outward: Array, first: FrameView, second: FrameView) -> Array:
    """The plane's axes as rows: down as the cameras have it, as far as they agree."""
    wanted = (first.axes[1] + second.axes[1], first.axes[1], first.axes[0], first.axes[2])
    across = [down - (down @ outward) * outward for down in wanted]
    down = next(part for part in across if np.linalg.norm(part) > 0.3)
    down = down / np.linalg.norm(down)
    right = np.cross(down, outward)
    if np.linalg.det(np.stack([right, down, outward])) * np.linalg.det(first.axes) < 0:
        right = -right
    return np.stack([right, down, outward])


def pixels_per_rad(view: FrameView, outward: Array, axes: Array) -> float:
    """How fine the full-size picture is about a direction: the larger of its two sides."""
    step = 1e-3
    around = np.stack(
        [outward + step * axes[0], outward - step * axes[0], outward + step * axes[1], outward - step * axes[1]]
    )
    around /= np.linalg.norm(around, axis=1)[:, np.newaxis]
    there = view.lens.pixels(around @ view.axes.T)
    sides = np.linalg.norm(there[::2] - there[1::2], axis=1) / (2 * step)
    finite = sides[np.isfinite(sides)]
    if finite.size:
        return float(finite.max())
    middle = (np.array(view.size_px) - 1) / 2
    rays = view.lens.rays(np.stack([middle, middle + np.array([1.0, 0.0])]))
    return 1 / float(np.linalg.norm(rays[1] - rays[0]))


def warp(grey: NDArray[np.uint8], share: float, view: FrameView, overlap: Overlap) -> Patch:
    """A frame on the plane, from its picture `grey` (rows, columns), `share` times as large as full size.

    Raises InputError without OpenCV.
    """
    cv2 = opencv()
    columns, rows = overlap.size_px

    def own(places: Array) -> Array:
        there = view.lens.pixels(overlap.directions(places) @ view.axes.T)
        return np.asarray(np.where(np.isfinite(there), there, FAR_OFF))  # NaN would spread over the whole product

    full = over_plane(overlap, own).reshape(-1, 2)
    held = view.shows(full).reshape(rows, columns)
    ratio = overlap.scale_px / (share * pixels_per_rad(view, overlap.axes[2], overlap.axes))
    shares = np.array([share, share])
    if ratio < BLUR_BELOW:
        size = np.maximum(1, np.rint(np.array(grey.shape[::-1]) * ratio)).astype(int)
        shares *= size / grey.shape[::-1]
        grey = cv2.resize(grey, size.tolist(), interpolation=cv2.INTER_AREA)
    maps = ((full + np.float32(0.5)) * shares.astype(np.float32) - np.float32(0.5)).reshape(rows, columns, 2)
    maps[~held] = OUTSIDE
    drawn = cv2.remap(grey, maps, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return Patch(np.asarray(np.where(held, drawn, 0), dtype=np.uint8), held)


def over_plane(overlap: Overlap, at: Callable[[Array], Array]) -> NDArray[np.float32]:
    """A smooth function of places (n, 2) to (n, 2), at every pixel of the plane: (rows, columns, 2).

    In 32 bits: a pixel of the largest pictures still has a thousandth part.
    """
    columns, rows = overlap.size_px
    across, down = (np.arange(0, size + MAP_STEP, MAP_STEP, dtype=np.float64) for size in (columns, rows))
    knots = np.stack(np.meshgrid(across, down), axis=-1)
    values = at(knots.reshape(-1, 2)).reshape(len(down), len(across), 2).astype(np.float32)
    wide = _between(values.swapaxes(0, 1), columns).swapaxes(0, 1)
    return _between(wide, rows)


def _between(knots: NDArray[np.float32], count: int) -> NDArray[np.float32]:
    """Values at every one of `count` places along the first axis, from those at every MAP_STEP."""
    share = (np.arange(MAP_STEP, dtype=np.float32) / MAP_STEP)[:, np.newaxis, np.newaxis]
    steps = np.diff(knots, axis=0)[:, np.newaxis]
    between = np.asarray(knots[:-1, np.newaxis] + share * steps, dtype=np.float32)
    return between.reshape(-1, *knots.shape[1:])[:count]
