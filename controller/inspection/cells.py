"""A picture by cells: how light each is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.calibration.registration import opencv
from controller.inspection.exposures import BLACK_CODE, CODES, LIGHT, WHITE_CODE
from controller.inspection.lens_model import Array

CELLS = 72  # along the long side
LEAST_LIGHT = 1e-4  # light of a black cell, so that logarithms stay finite
USABLE = np.array([BLACK_CODE < code < WHITE_CODE for code in range(CODES)], dtype=np.float32)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """A grid over a picture of `size_px`.

    `light` (rows, columns): mean light of the pixels that are neither black nor clipped, NaN if fewer than half are such.
    """

    size_px: tuple[int, int]
    light: Array

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = self.light.shape
        return rows, columns

    def centres_px(self) -> Array:
        """The middles of the cells in pixels of the full-size picture, (rows * columns, 2)."""
        rows, columns = self.shape
        across = (np.arange(columns) + 0.5) * self.size_px[0] / columns - 0.5
        down = (np.arange(rows) + 0.5) * self.size_px[1] / rows - 0.5
        return np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)

    def at(self, places_px: Array) -> NDArray[np.intp]:
        """The numbers (n,) of the cells at places (n, 2) in the full-size picture; -1 outside and for NaN."""
        rows, columns = self.shape
        scaled = np.asarray((places_px + 0.5) * (columns, rows) / self.size_px, dtype=np.float64)
        with np.errstate(invalid="ignore"):
            inside = np.all((scaled >= 0) & (scaled < (columns, rows)), axis=1)
        whole = np.where(inside[:, None], scaled, 0).astype(np.intp)
        return np.where(inside, whole[:, 1] * columns + whole[:, 0], -1)


def grid_of(size_px: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns of cells of a picture of this size: nearly square cells."""
    longest = max(size_px)
    columns, rows = (max(1, round(CELLS * side / longest)) for side in size_px)
    return rows, columns


def lit_cells(grey: NDArray[np.uint8], size_px: tuple[int, int]) -> Cells:
    """The light of a picture, which may be decoded smaller than its full `size_px`. Raises InputError without OpenCV."""
    return Cells(size_px, _light(grey, grid_of(size_px)))


def _light(grey: NDArray[np.uint8], grid: tuple[int, int]) -> Array:
    cv2 = opencv()
    usable = USABLE[grey]
    size = grid[::-1]
    share = cv2.resize(usable, size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(LIGHT[grey] * usable, size, interpolation=cv2.INTER_AREA)
    return np.asarray(np.where(share >= 0.5, np.maximum(light / np.maximum(share, 0.5), LEAST_LIGHT), np.nan))
