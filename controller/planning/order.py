"""The order of shooting, by what each move costs: both axes turn together, the slower one decides, and the camera swings.

The head starts at zero and need not return. All poses are within one turn, and the head stays within it, so the cables
never wind up. If gear play is always taken up from one side, a move to the left or downward overshoots a little and comes
back. The cost of a move then depends on its direction.
"""

from collections.abc import Callable, Sequence
from enum import StrEnum
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from controller.planning.directions import Array
from controller.planning.motion import HeadMotion
from controller.planning.row_poses import Pose

# Tours of more frames than this are compared but not improved: snakes that long are within a per cent anyway.
IMPROVED_AT_MOST = 1500


class Order(StrEnum):
    """What the order minimises or keeps together."""

    QUICKEST = "quickest"
    """Least time moving and waiting."""
    ROWS = "rows"
    """Neighbours in a row follow each other."""
    COLUMNS = "columns"
    """Frames of a column follow each other."""


def arrange(poses: Sequence[Pose], order: Order, mover: HeadMotion) -> list[Pose]:
    """The poses in shooting order; those shot by hand come last."""
    by_head = [pose for pose in poses if not pose.by_hand]
    by_hand = [pose for pose in poses if pose.by_hand]
    return _at_poles(route(by_head, order, mover)) + by_hand


def route(poses: Sequence[Pose], order: Order, mover: HeadMotion) -> list[Pose]:
    """The same poses in this order, from zero."""
    ways: dict[Order, Callable[[], list[Pose]]] = {
        Order.ROWS: lambda: snake_of_rows(poses),
        Order.COLUMNS: lambda: _snake_of_columns(poses),
        Order.QUICKEST: lambda: _quickest(poses, mover),
    }
    return ways[order]()


def _at_poles(poses: list[Pose]) -> list[Pose]:
    """Frames straight up or down that are a row of their own get the yaw of the frame before."""
    turned, yaw_deg = [], 0.0
    alone = {row for row in {pose.row for pose in poses} if sum(pose.row == row for pose in poses) == 1}
    for pose in poses:
        if abs(pose.pitch_deg) == 90 and pose.row in alone:
            turned.append(Pose(pose.row, yaw_deg, pose.pitch_deg))
        else:
            turned.append(pose)
            yaw_deg = pose.yaw_deg
    return turned


def snake_of_rows(poses: Sequence[Pose]) -> list[Pose]:
    """Top row first; each row begins at the end where the row before stopped."""
    return _snake(sorted(poses, key=lambda pose: pose.row), lambda pose: pose.row, lambda pose: pose.yaw_deg)


