"""The poses of a plan, in rows or free, proved as the head really reaches them."""

from dataclasses import replace

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Head
from controller.optics.field import Field
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.directions import Array
from controller.planning.effort import Effort
from controller.planning.fewest import Search
from controller.planning.leaning import (
    drawn_in_deg,
    pitch_limits_deg,
    with_reachable_poles,
    with_smaller_core,
    yaw_in_reach,
)
from controller.planning.reach import reachable, single_row
from controller.planning.reached_poses import levelled_poses, poses_of
from controller.planning.region import Bounds
from controller.planning.request import Arrangement, RegionKind, Request
from controller.planning.row_poses import Pose, poses_of_rows
from controller.planning.rows import SMALLEST_MARGIN_RAD, Task, fewest_rows

# How often rows are searched again with more margin. For a head that leans, each round adds this share of the missing
# margin, and at least the minimum.
LEVEL_ROUNDS, LEANING_ROUNDS = 8, 24
MORE_OF_LACK, LEAST_MORE_DEG = 0.25, 0.02
SHARES_OF_EFFORT = (0.4, 0.3, 0.3)  # of the search for fewer frames, for a head that leans


def find_poses(head: Head, field: Field, request: Request, effort: Effort) -> tuple[Bounds, float, list[Pose]]:
    """The reachable region, the requested part beyond it (steradians), and poses as this head reaches them.

    Poses shot by hand come last. Raises InputError if nothing can be reached or a core is too small for the region.
    """
    if request.region is RegionKind.SINGLE_ROW:
        bounds, row = single_row(field, head, request.row_pitch_deg)
        task = Task(field, bounds, request.row_pitch_deg, request.row_pitch_deg)
        # For a head that leans, this row is proved already. For a level one, the fewest frames may be too few.
        poses = _proved_rows(task, head) if head.lean_deg == 0 else _turned(head, poses_of_rows([row], task))
        return bounds, 0.0, poses
    by_hand = [Pose(10_000, 0.0, -90.0, by_hand=True)] if request.nadir_by_hand else []
    for less_deg in drawn_in_deg(head):
        reach_field = with_smaller_core(field, less_deg)
        bounds, left_sr = reachable(reach_field, head, request.bounds(), nadir_by_hand=request.nadir_by_hand)
        task = Task(field, _without_nadir(field, bounds, by_hand), *pitch_limits_deg(head))
        poses = _proved_rows(task, head)
        if prove_coverage(cores_at(field, *poses_of(head, poses)), task.bounds).covered:
            break
    if request.arrangement is Arrangement.FEWEST:
        poses = _fewer(task, poses, head, request, effort)
    last_row = max(pose.row for pose in poses)
    return bounds, left_sr, poses + [replace(pose, row=last_row + 1) for pose in by_hand]


def _turned(head: Head, poses: list[Pose]) -> list[Pose]:
    """The same poses, in the way this head reaches them best."""
    near = [replace(pose, yaw_deg=yaw_in_reach(head, pose.yaw_deg, pose.pitch_deg)) for pose in poses]
    return with_reachable_poles(head, near)


def _proved_rows(task: Task, head: Head) -> list[Pose]:
    """Poses of the fewest rows that cover the region as the head really reaches them.

    If the proof fails (a gap between the sampled meridians, or the head leans), it searches again with more margin. If
    that does not help, it returns the rows as they are, and the plan does not cover.
    """
    margin_rad = SMALLEST_MARGIN_RAD
    poses: list[Pose] = []
    for _ in range(LEVEL_ROUNDS if head.lean_deg == 0 else LEANING_ROUNDS):
        try:
            poses = _turned(head, poses_of_rows(fewest_rows(task, margin_rad), task))
        except InputError:
            if poses:  # the margin leaves no core
                break
            raise
        proof = prove_coverage(cores_at(task.field, *poses_of(head, poses)), task.bounds)
        if proof.covered:
            break
        if head.lean_deg == 0:
            margin_rad = 3 * margin_rad + float(np.radians(0.01))
        else:  # more frames than a level head needs, or the same rows again
            level = prove_coverage(cores_at(task.field, *levelled_poses(poses)), task.bounds).worst_margin_deg
            more_deg = max(MORE_OF_LACK * -proof.worst_margin_deg, LEAST_MORE_DEG)
            margin_rad = max(margin_rad, float(np.radians(level))) + float(np.radians(more_deg))
    return poses


def _fewer(task: Task, rows: list[Pose], head: Head, request: Request, effort: Effort) -> list[Pose]:
    """Fewer free poses than the rows need, proved as the head reaches them; otherwise the rows.

    The search assumes a level head. For one that leans it gets smaller cores, and smaller ones again if its result does
    not cover as reached.
    """
    pan = head.pan
    limits_deg = None if pan.max_deg - pan.min_deg >= 360 else (pan.min_deg, pan.max_deg)
    best, margin_deg = rows, 0.0
    for share in (1.0,) if head.lean_deg == 0 else SHARES_OF_EFFORT:
        aims = np.stack(levelled_poses(best)[:2], axis=1)
        narrow = replace(task, field=with_smaller_core(task.field, margin_deg))
        with effort.part(share):
            found = Search(narrow, effort, request.seed, limits_deg).run(aims)
        if len(found) >= len(aims):
            break
        poses = _turned(head, _free(found))
        proof = prove_coverage(cores_at(task.field, *poses_of(head, poses)), task.bounds)
        if proof.covered or head.lean_deg == 0:
            best = poses
        else:
            margin_deg += max(-proof.worst_margin_deg, LEAST_MORE_DEG)
    return best


def _without_nadir(field: Field, bounds: Bounds, by_hand: list[Pose]) -> Bounds:
    """The region for the head if the nadir is shot by hand: down to the latitude which that frame's core certainly
    covers.
    """
    if not by_hand:
        return bounds
    core = field.core
    radius_deg = float(np.degrees(min(core.right, core.left, core.top, core.bottom)))
    return replace(bounds, pitch_from_deg=max(bounds.pitch_from_deg, -90 + 0.95 * radius_deg))


def _free(aims_deg: Array) -> list[Pose]:
    """Poses that belong to no row. For tables and orders they are numbered from the top by pitch, in steps of ten
    degrees.
    """
    steps = np.round((90 - aims_deg[:, 1]) / 10).astype(int)
    numbers = {int(step): number for number, step in enumerate(sorted(set(steps.tolist())))}
    return [
        Pose(numbers[int(step)], round(float(yaw), 6) + 0.0, round(float(pitch), 6) + 0.0)
        for step, (yaw, pitch) in zip(steps, aims_deg, strict=True)
    ]
