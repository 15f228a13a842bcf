"""Points that two neighbouring frames share, near where their poses say, and what a link says when there are few.

Corners (J. Shi and C. Tomasi, CVPR 1994) are spread over a grid of cells and followed from one picture to the other by
the iterative method of B. Lucas and T. Kanade (IJCAI 1981; in pyramids: J.-Y. Bouguet, Intel 2000), forward and back.
Agreement on one small turn is found by random sampling (M. Fischler and R. Bolles, Comm. ACM 24:381, 1981).
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

import numpy as np
from numpy.typing import NDArray

from controller.calibration.registration import opencv
from controller.inspection.correlation import Floats, Level, Shift, differing, level, shift_between
from controller.inspection.overlap import FrameView, Overlap, Patch, over_plane
from controller.optics.outline import Array

REACH_SIGMA = 4.0
WIDE_RAD = math.radians(6.0)  # of the search if there is nothing within reach
SPARE_PX = 3.0  # of a search, beyond the pose's uncertainty: for the lens and near things
CELLS = 100  # of the grid, about
PER_CELL = 2
WINDOW_PX = 17
BACK_PX = 0.3  # following a point there and back must end this near
LEAST_ALIKE = 0.7  # correlation of the windows about a point
AGREE_PX = 2.5  # from the common turn; near things are farther off
TRIALS = 200
FEWEST = 8  # points that agree. Wrong ones agree by chance in three or four
LEAST_AGREEING = 0.35
LEAST_TEXTURE = 0.01
LEAST_PEAK, LEAST_ALONE = 0.12, 0.9  # of the correlation of the whole; a rival this high makes it ambiguous
CORRELATED_PX = 6.0  # pixels that share one error, as the picture was interpolated
MOST_ROWS = 30_000  # of a picture that OpenCV draws at once; it counts them in 15 bits
FLOOR_PX = 0.03  # uncertainty of any match on the plane: interpolation, rounding to eight bits
CONTRAST_CODES = 32.0  # of a level picture in eight bits, for a local deviation of one


class LinkReason(Enum):
    """What a link's pictures say."""

    FOUND = auto()
    NOTHING_COMMON = auto()
    """By their poses the frames share nothing."""
    NOTHING_TO_SEE = auto()
    """Sky, water or a wall: too little texture in what is common."""
    REPEATED = auto()
    """Two shifts fit nearly as well: a repeated texture."""
    ELSEWHERE = auto()
    """They agree, but farther from their poses than these allow."""
    DIFFERENT = auto()
    """There is texture, but the pictures do not agree, however they are shifted."""
    FEW = auto()
    """They agree as a whole, but too few points do."""


@dataclass(frozen=True, slots=True, eq=False)
class Matches:
    """Points of one link: places (n, 2) in both full-size pictures, in pixels.

    `u_px` (n,) is the standard uncertainty of the second place against the first, per axis, in pixels of the full-size
    picture. `score` (n,) is the correlation of the windows, up to 1. `agrees` (n,) marks those that fit one turn; others
    are near, moving or wrong.
    """

    first_px: Array
    second_px: Array
    u_px: Array
    score: Array
    agrees: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class LinkFinding:
    """What one link's pictures say.

    `textured` and `differs` are shares of the common picture: with something to see in both, and different although there
    is in one (0 if the two could not be laid on each other). `peak` and `rival` are the correlations of the best and next
    best shift of the whole. `shift_px` is by how much the second picture is off its pose on the plane, right and down;
    `scale_px` is the plane's pixels per radian.
    """

    reason: LinkReason
    matches: Matches
    textured: float = 0.0
    differs: float = 0.0
    peak: float = 0.0
    rival: float = 0.0
    shift_px: tuple[float, float] = (0.0, 0.0)
    scale_px: float = 0.0


NO_MATCHES = Matches(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), np.empty(0), np.empty(0, dtype=bool))
NOTHING_COMMON = LinkFinding(LinkReason.NOTHING_COMMON, NO_MATCHES)


