"""How much detail a picture shows, place by place and in each direction.

Detail is the mean square of the slopes of the fine structure, over the square of the mean light. Fine structure is what
two Gaussian filters leave between noise and larger things, because slight blur takes only the fine one. As a tensor
(J. Bigun and G. Granlund, Proc. ICCV 1987, p. 433) it tells a defocused picture, which loses detail in all directions,
from a moved one, which loses it along the motion. Two pictures are compared at the points that were matched between them,
because there they are known to show the same.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.calibration.registration import opencv
from controller.inspection.cells import LEAST_LIGHT
from controller.inspection.exposures import LIGHT
from controller.inspection.lens_model import Array, BrownLens, project, see

CELLS, LEAST_PX = 250, 6  # along the long side of a picture, and the least side of a cell
STRIP_CELLS = 4  # rows of cells at a time: in a processor's cache, and little memory
NOISE_PX, FINE_PX = 0.8, 2.0  # standard deviations of the two filters
MARGIN_PX = 8  # rows beyond a strip, for the filters
AROUND = 3  # cells each way that are taken together at a point
FEWEST = 8  # points
STEP_PX = 2.0  # for the directions of one picture in the other
QUIET_PERCENT, FEWEST_CELLS, LEAST_NOISE = 2.0, 200, 1e-14  # so many cells of a lightness show noise alone
QUIETER = 4.4  # noise of the quietest cells is less than the mean by this over the root of their pixels. From white noise
FLOOR = 0.02  # of the median detail: less than that is none
MEDIAN_ERROR = 1.2533  # the standard error of a median over that of a mean, for normal values


@dataclass(frozen=True, slots=True, eq=False)
class Detail:
    """The detail of a picture of `size_px`: `tensor` (rows, columns, 3) with xx, yy and xy in light squared, and the mean
    `light` (rows, columns), both over AROUND cells.
    """

    size_px: tuple[int, int]
    tensor: NDArray[np.float32]
    light: NDArray[np.float32]

    @property
    def cell_px(self) -> float:
        """The side of a cell."""
        rows, columns, _ = self.tensor.shape
        return math.sqrt(self.size_px[0] * self.size_px[1] / (rows * columns))

    def at(self, places_px: Array, noise: "NoiseCurve") -> Array:
        """The tensors (n, 3) at places (n, 2) in the picture, without noise, over the square of the light."""
        rows, columns, _ = self.tensor.shape
        scaled = (places_px + 0.5) * (columns / self.size_px[0], rows / self.size_px[1])
        column, row = np.clip(scaled.astype(np.intp), 0, (columns - 1, rows - 1)).T
        light = self.light[row, column].astype(np.float64)
        tensor = self.tensor[row, column].astype(np.float64)
        tensor[:, :2] -= noise.at(light)[:, None] / 2
        return np.asarray(tensor / light[:, None] ** 2)


@dataclass(frozen=True, slots=True, eq=False)
class NoiseCurve:
    """What a camera's noise adds to the sum of xx and yy, by the light: `total` (n,) at `log_light` (n,), base 2."""

    log_light: Array
    total: Array

    def at(self, light: Array) -> Array:
        """The noise (n,) at these lights."""
        if not len(self.total):
            return np.zeros_like(light)
        return np.asarray(np.exp2(np.interp(np.log2(light), self.log_light, np.log2(self.total))))


def noise_of(details: Collection[Detail]) -> NoiseCurve:
    """The noise of the camera that took these pictures, from the quietest cells of each lightness.

    Noise grows with the light (EMVA Standard 1288), and a JPEG changes it, so no law is assumed. The quietest of many
    cells are quiet by chance as well. If noise is underestimated, blur looks slighter than it is.
    """
    if not details:
        return NoiseCurve(np.empty(0), np.empty(0))
    share = float(np.mean([1 - QUIETER / (AROUND * each.cell_px) for each in details]))
    log_light = np.log2(np.concatenate([each.light.ravel() for each in details]))
    total = np.concatenate([(each.tensor[..., 0] + each.tensor[..., 1]).ravel() for each in details])
    step = np.floor(log_light).astype(int)
    steps = [each for each in range(step.min(), step.max() + 1) if np.count_nonzero(step == each) >= FEWEST_CELLS]
    quiet = [float(np.percentile(total[step == each], QUIET_PERCENT)) for each in steps]
    return NoiseCurve(np.array(steps) + 0.5, np.maximum(np.array(quiet) / share, LEAST_NOISE))


