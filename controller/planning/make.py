"""From a kit and a request to a plan: field, region, poses, order, proof, links, budget."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Axis, Kit
from controller.optics.field import Field
from controller.planning.budget import cost, mover_of
from controller.planning.cores import cores_at, pictures_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.directions import Array
from controller.planning.effort import Effort
from controller.planning.fewest import Search
from controller.planning.links import Links, find_links
from controller.planning.order import arrange
from controller.planning.plan import Frame, LinkRecord, Optics, Place, Plan, ProofRecord, Region, SunRecord
from controller.planning.pose import Pose, poses_of_rows
from controller.planning.reach import reachable, single_row
from controller.planning.region import Bounds
from controller.planning.request import Arrangement, RegionKind, Request
from controller.planning.rows import SMALLEST_MARGIN_RAD, Task, fewest_rows
from controller.planning.sun import frames_with_sun, sun_at
from controller.program.build import build_program


def make_plan(kit: Kit, overlap: float, request: Request | None = None, effort: Effort | None = None) -> Plan:
    """The frames that `request` asks for (default: the full sphere in rows), proved, linked and costed.

    `overlap` is the share of the picture (0 to 0.9) that neighbours have in common at least. `effort` limits the
    search for fewer frames (default: the seconds of `request`). Raises InputError for what cannot be planned.
    """
    if not 0 <= overlap <= 0.9:
        raise InputError(f"an overlap of {overlap:g} cannot be planned: it should lie between 0 and 0.9.")
    request = request or Request()
    field = kit.field(overlap)
    if request.region is RegionKind.SINGLE_ROW:
        bounds, unreachable_sr = single_row(field, kit.head, request.row_pitch_deg), 0.0
    else:
        bounds, unreachable_sr = reachable(field, kit.head, request.bounds(), nadir_by_hand=request.nadir_by_hand)
    region = Region(
        kind=request.region,
        pitch_from_deg=bounds.pitch_from_deg,
        pitch_to_deg=bounds.pitch_to_deg,
        yaw_from_deg=bounds.yaw_from_deg,
        yaw_width_deg=bounds.yaw_width_deg,
        unreachable_sr=round(unreachable_sr, 6),
    )
    poses = _poses(kit, field, bounds, request, effort or Effort(request.effort_s))
    frames = _in_order(kit, field, poses, request)
    yaw, pitch = _aims(frames)
    proof = prove_coverage(cores_at(field, yaw, pitch), bounds)
    links = find_links(field, yaw, pitch)
    return Plan(
        overlap=overlap,
        region=region,
        arrangement=request.arrangement,
        order=request.order,
        kit=kit,
        optics=_optics(field),
        frames=frames,
        proof=_proof_record(kit, proof),
        links=_link_record(links),
        budget=cost(kit, field, region, frames, links, request.order),
        sun=_sun_record(kit, field, frames, request),
    ).sealed()


def _poses(kit: Kit, field: Field, bounds: Bounds, request: Request, effort: Effort) -> list[Pose]:
    by_hand = []
    if request.nadir_by_hand:
        by_hand = [Pose(10_000, 0.0, -90.0, by_hand=True)]
    tilt = kit.head.tilt
    task = Task(field, _without_nadir(field, bounds, by_hand), max(-90.0, tilt.min_deg), min(90.0, tilt.max_deg))
    if request.region is RegionKind.SINGLE_ROW:
        task = replace(task, lowest_deg=request.row_pitch_deg, highest_deg=request.row_pitch_deg)
    poses = _proved_rows(task)
    if request.arrangement is Arrangement.FEWEST and request.region is not RegionKind.SINGLE_ROW:
        aims = np.array([(pose.yaw_deg, pose.pitch_deg) for pose in poses])
        pan = kit.head.pan
        yaw_limits_deg = None if pan.max_deg - pan.min_deg >= 360 else (pan.min_deg, pan.max_deg)
        found = Search(task, effort, request.seed, yaw_limits_deg).run(aims)
        if len(found) < len(aims):
            poses = _free(found)
    poses = [replace(pose, yaw_deg=_in_reach(pose.yaw_deg, kit.head.pan)) for pose in poses]
    last_row = max(pose.row for pose in poses)
    return poses + [replace(pose, row=last_row + 1) for pose in by_hand]


def _in_reach(yaw_deg: float, pan: Axis) -> float:
    """The same yaw as near to zero as the head's limits allow, so that the cables are wound by half a turn at most."""
    ways = sorted((yaw_deg + turn for turn in (0.0, -360.0, 360.0)), key=lambda way: (abs(way), -way))
    return next((way for way in ways if pan.min_deg <= way <= pan.max_deg), yaw_deg)


