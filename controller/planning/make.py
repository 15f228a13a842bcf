"""From a kit and a request to a plan: field, region, poses, order, proof, links, budget."""

from datetime import timedelta

import numpy as np

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.field import Field
from controller.planning.arrangement import find_poses
from controller.planning.budget import cost, numbered
from controller.planning.cores import cores_at, pictures_at
from controller.planning.coverage import prove_coverage
from controller.planning.effort import Effort
from controller.planning.findings import link_record, proof_record
from controller.planning.leaning import refusal, with_reachable_poles
from controller.planning.links import find_links
from controller.planning.motion import HeadMotion, mover_of
from controller.planning.order import Order, arrange, snake_of_rows
from controller.planning.passes import to_repeat, with_passes
from controller.planning.plan import Frame, Optics, Plan, Region, SunRecord
from controller.planning.reached_poses import poses_of
from controller.planning.request import Request
from controller.planning.row_poses import Pose
from controller.planning.size import must_be_plannable, must_end
from controller.planning.sun import frames_with_sun, sun_at
from controller.program.build import build_program


def make_plan(kit: Kit, overlap: float, request: Request | None = None, effort: Effort | None = None) -> Plan:
    """The frames for `request` (default: the full sphere in rows), proved, linked and costed.

    `overlap` is the least share of the picture (0 to 0.9) that neighbours have in common. `effort` limits the search for
    fewer frames (default: the seconds of `request`). The proof and the links are for the poses that this head really
    reaches, each pose once. Raises InputError if the kit or the request cannot be planned.
    """
    if not 0 <= overlap <= 0.9:
        raise InputError(f"An overlap of {overlap:g} cannot be planned: write a share from 0 to 0.9, like 0.30.")
    request = request or Request()
    field = kit.field(overlap)
    must_be_plannable(field, overlap, request)
    bounds, unreachable_sr, poses = find_poses(kit.head, field, request, effort or Effort(request.effort_s))
    region = Region(
        kind=request.region,
        pitch_from_deg=bounds.pitch_from_deg,
        pitch_to_deg=bounds.pitch_to_deg,
        yaw_from_deg=bounds.yaw_from_deg,
        yaw_width_deg=bounds.yaw_width_deg,
        unreachable_sr=round(unreachable_sr, 6),
    )
    mover = mover_of(kit, numbered(with_reachable_poles(kit.head, snake_of_rows(poses))))
    first = _in_order(kit, field, poses, request, mover)
    frames = _again(first, request, request.order, mover)
    reached = poses_of(kit.head, first)
    proof = prove_coverage(cores_at(field, *reached), bounds)
    if not proof.covered and kit.head.lean_deg:
        what = refusal(kit, overlap, first, bounds)
        raise InputError(f"{what[:1].upper()}{what[1:]}. Level the head, or ask for another region or overlap.")
    links = find_links(field, *reached)
    budget = cost(kit, field, region, frames, links, request.order, mover)
    must_end(budget.seconds)
    return Plan(
        overlap=overlap,
        region=region,
        arrangement=request.arrangement,
        order=request.order,
        kit=kit,
        optics=optics_of(field),
        frames=frames,
        proof=proof_record(kit, proof),
        links=link_record(links),
        budget=budget,
        sun=_sun_record(kit, field, frames, request),
    ).sealed()


def _in_order(kit: Kit, field: Field, poses: list[Pose], request: Request, mover: HeadMotion) -> tuple[Frame, ...]:
    """Frames numbered in shooting order; frames that see the sun come first or last if the request says so."""
    ordered = with_reachable_poles(kit.head, arrange(poses, request.order, mover))
    watch = request.sun
    if watch is not None and watch.when != "any":
        seconds = build_program(kit, _again(numbered(ordered), request, None, mover)).expected_ns / 1e9
        sunny = set(
            frames_with_sun(
                pictures_at(field, *poses_of(kit.head, ordered)),
                watch.latitude_deg,
                watch.longitude_deg,
                watch.start,
                seconds,
                watch.north_yaw_deg,
            )
        )
        with_sun = arrange([p for i, p in enumerate(ordered) if i in sunny], request.order, mover) if sunny else []
        without = [p for i, p in enumerate(ordered) if i not in sunny]
        ordered = with_reachable_poles(kit.head, with_sun + without if watch.when == "first" else without + with_sun)
    return numbered(ordered)


def _again(first: tuple[Frame, ...], request: Request, order: Order | None, mover: HeadMotion) -> tuple[Frame, ...]:
    """The first pass and the later ones. If the sun decides what comes first, it does so in every pass."""
    chosen = {frame.id for frame in to_repeat(first, request.passes, request.passes_within_deg)}
    sun_decides = request.sun is not None and request.sun.when != "any"
    return with_passes(first, chosen, request.passes, None if sun_decides else order, mover)


def optics_of(field: Field) -> Optics:
    """The picture as mounted, and its core."""
    return Optics(
        projection=field.projection,
        focal_length_mm=field.focal_length_mm,
        frame_width_mm=field.width_mm,
        frame_height_mm=field.height_mm,
        core_width_deg=float(np.degrees(2 * field.core_half_width_rad)),
        core_height_deg=float(np.degrees(2 * field.core_half_height_rad)),
    )


def _sun_record(kit: Kit, field: Field, frames: tuple[Frame, ...], request: Request) -> SunRecord | None:
    watch = request.sun
    if watch is None:
        return None
    seconds = build_program(kit, frames).expected_ns / 1e9
    begin = sun_at(watch.latitude_deg, watch.longitude_deg, watch.start)
    end = sun_at(watch.latitude_deg, watch.longitude_deg, watch.start + timedelta(seconds=seconds))
    seen = frames_with_sun(
        pictures_at(field, *poses_of(kit.head, frames)),
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