def detail_of(grey: NDArray[np.uint8]) -> Detail:
    """The detail of a picture at its full size: a reduced one hides blur. Raises InputError without OpenCV."""
    cv2 = opencv()
    size_px = (grey.shape[1], grey.shape[0])
    side = max(LEAST_PX, max(size_px) / CELLS)
    columns, rows = (max(1, round(length / side)) for length in size_px)
    edges = np.linspace(0, grey.shape[0], rows + 1).astype(int)
    found = np.empty((rows, columns, 4), dtype=np.float32)
    for begin in range(0, rows, STRIP_CELLS):
        end = min(begin + STRIP_CELLS, rows)
        top, bottom = edges[begin], edges[end]
        above = min(top, MARGIN_PX)
        around = cv2.LUT(grey[top - above : bottom + MARGIN_PX], LIGHT)
        fine = cv2.subtract(*(cv2.GaussianBlur(around, (0, 0), side_px) for side_px in (NOISE_PX, FINE_PX)))
        across = cv2.filter2D(fine, -1, np.array([[-0.5, 0, 0.5]], dtype=np.float32))
        down = cv2.filter2D(fine, -1, np.array([[-0.5], [0], [0.5]], dtype=np.float32))
        parts = (cv2.multiply(across, across), cv2.multiply(down, down), cv2.multiply(across, down), around)
        inner = edges[begin : end + 1] - top + above
        for number, part in enumerate(parts):
            # Rows first, which is quick: `resize` is slow if sides are not whole numbers, and then has little left to do.
            means = [cv2.reduce(part[one:other], 0, cv2.REDUCE_AVG) for one, other in pairwise(inner.tolist())]
            found[begin:end, :, number] = cv2.resize(
                np.concatenate(means), (columns, end - begin), interpolation=cv2.INTER_AREA
            )
    found = cv2.blur(found, (AROUND, AROUND), borderType=cv2.BORDER_REPLICATE)
    light = np.maximum(found[..., 3], LEAST_LIGHT)
    return Detail(size_px, np.ascontiguousarray(found[..., :3]), np.ascontiguousarray(light))


@dataclass(frozen=True, slots=True, eq=False)
class Sharper:
    """How much more detail the first of two frames shows, as logarithms: in all directions (`overall`), and by the cosine
    and sine of twice the direction in the first picture's axes (`along` (2,)).

    `unsure` and `unsure_along` are the standard uncertainties. `turn_rad` is by how much the second picture is turned
    against the first; `larger` and `stretch` (2,) how much larger it shows things, as logarithms in the same terms.
    """

    overall: float
    along: Array
    unsure: float
    unsure_along: float
    turn_rad: float
    larger: float
    stretch: Array


def sharper(
    details: tuple[Detail, Detail],
    points_px: tuple[Array, Array],
    lens: BrownLens,
    rotations: tuple[Array, Array],
    noise: NoiseCurve,
) -> Sharper | None:
    """Compare two frames at points (n, 2) that both show, by their adjusted rotations. None if there are too few."""
    maps = _maps(points_px[0], lens, rotations)
    known = np.isfinite(maps).all(axis=(1, 2))
    if np.count_nonzero(known) < FEWEST:
        return None
    maps = maps[known]
    turns = np.arctan2(maps[:, 1, 0] - maps[:, 0, 1], maps[:, 0, 0] + maps[:, 1, 1])
    one = details[0].at(points_px[0][known], noise)
    other = turned_tensors(details[1].at(points_px[1][known], noise), -turns)
    total = np.maximum(one[:, 0] + one[:, 1], other[:, 0] + other[:, 1])
    floor = FLOOR * float(np.median(total))
    ratios = np.array(
        [np.log((_along(one, angle) + floor) / (_along(other, angle) + floor)) for angle in np.pi / 4 * np.arange(4)]
    )
    middle = np.median(ratios, axis=1)
    error = MEDIAN_ERROR / math.sqrt(ratios.shape[1])
    squares = maps.transpose(0, 2, 1) @ maps
    size = np.trace(squares, axis1=1, axis2=2)
    stretch = np.stack([squares[:, 0, 0] - squares[:, 1, 1], 2 * squares[:, 0, 1]], axis=1) / size[:, None]
    return Sharper(
        overall=float(middle.mean()),
        along=np.array([middle[0] - middle[2], middle[1] - middle[3]]) / 2,
        unsure=error * float(np.std(ratios.mean(axis=0))),
        unsure_along=error * float(np.std((ratios[:2] - ratios[2:]) / 2)),
        turn_rad=float(np.arctan2(np.sin(turns).mean(), np.cos(turns).mean())),
        larger=float(np.mean(np.log(size / 2)) / 2),
        stretch=np.asarray(stretch.mean(axis=0)),
    )


def _maps(points_px: Array, lens: BrownLens, rotations: tuple[Array, Array]) -> Array:
    """How small steps in the first picture become steps in the second, (n, 2, 2); NaN if unknown."""
    between = rotations[0].T @ rotations[1]
    steps = (np.zeros(2), np.array([STEP_PX, 0.0]), np.array([0.0, STEP_PX]))
    there, right, below = (project(lens, see(lens, points_px + step).rays @ between).pixels for step in steps)
    return np.stack([right - there, below - there], axis=2) / STEP_PX


def _along(tensors: Array, angle_rad: float) -> Array:
    """The detail (n,) in one direction."""
    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    along = tensors[:, 0] * cosine**2 + tensors[:, 1] * sine**2 + 2 * tensors[:, 2] * cosine * sine
    return np.asarray(np.maximum(along, 0.0))


def turned_tensors(tensors: Array, by_rad: Array) -> Array:
    """Tensors (n, 3), turned so that what was at angle a is at a + by_rad (n,)."""
    cosine, sine = np.cos(by_rad), np.sin(by_rad)
    xx, yy, xy = tensors.T
    return np.stack(
        [
            xx * cosine**2 + yy * sine**2 - 2 * xy * cosine * sine,
            xx * sine**2 + yy * cosine**2 + 2 * xy * cosine * sine,
            (xx - yy) * cosine * sine + xy * (cosine**2 - sine**2),
        ],
        axis=1,
    )
