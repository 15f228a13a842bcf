"""Checks on the pictures: brackets step as planned, no picture is softer than its neighbours or points elsewhere.

Each function maps values to values. Reading pictures and finding what two have in common is done elsewhere.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.calibration.turning import PictureGeometry
from controller.matching.evidence import Array
from controller.planning.directions import camera_axes

DARKEST, BRIGHTEST = 25, 230  # between these codes a pixel is neither black nor burnt out
ENOUGH_PIXELS = 0.01  # least share of usable pixels of a picture
STEP_OFF_EV, STEP_OFF_SHARE = 1.0, 0.5  # a wrong step; a camera's tone curve is unknown. Common practice, no source
CELLS, FEWEST_CELLS = 96, 40  # cells along the long side of a picture; fewest that two must share
SOFT = math.log(0.55)  # limit relative to the detail in the neighbours of the same things. Our own choice, no source
AWAY_DEG, AWAY_SHARE = 1.0, 0.03  # a focal length off by a few hundredths is the kit's fault, not this frame's


def bracket_step_ev(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> float | None:
    """How many EV brighter the second grey picture of a pose is, by the median of pixels that are usable in both.

    It assumes sRGB codes (IEC 61966-2-1:1999), which a camera's own only approximate. None if too few pixels are usable.
    """
    good = (first > DARKEST) & (first < BRIGHTEST) & (second > DARKEST) & (second < BRIGHTEST)
    if np.count_nonzero(good) < ENOUGH_PIXELS * first.size:
        return None
    return float(np.median(np.log2(_light(second[good]) / _light(first[good]))))


def _light(codes: NDArray[np.uint8]) -> Array:
    value = codes / 255
    return np.asarray(np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4))


def step_is_off(measured_ev: float, planned_ev: float) -> bool:
    """Whether the step between two exposures of a bracket differs from the plan, as far as a JPEG can tell."""
    return abs(measured_ev - planned_ev) > max(STEP_OFF_EV, STEP_OFF_SHARE * abs(planned_ev))


def detail_of(picture: NDArray[np.uint8]) -> Array:
    """The amount of detail of a grey picture in each of at most CELLS x CELLS cells, (rows, columns).

    The mean square of the differences between neighbouring pixels over the mean square of the brightness. Use the full
    size: a reduced picture hides slight blur.
    """
    side = max(1, max(picture.shape) // CELLS)
    rows, columns = (length // side for length in picture.shape)
    whole = picture[: rows * side, : columns * side]

    found = np.empty((rows, columns))
    for row in range(rows):  # one row of cells at a time: a whole picture in 32 bits would take gigabytes
        level = whole[row * side : (row + 1) * side + 1].astype(np.int32)
        level = level if len(level) > side else np.vstack([level, level[-1:]])
        across, down = np.diff(level[:-1], axis=1, append=level[:-1, -1:]), np.diff(level, axis=0)
        squares = (across * across + down * down, level[:-1] * level[:-1])
        change, light = (each.reshape(side, columns, side).mean(axis=(0, 2), dtype=np.float64) for each in squares)
        found[row] = change / (light + 1.0)
    return found


def sharper(
    first: Array, second: Array, camera: PictureGeometry, size_px: tuple[int, int], planned: Rotation
) -> float | None:
    """The log ratio of detail (see detail_of), first picture over second, in the part that both show by the plan.

    `camera` is that of both, of pictures of `size_px` (columns, rows). Only cells with much detail in one of them count:
    sky is even in any picture. None if they have too little in common.
    """
    rows, columns = first.shape
    row, column = np.indices(first.shape).reshape(2, -1)
    scale = np.array(size_px) / (columns, rows)
    places = camera.pixels(planned.inv().apply(camera.rays((np.stack([column, row], axis=-1) + 0.5) * scale - 0.5)))
    with np.errstate(invalid="ignore"):
        there = np.floor((places + 0.5) / scale)
        both = ((there >= 0) & (there < (columns, rows))).all(axis=1)
    if np.count_nonzero(both) < FEWEST_CELLS:
        return None
    to = there[both].astype(int)
    mine, theirs = first[row[both], column[both]], second[to[:, 1], to[:, 0]]
    rich = np.maximum(mine, theirs) >= np.median(np.maximum(mine, theirs))
    return float(np.median(np.log((mine[rich] + 1e-9) / (theirs[rich] + 1e-9))))


@dataclass(frozen=True, slots=True)
class Compared:
    """Two frames, the first with more detail of the same things; the log ratio."""

    first: int
    second: int
    sharper: float


@dataclass(frozen=True, slots=True)
class Joined:
    """Two frames with something in common, with the rotation that the pictures show and the planned one.

    Both rotate the second camera's rays into the first's axes.
    """

    first: int
    second: int
    turn: Rotation
    planned: Rotation

    @property
    def off_deg(self) -> float:
        """The angle in degrees between the measured and the planned rotation."""
        return math.degrees((self.turn * self.planned.inv()).magnitude())

    @property
    def points_elsewhere(self) -> bool:
        """Whether that is more than a slightly wrong focal length explains."""
        return self.off_deg > AWAY_DEG + AWAY_SHARE * math.degrees(self.planned.magnitude())


def planned_turn(first: Sequence[float], second: Sequence[float]) -> Rotation:
    """The rotation between two poses (yaw, pitch and optionally roll, in degrees).

    In a camera's axes: x right, y down, z along the lens.
    """
    return _pose(*first).inv() * _pose(*second)


def _pose(yaw_deg: float, pitch_deg: float, roll_deg: float = 0.0) -> Rotation:
    axes = camera_axes(np.radians(yaw_deg), np.radians(pitch_deg), np.radians(roll_deg))
    # Yaw grows to the right, so the world is left-handed: negate its y to get a rotation.
    columns = np.stack([axes.right, -axes.up, axes.forward], axis=-1)
    return Rotation.from_matrix(np.diag([1.0, 1.0, -1.0]) @ columns)


def soft_frames(compared: Sequence[Compared]) -> dict[int, float]:
    """Frames with less detail than their neighbours in the same things, and how much: a share of the gradient's power.

    Each frame's sharpness is fitted to all pairs at once (least squares), relative to the middle of all.
    """
    frames = sorted({one.first for one in compared} | {one.second for one in compared})
    place = {frame: number for number, frame in enumerate(frames)}
    if len(frames) < 3:
        return {}
    rows = np.zeros((len(compared), len(frames)))
    for number, one in enumerate(compared):
        rows[number, place[one.first]], rows[number, place[one.second]] = 1.0, -1.0
    sharp = np.linalg.lstsq(rows, np.array([one.sharper for one in compared]), rcond=None)[0]
    sharp -= np.median(sharp)
    return {frame: math.exp(sharp[place[frame]]) for frame in frames if sharp[place[frame]] < SOFT}


def frames_elsewhere(joined: Sequence[Joined]) -> dict[int, float]:
    """Frames that point elsewhere than planned according to most neighbours, and by how many degrees."""
    votes: Mapping[int, list[Joined]] = {frame: [] for one in joined for frame in (one.first, one.second)}
    for one in joined:
        votes[one.first].append(one)
        votes[one.second].append(one)
    blamed: dict[int, float] = {}
    left = dict(votes)
    while left:
        wrong = {frame: sum(one.points_elsewhere for one in pairs) for frame, pairs in left.items()}
        worst = max(wrong, key=lambda frame: (wrong[frame], -frame))
        if wrong[worst] == 0 or wrong[worst] * 2 <= len(left[worst]):
            break
        blamed[worst] = float(np.median([one.off_deg for one in left[worst]]))
        del left[worst]
        left = {frame: [one for one in pairs if worst not in (one.first, one.second)] for frame, pairs in left.items()}
        left = {frame: pairs for frame, pairs in left.items() if pairs}
    return blamed
