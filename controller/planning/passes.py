"""Later passes: frames are shot again, so that people and cars who walked through can be left out afterwards.

A repeat is a frame of its own, with the pose of the frame of the first pass that it repeats. Its number counts on from
theirs. So sessions and files of pictures need to know nothing of passes. Whatever counts poses (the proof, the links,
pictures of the sphere) counts the first pass alone, since a repeat adds no pose.
"""

import math
from collections.abc import Collection, Iterator, Sequence

from controller.errors import InputError
from controller.planning.motion import HeadMotion
from controller.planning.order import Order, moving_seconds, route
from controller.planning.plan import Frame, Plan
from controller.planning.row_poses import Pose
from controller.planning.size import MOST_FRAMES

LEAST_APART = 0.5  # share of a pass between a frame and its repeat. Our own choice: people need time to walk on


def to_repeat(first: Sequence[Frame], passes: int, within_deg: float | None) -> list[Frame]:
    """The frames of the first pass that later passes shoot again: all but those by hand, or those near the horizon.

    `within_deg` is the most that their pitch may be from it; None for all. Raises InputError if it selects none or has no
    effect, or if all passes together have too many frames.
    """
    if passes == 1:
        if within_deg is not None:
            raise InputError("--passes-within has no effect with one pass. Write --passes 2 or more, or leave it out.")
        return []
    by_head = [frame for frame in first if not frame.by_hand]
    chosen = [frame for frame in by_head if within_deg is None or abs(frame.pitch_deg) <= within_deg]
    if not chosen:
        nearest = math.ceil(10 * min(abs(frame.pitch_deg) for frame in by_head)) / 10
        raise InputError(
            f"No frame is within {within_deg:g} degrees of the horizon. Write --passes-within {nearest:g} or more, "
            "or leave it out to shoot all frames again."
        )
    count = len(first) + (passes - 1) * len(chosen)
    if count > MOST_FRAMES:
        raise InputError(
            f"{passes} passes would have {count} frames; at most {MOST_FRAMES} can be planned at once. Plan fewer "
            "passes, or shoot only frames near the horizon again (--passes-within)."
        )
    return chosen


def with_passes(
    first: Sequence[Frame], chosen: Collection[int], passes: int, order: Order | None, mover: HeadMotion
) -> tuple[Frame, ...]:
    """The frames of the first pass, and after them those `chosen` by id, pass after pass, in this order.

    Without an `order` they keep that of the first pass.
    """
    again = [frame for frame in first if frame.id in chosen]
    if order is not None and len(again) > 1:
        again = _best_way(again, [frame for frame in first if not frame.by_hand], order, mover)
    frames, number = list(first), max(frame.id for frame in first)
    for pass_number in range(2, passes + 1):
        for frame in again:
            number += 1
            frames.append(frame.model_copy(update={"id": number, "repeats": frame.id, "pass_number": pass_number}))
    return tuple(frames)


def _best_way(again: list[Frame], before: list[Frame], order: Order, mover: HeadMotion) -> list[Frame]:
    """The quickest way through the frames of a pass, the way from the pass before included, that leaves time.

    The head ends a pass at one frame. If the next pass began there, its first repeats would show the same people. The
    order of the first pass always leaves enough time.
    """
    of_pose = {Pose(frame.row, frame.yaw_deg, frame.pitch_deg): frame for frame in again}
    own = [of_pose[pose] for pose in route(list(of_pose), order, mover)]
    ways = [again, own, own[::-1]]
    least = LEAST_APART * (len(again) - 1)
    ways = [way for way in ways if min(_between(before, way)) >= least and min(_between(way, way)) >= least]
    start_deg = before[-1].yaw_deg, before[-1].pitch_deg
    return min(ways, key=lambda way: moving_seconds(_poses(way), mover, start_deg))


def _between(before: Sequence[Frame], way: Sequence[Frame]) -> Iterator[int]:
    """For each frame of a way, how many other frames are shot since it was shot on the way before."""
    place = {frame.id: number for number, frame in enumerate(before)}
    return (len(before) - 1 - place[frame.id] + number for number, frame in enumerate(way))


def _poses(frames: Sequence[Frame]) -> list[Pose]:
    return [Pose(frame.row, frame.yaw_deg, frame.pitch_deg) for frame in frames]


def repeats_among(plan: Plan, missing: Collection[int]) -> tuple[int, ...]:
    """The frames among the `missing` whose pose was shot in another pass: without them there is no hole."""
    return tuple(sorted(set(missing) - poses_among(plan, missing).keys()))


def poses_among(plan: Plan, missing: Collection[int]) -> dict[int, int]:
    """The frames among the `missing` whose pose was shot in no pass, each with the frame of the first pass.

    A pose counts as shot only if one pass of it is complete: exposures of two passes show different people.
    """
    poses = {frame.id: frame.first_id for frame in plan.frames}
    shot = {pose for frame, pose in poses.items() if frame not in missing}
    return {frame: pose for frame, pose in poses.items() if frame in missing and pose not in shot}