@dataclass(frozen=True, slots=True, eq=False)
class _Tracked:
    """Points on the plane: places (n, 2) in both patches, uncertainty (n,) in its pixels, correlation (n,)."""

    first: Array
    second: Array
    u_px: Array
    score: Array


def find_points(first: FrameView, second: FrameView, overlap: Overlap, patches: tuple[Patch, Patch]) -> LinkFinding:
    """Match two frames that `overlap.warp` drew on one plane. Raises InputError without OpenCV."""
    one, other = (level(patch) for patch in patches)
    if min(float(each.held.mean()) for each in (one, other)) == 0:
        return NOTHING_COMMON
    u_aim = float(np.hypot(first.u_aim_rad, second.u_aim_rad))
    reach_px = REACH_SIGMA * u_aim * overlap.scale_px + SPARE_PX
    shift = shift_between(one, other, reach_px)
    if shift.peak < LEAST_PEAK:  # not where the pose says; look farther, to say where it is
        shift = shift_between(one, other, max(reach_px, WIDE_RAD * overlap.scale_px))
    tracked = _tracked(one, other, shift)
    turn, agrees = _common_turn(tracked, overlap)
    differs = differing(one, _turned(other, turn, overlap)) if _linked(agrees) else 0.0
    common = max(int((one.held & other.held).sum()), 1)
    textured = float((one.textured & other.textured).sum() / common)
    matches = _full_size(tracked, agrees, (first, second), overlap)
    off = np.median((tracked.second - tracked.first)[agrees], axis=0) if agrees.any() else (shift.right_px, shift.down_px)
    elsewhere = float(np.linalg.norm(turn)) * overlap.scale_px > reach_px
    return LinkFinding(
        reason=_reason(textured, shift, matches.agrees, elsewhere=elsewhere),
        matches=matches,
        textured=textured,
        differs=differs,
        peak=shift.peak,
        rival=shift.rival,
        shift_px=(float(off[0]), float(off[1])),
        scale_px=overlap.scale_px,
    )


def _reason(textured: float, shift: Shift, agrees: NDArray[np.bool_], *, elsewhere: bool) -> LinkReason:
    if shift.rival > LEAST_ALONE * shift.peak and shift.peak >= LEAST_PEAK:
        return LinkReason.REPEATED
    if _linked(agrees):
        return LinkReason.ELSEWHERE if elsewhere else LinkReason.FOUND
    if textured < LEAST_TEXTURE:
        return LinkReason.NOTHING_TO_SEE
    alike = shift.peak >= LEAST_PEAK and (not len(agrees) or agrees.mean() >= LEAST_AGREEING)
    return LinkReason.FEW if alike else LinkReason.DIFFERENT


def _linked(agrees: NDArray[np.bool_]) -> bool:
    return bool(agrees.sum() >= FEWEST and agrees.mean() >= LEAST_AGREEING)


def _tracked(one: Level, other: Level, shift: Shift) -> _Tracked:
    """Corners of the first patch, followed into the second."""
    cv2 = opencv()
    start = _corners(one, other, shift)
    pictures = [_eight_bits(each.values) for each in (one, other)]
    if not len(start):
        return _Tracked(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), np.empty(0))
    how = {
        "winSize": (WINDOW_PX, WINDOW_PX),
        "maxLevel": 2,
        "criteria": (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 0.003),
        "flags": cv2.OPTFLOW_USE_INITIAL_FLOW,
    }
    guess = (start + np.array([shift.right_px, shift.down_px])).astype(np.float32)
    begin = start.astype(np.float32)
    there, found, _ = cv2.calcOpticalFlowPyrLK(*pictures, begin, guess.copy(), **how)
    back, again, _ = cv2.calcOpticalFlowPyrLK(*pictures[::-1], there, begin.copy(), **how)
    rows, columns = one.values.shape
    inside = ((there >= 0) & (there <= (columns - 1, rows - 1))).all(axis=1)
    good = (found.ravel() > 0) & (again.ravel() > 0) & inside
    good &= np.linalg.norm(back - begin, axis=1) < BACK_PX
    begin, there = begin[good], there[good]
    score, u_px = _alike(_windows(one.values, begin), _windows(other.values, there))
    kept = score >= LEAST_ALIKE
    return _Tracked(begin[kept].astype(np.float64), there[kept].astype(np.float64), u_px[kept], score[kept])


