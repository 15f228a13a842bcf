"""A near mark in two photographs: where the second one shows what is at a place in the first."""

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation

from controller.calibration.turning import PictureGeometry, PictureTurn
from controller.optics.outline import Array

ALIKE = 0.6  # correlation of a mark with itself in the other picture
HIGH_PX = 6  # a level camera shifts marks sideways; the search also goes this far up and down
ROUNDS = 30
STILL_PX = 1e-3


class MarkNotFound(Exception):
    """The mark was not found in the second picture."""


def as_first_sees(
    picture: NDArray[np.uint8], turn: PictureTurn, camera: PictureGeometry, columns: Array, rows: Array
) -> Array:
    """The second picture as the first camera would show far things, at a grid of columns and rows (broadcast together).

    NaN beyond the second picture's edge.
    """
    grid = np.stack([part.ravel() for part in np.broadcast_arrays(columns, rows)], axis=-1)
    seen = camera.pixels(Rotation.from_rotvec(turn.vector_rad).inv().apply(camera.rays(grid)))
    outside = ~np.all((seen >= 0) & (seen <= np.array(picture.shape[::-1]) - 1), axis=1)
    places = np.where(outside[:, np.newaxis], 0.0, seen)
    values = ndimage.map_coordinates(picture.astype(np.float64), [places[:, 1], places[:, 0]], order=3, mode="nearest")
    return np.where(outside, np.nan, values).reshape(np.broadcast_shapes(columns.shape, rows.shape))


def mark_shift_px(
    first: NDArray[np.uint8],
    second: NDArray[np.uint8],
    turn: PictureTurn,
    camera: PictureGeometry,
    *,
    place: tuple[float, float],
    half_px: int,
    reach_px: int,
) -> tuple[float, float, float]:
    """How far right and down the second picture shows the mark, after it is aligned with the first by far points.

    The mark is the part of the first picture within `half_px` of `place` (column, row). The search covers up to
    `reach_px` to either side. Also returns the standard uncertainty of either. Raises MarkNotFound.
    """
    column, row = round(place[0]), round(place[1])
    rows, columns = first.shape
    if not (half_px <= column < columns - half_px and half_px <= row < rows - half_px):
        raise MarkNotFound
    mark = first[row - half_px : row + half_px + 1, column - half_px : column + half_px + 1].astype(np.float64)
    wide, high = reach_px + half_px, HIGH_PX + half_px
    turned = as_first_sees(
        second, turn, camera, column + np.arange(-wide, wide + 1.0), row + np.arange(-high, high + 1.0)[:, np.newaxis]
    )
    likeness = _likeness(mark, turned)
    if not np.isfinite(likeness).any() or np.nanmax(likeness) < ALIKE:
        raise MarkNotFound
    down, right = np.unravel_index(int(np.nanargmax(likeness)), likeness.shape)
    return _refined(mark, turned, float(right), float(down), (reach_px, HIGH_PX))


def _likeness(mark: Array, turned: Array) -> Array:
    """Correlation of the mark with each part of `turned` of its size (-1 to 1); NaN if that part is incomplete."""
    parts = np.lib.stride_tricks.sliding_window_view(turned, mark.shape)
    centred = mark - mark.mean()
    means = parts.mean(axis=(2, 3))
    spread = parts.std(axis=(2, 3)) * centred.std() * mark.size
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((np.einsum("ijkl,kl->ij", parts, centred) - means * centred.sum()) / spread)


def _refined(
    mark: Array, turned: Array, right: float, down: float, middle: tuple[int, int]
) -> tuple[float, float, float]:
    """Least squares on the grey values, with brightness and contrast free (B. Lucas and T. Kanade, IJCAI 1981).

    The uncertainty treats the remainder as noise that is independent from pixel to pixel.
    """
    filled = np.where(np.isnan(turned), np.nanmean(turned), turned)
    inside = np.indices(mark.shape, dtype=np.float64)
    u = 0.0
    for _ in range(ROUNDS):
        part = ndimage.map_coordinates(filled, [inside[0] + down, inside[1] + right], order=3, mode="nearest")
        slopes = [ndimage.sobel(part, axis=axis) / 8 for axis in (1, 0)]
        inner = (slice(1, -1), slice(1, -1))
        design = np.stack(
            [slopes[0][inner].ravel(), slopes[1][inner].ravel(), part[inner].ravel(), np.ones(part[inner].size)], -1
        )
        values, *_ = np.linalg.lstsq(design, mark[inner].ravel(), rcond=None)
        gain = values[2] if abs(values[2]) > 0.1 else 1.0
        step = values[:2] / gain
        residual = mark[inner].ravel() - design @ values
        cov = np.linalg.pinv(design.T @ design) * float(residual @ residual) / max(len(residual) - 4, 1)
        u = float(np.sqrt(max(cov[0, 0], cov[1, 1])) / abs(gain))
        right, down = right + float(np.clip(step[0], -1, 1)), down + float(np.clip(step[1], -1, 1))
        if max(abs(step)) < STILL_PX:
            break
    return right - middle[0], down - middle[1], u
