"""What a set costs in time, storage and energy."""

import math
from collections.abc import Sequence

import numpy as np

from controller.kit.kit import Kit
from controller.optics.field import Field
from controller.optics.projection import LAWS
from controller.planning.directions import Array
from controller.planning.links import Links
from controller.planning.motion import HeadMotion
from controller.planning.order import Order, arrange
from controller.planning.passes import with_passes
from controller.planning.plan import Budget, Frame, OrderCost, Region
from controller.planning.row_poses import Pose
from controller.program.build import build_program, step_ends_ns
from controller.program.program import ExposeStep, MoveStep, Program


def cost(
    kit: Kit, field: Field, region: Region, frames: Sequence[Frame], links: Links, order: Order, mover: HeadMotion
) -> Budget:
    """What shooting `frames` with `kit` costs in this order, and in the other orders.

    `links` uses the same frame numbers as `frames`, of which it has those of the first pass.
    """
    program = build_program(kit, frames)
    moves = [step for step in program.steps if isinstance(step, MoveStep)]
    exposures = program.exposures
    seconds = program.expected_ns / 1e9
    moving = (sum(step.expected_ns for step in moves) + program.reference_expected_ns) / 1e9
    settling = sum(step.settle_ns for step in moves) / 1e9
    plain = build_program(kit.with_board(shapes_ramps=False), frames) if kit.board.shapes_ramps else program
    exposing = sum(step.expected_ns for step in exposures) / 1e9
    orders = {order: OrderCost(seconds=round(seconds, 3), neighbours_apart_seconds=_apart(program, links))}
    for other in Order:
        if other is not order:
            orders[other] = _cost_of_order(kit, frames, links, other, mover)
    wide, high = picture_pixels(field, region)
    return Budget(
        frames=len(frames),
        exposures=len(exposures),
        seconds=round(seconds, 3),
        moving_seconds=round(moving, 3),
        settling_seconds=round(settling, 3),
        exposing_seconds=round(exposing, 3),
        waiting_seconds=round(max(0.0, seconds - moving - settling - exposing), 3),
        unshaped_seconds=round(plain.expected_ns / 1e9, 3),
        repeats_apart_seconds=_repeats_apart(program, frames),
        megabytes=round(len(exposures) * kit.file_megabytes(), 1),
        watt_hours=round(kit.power.watts * seconds / 3600, 2),
        picture_pixels_wide=wide,
        picture_pixels_high=high,
        orders=orders,
    )


def _cost_of_order(kit: Kit, frames: Sequence[Frame], links: Links, order: Order, mover: HeadMotion) -> OrderCost:
    first = [frame for frame in frames if frame.repeats is None]
    again = {frame.repeats for frame in frames if frame.repeats is not None}
    poses = [Pose(frame.row, frame.yaw_deg, frame.pitch_deg, frame.by_hand) for frame in first]
    number = {(pose.row, round(pose.yaw_deg, 9), pose.pitch_deg): i for i, pose in enumerate(poses)}
    arranged = arrange(poses, order, mover)
    # A single frame at a pole may have been turned with the head. Its row alone then identifies it.
    by_row = {pose.row: i for i, pose in enumerate(poses)}
    numbers = [number.get((p.row, round(p.yaw_deg, 9), p.pitch_deg), by_row[p.row]) for p in arranged]
    program = build_program(kit, with_passes(numbered(arranged, numbers), again, frames[-1].pass_number, order, mover))
    return OrderCost(seconds=round(program.expected_ns / 1e9, 3), neighbours_apart_seconds=_apart(program, links))


def numbered(poses: Sequence[Pose], numbers: Sequence[int] | None = None) -> tuple[Frame, ...]:
    """Frames at these poses, with these numbers; without any they are counted from 0."""
    return tuple(
        Frame(id=number, row=pose.row, yaw_deg=pose.yaw_deg, pitch_deg=pose.pitch_deg, by_hand=pose.by_hand)
        for number, pose in zip(range(len(poses)) if numbers is None else numbers, poses, strict=True)
    )


def _apart(program: Program, links: Links) -> float:
    """The longest time from the start of a frame to the end of a frame that overlaps it, seconds.

    It is read from the run's own timetable, so it cannot exceed the run.
    """
    if len(links.pairs) == 0:
        return 0.0
    first, last = _frame_times_ns(program)
    a, b = links.pairs.T
    return round(float(np.maximum(last[b] - first[a], last[a] - first[b]).max()) / 1e9, 3)


def _repeats_apart(program: Program, frames: Sequence[Frame]) -> float | None:
    """The shortest time from the end of a frame to the start of its next repeat, seconds; None without any."""
    first, last = _frame_times_ns(program)
    latest: dict[int, int] = {}
    apart_ns = []
    for frame in frames:
        if frame.first_id in latest:
            apart_ns.append(first[frame.id] - last[latest[frame.first_id]])
        latest[frame.first_id] = frame.id
    return round(float(min(apart_ns)) / 1e9, 3) if apart_ns else None


def _frame_times_ns(program: Program) -> tuple[Array, Array]:
    """When the first exposure of each frame begins and its last one ends, by the frame's number."""
    count = max(frame.id for frame in program.frames) + 1
    first, last = np.full(count, np.inf), np.zeros(count)
    for step, end_ns in zip(program.steps, step_ends_ns(program.steps, program.kit.board.baud), strict=True):
        if isinstance(step, ExposeStep):
            first[step.frame] = min(first[step.frame], end_ns - step.expected_ns)
            last[step.frame] = end_ns
    return first, last


def picture_pixels(field: Field, region: Region) -> tuple[int, int]:
    """Width and height of the stitched picture in pixels, unrolled, at the resolution of the frames' centres."""
    per_degree = pixels_per_degree(field)
    high = region.pitch_to_deg - region.pitch_from_deg
    return math.ceil(region.yaw_width_deg * per_degree), math.ceil(high * per_degree)


def pixels_per_degree(field: Field) -> float:
    """Pixels per degree at the picture's centre, where all five projections agree: r'(0) = 1."""
    small = 1e-6
    slope = LAWS[field.projection].radius(small) / small
    return field.focal_length_mm * slope * math.radians(1) / (field.width_mm / field.pixels_across)