def _eight_bits(values: Floats) -> NDArray[np.uint8]:
    return np.asarray(np.clip(values * CONTRAST_CODES + 128, 0, 255), dtype=np.uint8)


def _corners(one: Level, other: Level, shift: Shift) -> Array:
    """The best corners (n, 2) of each cell of a grid, where both pictures have something to see."""
    cv2 = opencv()
    strength = cv2.cornerMinEigenVal(one.values, 7)
    moved = np.array([[1, 0, -shift.right_px], [0, 1, -shift.down_px]], dtype=np.float32)
    rows, columns = strength.shape
    held = cv2.warpAffine(other.held.astype(np.uint8), moved, (columns, rows))
    room = cv2.erode(one.held.astype(np.uint8) & held, np.ones((WINDOW_PX, WINDOW_PX), np.uint8), borderValue=0)
    peaks = (strength == cv2.dilate(strength, np.ones((9, 9), np.uint8))) & (room > 0) & one.textured
    row, column = np.nonzero(peaks)
    if not len(row):
        return np.empty((0, 2))
    side = max(1.0, float(np.sqrt(room.sum() / CELLS)))
    cell = (row // side).astype(np.int64) * (columns + 1) + (column // side).astype(np.int64)
    order = np.lexsort((-strength[row, column], cell))
    sorted_cells = cell[order]
    begins = np.searchsorted(sorted_cells, sorted_cells)  # where each one's cell begins
    chosen = order[np.arange(len(order)) - begins < PER_CELL]
    return np.column_stack([column[chosen], row[chosen]]).astype(np.float64)


def _windows(values: Floats, places: Floats) -> Array:
    """The windows (n, WINDOW_PX, WINDOW_PX) about places (n, 2), less their means."""
    reach = np.arange(WINDOW_PX, dtype=np.float32) - WINDOW_PX // 2
    across = places[:, 0, None, None] + reach[None, None, :]
    down = places[:, 1, None, None] + reach[None, :, None]
    maps = np.stack(np.broadcast_arrays(across, down), axis=-1).reshape(-1, WINDOW_PX, 2)
    drawn = np.empty((len(maps), WINDOW_PX), dtype=np.float32)
    for begin in range(0, len(maps), MOST_ROWS):
        part = maps[begin : begin + MOST_ROWS]
        drawn[begin : begin + MOST_ROWS] = opencv().remap(
            values, part, None, opencv().INTER_LINEAR, borderMode=opencv().BORDER_REPLICATE
        )
    windows = drawn.reshape(-1, WINDOW_PX, WINDOW_PX).astype(np.float64)
    return np.asarray(windows - windows.mean(axis=(1, 2), keepdims=True))


def _alike(first: Array, second: Array) -> tuple[Array, Array]:
    """The correlations of windows (n, rows, columns) about the same points, and the uncertainty of the matches in pixels.

    The latter is that of least squares: the noise left between the windows over their slopes.
    """
    energy = (first**2).sum(axis=(1, 2)) * (second**2).sum(axis=(1, 2))
    score = (first * second).sum(axis=(1, 2)) / np.sqrt(np.maximum(energy, 1e-12))
    down, right = np.gradient(first, axis=(1, 2))
    noise = ((first - second) ** 2).mean(axis=(1, 2))
    across, upward, mixed = ((a * b).sum(axis=(1, 2)) for a, b in ((right, right), (down, down), (right, down)))
    # Half the trace of the inverse of [[across, mixed], [mixed, upward]].
    spread = (across + upward) / 2 / np.maximum(across * upward - mixed**2, 1e-12) * noise * CORRELATED_PX
    return np.where(energy > 0, score, 0.0), np.hypot(np.sqrt(spread), FLOOR_PX)


def _small_turns(first: Array, overlap: Overlap) -> Array:
    """How places (n, 2) on the plane move for a small turn about each of its axes: (n, 2, 3) in pixels per radian."""
    directions = overlap.directions(first)
    step = 1e-4
    moves = [
        (overlap.places(_unit(directions + step * np.cross(axis, directions))) - first) / step for axis in overlap.axes
    ]
    return np.stack(moves, axis=-1)


def _unit(directions: Array) -> Array:
    return np.asarray(directions / np.linalg.norm(directions, axis=1)[:, np.newaxis])


def _common_turn(tracked: _Tracked, overlap: Overlap) -> tuple[Array, NDArray[np.bool_]]:
    """The small turn (3,) about the plane's axes, in radians, that most points agree on, and which do (n,)."""
    count = len(tracked.first)
    if count < 3:
        return np.zeros(3), np.zeros(count, dtype=bool)
    moves, seen = _small_turns(tracked.first, overlap), tracked.second - tracked.first
    random = np.random.default_rng(count)
    pairs = random.integers(count, size=(TRIALS, 2))
    pairs = pairs[pairs[:, 0] != pairs[:, 1]]
    turns = np.linalg.pinv(moves[pairs].reshape(-1, 4, 3)) @ seen[pairs].reshape(-1, 4, 1)
    near = np.linalg.norm(seen - (moves @ turns[:, None])[..., 0], axis=2) < AGREE_PX
    best = near[np.argmax(near.sum(axis=1))] if len(near) else np.zeros(count, dtype=bool)
    turn = np.zeros(3)
    for _ in range(3):
        if best.sum() < 2:
            return np.zeros(3), np.zeros(count, dtype=bool)
        turn = np.linalg.lstsq(moves[best].reshape(-1, 3), seen[best].ravel(), rcond=None)[0]
        best = np.linalg.norm(seen - moves @ turn, axis=1) < AGREE_PX
    return np.asarray(turn, dtype=np.float64), np.asarray(best)


def _turned(other: Level, turn: Array, overlap: Overlap) -> Level:
    """The second patch, turned so that it lies on the first."""
    cv2 = opencv()

    def moved(places: Array) -> Array:
        directions = overlap.directions(places)
        return overlap.places(_unit(directions + np.cross(turn @ overlap.axes, directions)))

    maps = over_plane(overlap, moved)
    drawn = [
        cv2.remap(each, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        for each in (other.values, other.contrast, other.held.astype(np.uint8))
    ]
    return Level(drawn[0], drawn[1], drawn[2] > 0)


def _full_size(
    tracked: _Tracked, agrees: NDArray[np.bool_], views: tuple[FrameView, FrameView], overlap: Overlap
) -> Matches:
    """The points in pixels of both pictures; those that leave a picture are dropped."""
    places, finer = [], []
    for view, points in zip(views, (tracked.first, tracked.second), strict=True):
        places.append(_own_pixels(view, points, overlap))
        finer.append(np.linalg.norm(_own_pixels(view, points + np.array([1.0, 0.0]), overlap) - places[-1], axis=1))
    kept = views[0].shows(places[0]) & views[1].shows(places[1])
    kept &= np.isfinite(finer[1])
    u_px = tracked.u_px * finer[1]
    return Matches(places[0][kept], places[1][kept], u_px[kept], tracked.score[kept], agrees[kept])


def _own_pixels(view: FrameView, points: Array, overlap: Overlap) -> Array:
    return view.lens.pixels(overlap.directions(points) @ view.axes.T)
