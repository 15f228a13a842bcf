"""What a lean of the head means for a plan: the pitches it still reaches, the poles, and the overlap that is left."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from controller.kit.kit import Head, Kit
from controller.optics.field import Field, Sides
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.reached_poses import Poses, frame_pose, poses_of
from controller.planning.region import Bounds
from controller.planning.row_poses import Pose
from controller.program.kinematics import axes_for
from controller.program.program import Aim

OVERLAP_STEP = 0.001
SHARES_OF_LEAN = (0.0, 0.3, 0.6, 1.0, 2.0)
WORTH_SAYING_DEG = 0.5  # a refusal names a frame that misses its direction by at least this


def pitch_limits_deg(head: Head) -> tuple[float, float]:
    """The lowest and highest pitch, degrees, that the camera reaches at every yaw.

    On one side of a head that leans, a limit short of the pole allows less pitch.
    """
    low, high = head.tilt.min_deg, head.tilt.max_deg
    return (
        -90.0 if low <= -90 else low + head.lean_deg,
        90.0 if high >= 90 else high - head.lean_deg,
    )


def drawn_in_deg(head: Head) -> tuple[float, ...]:
    """Angles, degrees, by which to shrink the core, in the order to try, if a limit of the tilt restricts the region.

    The last row before a limit cannot move nearer to it. The more it rolls, the less it covers.
    """
    ends_early = head.tilt.min_deg > -90 or head.tilt.max_deg < 90
    return tuple(share * head.lean_deg for share in SHARES_OF_LEAN) if head.lean_deg and ends_early else (0.0,)


def with_smaller_core(field: Field, margin_deg: float) -> Field:
    """The field with every edge of its core moved in by an angle, but not past the axis."""
    if margin_deg == 0:
        return field
    core, less = field.core, float(np.radians(margin_deg))
    sides = (max(side - less, side / 10) for side in (core.right, core.left, core.top, core.bottom))
    circle_rad = None if field.circle_rad is None else max(field.circle_rad - less, field.circle_rad / 10)
    return replace(field, core=Sides(*sides), circle_rad=circle_rad)


def yaw_in_reach(head: Head, yaw_deg: float, pitch_deg: float) -> float:
    """The same yaw as near to zero as the pan's limits allow, so the cables wind up by half a turn at most."""
    pan = head.pan
    ways = sorted((yaw_deg + turn for turn in (0.0, -360.0, 360.0)), key=lambda way: (abs(way), -way))
    return next((way for way in ways if pan.min_deg <= axes_for(head, way, pitch_deg)[0] <= pan.max_deg), yaw_deg)


def with_reachable_poles(head: Head, poses: Sequence[Pose]) -> list[Pose]:
    """The poses; a frame at a pole that is a row of its own gets the yaw at which the head can reach the pole.

    Through two axes a leaning head sees straight up or down only toward the side it leans to, or the opposite one.
    """
    if head.lean_deg == 0:
        return list(poses)
    rows = [pose.row for pose in poses]
    return [
        _pole_met(head, pose) if abs(pose.pitch_deg) == 90 and not pose.by_hand and rows.count(pose.row) == 1 else pose
        for pose in poses
    ]


def _pole_met(head: Head, pose: Pose) -> Pose:
    sides = (head.lean_toward_deg + half * 180 for half in range(-4, 5))
    ways = [replace(pose, yaw_deg=round(side, 6)) for side in sides if head.pan.min_deg <= side <= head.pan.max_deg]
    return min([*ways, pose], key=lambda way: (round(off_pole_deg(head, way), 6), abs(way.yaw_deg)))


def off_pole_deg(head: Head, frame: Aim) -> float:
    """The angle, degrees, between the camera's axis and the pole that the frame is aimed at."""
    return 90 - abs(frame_pose(head, frame).pitch_deg)


def overlap_left(kit: Kit, overlap: float, poses: Poses, bounds: Bounds) -> float:
    """The largest share of the picture, up to `overlap`, with which frames at these poses still cover; -1 if none."""

    def covers(share: float) -> bool:
        return prove_coverage(cores_at(kit.field(share), *poses), bounds).covered

    if not covers(0.0):
        return -1.0
    low, high = 0.0, overlap
    while high - low > OVERLAP_STEP:
        middle = (low + high) / 2
        low, high = (middle, high) if covers(middle) else (low, middle)
    return low


def refusal(kit: Kit, overlap: float, frames: Sequence[Aim], bounds: Bounds) -> str:
    """One sentence: how far a head that leans falls short of the requested coverage."""
    head = kit.head
    left = overlap_left(kit, overlap, poses_of(head, frames), bounds)
    has = "leave a gap" if left < 0 else f"share {int(left * 1000) / 1000:.3f} of a picture, not {overlap:.2f}"
    text = f"the head leans by {head.lean_deg:.2f}°, and the poses that it reaches {has}"
    poles = [(off_pole_deg(head, frame), frame.pitch_deg) for frame in frames if abs(frame.pitch_deg) == 90]
    off_deg, pitch_deg = max(poles, default=(0.0, 0.0))
    if off_deg >= WORTH_SAYING_DEG:
        text += f" (the frame at the {'zenith' if pitch_deg > 0 else 'nadir'} is {off_deg:.1f}° off)"
    return text