def _proved_rows(task: Task) -> list[Pose]:
    """Poses of the fewest rows.

    Where meridians missed what lies between them, and the proof does not pass: with more margin; where that does
    not help, as they are, and the plan says that it does not cover.
    """
    margin_rad = SMALLEST_MARGIN_RAD
    for _ in range(8):
        poses = poses_of_rows(fewest_rows(task, margin_rad), task)
        aims = np.array([(pose.yaw_deg, pose.pitch_deg) for pose in poses])
        if prove_coverage(cores_at(task.field, *aims.T), task.bounds).covered:
            break
        margin_rad = 3 * margin_rad + float(np.radians(0.01))
    return poses


def _without_nadir(field: Field, bounds: Bounds, by_hand: list[Pose]) -> Bounds:
    """What the head must cover when the nadir is taken by hand: down to where that frame's core surely reaches."""
    if not by_hand:
        return bounds
    radius_deg = float(np.degrees(min(field.core_half_width_rad, field.core_half_height_rad)))
    return replace(bounds, pitch_from_deg=max(bounds.pitch_from_deg, -90 + 0.95 * radius_deg))


def _free(aims_deg: Array) -> list[Pose]:
    """Poses of no row, numbered from the top by pitch in steps of ten degrees, for tables and orders."""
    steps = np.round((90 - aims_deg[:, 1]) / 10).astype(int)
    numbers = {int(step): number for number, step in enumerate(sorted(set(steps.tolist())))}
    return [
        Pose(numbers[int(step)], round(float(yaw), 6) + 0.0, round(float(pitch), 6) + 0.0)
        for step, (yaw, pitch) in zip(steps, aims_deg, strict=True)
    ]


def _in_order(kit: Kit, field: Field, poses: list[Pose], request: Request) -> tuple[Frame, ...]:
    """Frames numbered in shooting order; frames that see the sun first or last where that is asked for."""
    mover = mover_of(kit)
    ordered = arrange(poses, request.order, mover)
    watch = request.sun
    if watch is not None and watch.when != "any":
        seconds = build_program(kit, _numbered(ordered)).expected_ns / 1e9
        yaw, pitch = _aims(_numbered(ordered))
        sunny = set(
            frames_with_sun(
                pictures_at(field, yaw, pitch),
                watch.latitude_deg,
                watch.longitude_deg,
                watch.start,
                seconds,
                watch.north_yaw_deg,
            )
        )
        with_sun = arrange([p for i, p in enumerate(ordered) if i in sunny], request.order, mover) if sunny else []
        without = [p for i, p in enumerate(ordered) if i not in sunny]
        ordered = with_sun + without if watch.when == "first" else without + with_sun
    return _numbered(ordered)


def _numbered(poses: list[Pose]) -> tuple[Frame, ...]:
    return tuple(
        Frame(id=i, row=pose.row, yaw_deg=pose.yaw_deg, pitch_deg=pose.pitch_deg, by_hand=pose.by_hand)
        for i, pose in enumerate(poses)
    )


def _aims(frames: tuple[Frame, ...]) -> tuple[Array, Array]:
    return np.array([f.yaw_deg for f in frames]), np.array([f.pitch_deg for f in frames])


def _optics(field: Field) -> Optics:
    return Optics(
        projection=field.projection,
        focal_length_mm=field.focal_length_mm,
        frame_width_mm=field.width_mm,
        frame_height_mm=field.height_mm,
        core_width_deg=float(np.degrees(2 * field.core_half_width_rad)),
        core_height_deg=float(np.degrees(2 * field.core_half_height_rad)),
    )


def _proof_record(kit: Kit, proof: Proof) -> ProofRecord:
    return ProofRecord(
        covered=proof.covered,
        worst_margin_deg=proof.worst_margin_deg,
        worst_at=Place(yaw_deg=proof.worst_yaw_deg, pitch_deg=proof.worst_pitch_deg),
        pointing_error_deg=round(kit.head.pointing_error_deg(), 4),
    )


def _link_record(links: Links) -> LinkRecord:
    share, frames = links.weakest()
    return LinkRecord(
        connected=links.connected,
        weakest_share=round(share, 4),
        weakest_frames=frames,
        frames_that_split=tuple(links.cut_frames()),
    )


def _sun_record(kit: Kit, field: Field, frames: tuple[Frame, ...], request: Request) -> SunRecord | None:
    watch = request.sun
    if watch is None:
        return None
    seconds = build_program(kit, frames).expected_ns / 1e9
    begin = sun_at(watch.latitude_deg, watch.longitude_deg, watch.start)
    end = sun_at(watch.latitude_deg, watch.longitude_deg, watch.start + timedelta(seconds=seconds))
    seen = frames_with_sun(
        pictures_at(field, *_aims(frames)),
        watch.latitude_deg,
        watch.longitude_deg,
        watch.start,
        seconds,
        watch.north_yaw_deg,
    )
    return SunRecord(
        azimuth_deg=(round(begin.azimuth_deg, 2), round(end.azimuth_deg, 2)),
        altitude_deg=(round(begin.altitude_deg, 2), round(end.altitude_deg, 2)),
        frames=tuple(seen),
    )