def _snake_of_columns(poses: Sequence[Pose]) -> list[Pose]:
    """Sectors of yaw from left to right, each as wide as the step of the longest row."""
    rows = [sorted(pose.yaw_deg for pose in poses if pose.row == row) for row in {pose.row for pose in poses}]
    longest = max(rows, key=len)
    step = (longest[1] - longest[0] if len(longest) > 1 else 0.0) or 360.0
    left = min(pose.yaw_deg for pose in poses) - step / 2

    def sector(pose: Pose) -> float:
        return float((pose.yaw_deg - left) // step)

    return _snake(sorted(poses, key=sector), sector, lambda pose: (pose.pitch_deg, pose.yaw_deg))


def _snake(poses: Sequence[Pose], line: Callable[[Pose], float], along: Callable[[Pose], object]) -> list[Pose]:
    found: list[Pose] = []
    forward = True
    for _, group in groupby(poses, key=line):
        frames = sorted(group, key=along, reverse=not forward)  # type: ignore[arg-type]
        found += frames
        if len(frames) > 1:
            forward = not forward
    return found


def _quickest(poses: Sequence[Pose], mover: HeadMotion) -> list[Pose]:
    """The better of the two snakes, improved as long as that helps."""
    candidates = [snake_of_rows(poses), _snake_of_columns(poses), snake_of_rows(poses)[::-1]]
    if len(poses) > IMPROVED_AT_MOST:
        return min(candidates, key=lambda way: moving_seconds(way, mover))
    improved = [_improve(way, mover) for way in candidates]
    return min(improved, key=lambda way: moving_seconds(way, mover))


def moving_seconds(poses: Sequence[Pose], mover: HeadMotion, start_deg: tuple[float, float] = (0.0, 0.0)) -> float:
    """Time moving and waiting for poses in this order, starting from this yaw and pitch, seconds."""
    return float(_legs(_aims(poses, start_deg), mover).sum())


def _aims(poses: Sequence[Pose], start_deg: tuple[float, float] = (0.0, 0.0)) -> Array:
    """The start followed by the poses: yaw and pitch in degrees, shape (n + 1, 2)."""
    return np.array([start_deg, *((pose.yaw_deg, pose.pitch_deg) for pose in poses)])


def _legs(aims: Array, mover: HeadMotion) -> Array:
    return mover.seconds(aims[:-1], aims[1:])


def _improve(poses: list[Pose], mover: HeadMotion) -> list[Pose]:
    """Reverse stretches (2-opt) and move short ones elsewhere (Or-opt) until neither shortens the tour.

    G. Croes, Operations Research 6:791, 1958; I. Or, thesis, Northwestern University 1976.
    """
    aims = _aims(poses)
    cost = mover.seconds(aims[:, None], aims[None, :])
    way = np.arange(len(aims))
    shortened = True
    while shortened:
        shortened = _turn_stretches(way, cost)
        shortened = _move_stretches(way, cost) or shortened
    return [poses[i - 1] for i in way[1:]]


def _turn_stretches(way: NDArray[np.intp], cost: Array) -> bool:
    """Reverse way[i..j] wherever that is shorter. Returns whether anything changed."""
    found, count = False, len(way)
    i = 1
    while i < count - 1:
        ahead = np.concatenate([[0.0], np.cumsum(cost[way[i:-1], way[i + 1 :]])])
        back = np.concatenate([[0.0], np.cumsum(cost[way[i + 1 :], way[i:-1]])])
        leave = np.append(cost[way[i:-1], way[i + 1 :]], 0.0)  # from the end of the stretch to the next pose
        enter = np.append(cost[way[i], way[i + 1 :]], 0.0)  # from its beginning to the next pose, once reversed
        gain = cost[way[i - 1], way[i]] + ahead + leave - cost[way[i - 1], way[i:]] - back - enter
        j = int(gain.argmax())
        if gain[j] > 1e-9:
            way[i : i + j + 1] = way[i : i + j + 1][::-1].copy()
            found = True
        else:
            i += 1
    return found


def _move_stretches(way: NDArray[np.intp], cost: Array) -> bool:
    """Move stretches of one to three poses to a better position, reversed if better. Returns whether any moved."""
    found, count = False, len(way)
    for length in (1, 2, 3):
        i = 1
        while i + length <= count:
            stretch, rest = way[i : i + length].copy(), np.concatenate([way[:i], way[i + length :]])
            last = i + length == count
            freed = cost[way[i - 1], stretch[0]]
            if not last:
                freed += cost[stretch[-1], way[i + length]] - cost[way[i - 1], way[i + length]]
            best, place, turned = 1e-9, -1, False
            for flip in (False, True) if length > 1 else (False,):
                piece = stretch[::-1] if flip else stretch
                inside = cost[stretch[:-1], stretch[1:]].sum() - cost[piece[:-1], piece[1:]].sum()
                after = np.append(rest[1:], -1)
                join = cost[rest, piece[0]] + np.where(after >= 0, cost[piece[-1], after] - cost[rest, after], 0.0)
                gain = freed + inside - join
                k = int(gain.argmax())
                if gain[k] > best:
                    best, place, turned = float(gain[k]), k, flip
            if place >= 0:
                piece = stretch[::-1] if turned else stretch
                way[:] = np.concatenate([rest[: place + 1], piece, rest[place + 1 :]])
                found = True
            else:
                i += 1
    return found
