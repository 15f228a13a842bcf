"""A plan for a head that was put up again: every frame looks where it looked then.

The frames keep their numbers, rows and order. Their yaws count from today's zero, and the kit gets today's lean, so the
plan needs nothing but itself and is proved like any other. The zero of the board is left alone: a switch finds it where
the switch is, and a zero set by hand is lost with the supply.
"""

import math
from dataclasses import dataclass
from typing import Any

from controller.errors import InputError
from controller.kit.kit import Head, Kit
from controller.planning.budget import cost
from controller.planning.findings import link_record, proof_record
from controller.planning.leaning import overlap_left, refusal
from controller.planning.links import find_links
from controller.planning.make import optics_of
from controller.planning.motion import mover_of
from controller.planning.plan import Frame, Plan, proof_at
from controller.planning.reached_poses import poses_of
from controller.program.kinematics import axes_for

LEAST_KEPT = 0.5  # of the overlap. Below it, level the head. Our own choice, no source


@dataclass(frozen=True, slots=True)
class HeadBase:
    """How the head is put up, in degrees, against the world of an earlier plan.

    Its yaw 0 looks toward `yaw_deg` of that world. The pan axis leans by `lean_deg` toward `lean_toward_deg`, a yaw of
    the head's own, as in the kit.
    """

    yaw_deg: float
    lean_deg: float
    lean_toward_deg: float


def with_base(kit: Kit, base: HeadBase) -> Kit:
    """The kit with the lean of this base."""
    lean = {"lean_deg": base.lean_deg, "lean_toward_deg": base.lean_toward_deg}
    return kit.model_copy(update={"head": kit.head.model_copy(update=lean)})


def aligned_plan(plan: Plan, base: HeadBase) -> Plan:
    """The plan for a head with this base, proved again and sealed.

    A lean leaves a roll that two axes cannot turn back. If the frames then share less than the plan's overlap, the new
    plan has the overlap that is left. The sun's places of the earlier day are left out. Raises InputError if the head
    cannot reach a frame, or if less than LEAST_KEPT of the overlap is left.
    """
    kit = with_base(plan.kit, base)
    yaws = _yaws(kit.head, plan.frames, base.yaw_deg)
    frames = tuple(frame.model_copy(update={"yaw_deg": yaw}) for frame, yaw in zip(plan.frames, yaws, strict=True))
    region = plan.region
    if region.yaw_width_deg < 360:
        region = region.model_copy(update={"yaw_from_deg": (region.yaw_from_deg - base.yaw_deg) % 360})
    changes: dict[str, Any] = {"kit": kit, "frames": frames, "region": region, "sun": None}
    found = _with_overlap_left(plan.model_copy(update=changes))
    field, reached = kit.field(found.overlap), poses_of(kit.head, found.first_pass)
    links = find_links(field, *reached)
    return found.model_copy(
        update={
            "optics": optics_of(field),
            "proof": proof_record(kit, proof_at(found, reached)),
            "links": link_record(links),
            "budget": cost(kit, field, region, frames, links, found.order, mover_of(kit, frames)),
        }
    ).sealed()


def _with_overlap_left(plan: Plan) -> Plan:
    """The plan with the largest overlap, up to its own, that its frames still prove. Raises InputError."""
    reached, bounds = poses_of(plan.kit.head, plan.first_pass), plan.region.bounds()
    if proof_at(plan, reached).covered:
        return plan
    left = math.floor(overlap_left(plan.kit, plan.overlap, reached, bounds) * 1000) / 1000
    if left < LEAST_KEPT * plan.overlap:
        what = refusal(plan.kit, plan.overlap, plan.first_pass, bounds)
        raise InputError(f"Today {what}. Level it as it was then, and shoot a new photograph.")
    return plan.model_copy(update={"overlap": left})


def _yaws(head: Head, frames: tuple[Frame, ...], base_deg: float) -> list[float]:
    """The yaws of all frames from today's zero.

    All are turned alike, so that the order costs what it did; or, if the pan's limits forbid that, each by itself. Raises
    InputError if a frame cannot be reached.
    """
    turned = [frame.yaw_deg - math.remainder(base_deg, 360) for frame in frames]
    alike = ([yaw + turn for yaw in turned] for turn in (0.0, -360.0, 360.0))
    within = [yaws for yaws in alike if all(map(lambda frame, yaw: _reaches(head, frame, yaw), frames, yaws))]
    if within:
        return min(within, key=lambda yaws: max(map(abs, yaws)))
    return [_own_yaw(head, frame, yaw) for frame, yaw in zip(frames, turned, strict=True)]


def _own_yaw(head: Head, frame: Frame, yaw_deg: float) -> float:
    ways = sorted((yaw_deg + turn for turn in (0.0, -360.0, 360.0)), key=abs)
    found = next((yaw for yaw in ways if _reaches(head, frame, yaw)), None)
    if found is None:
        raise InputError(
            f"Frame {frame.id} would be at yaw {ways[0]:.1f} of today's zero, beyond the limits of head.pan "
            f"({head.pan.min_deg:g} to {head.pan.max_deg:g}). Turn the tripod so that yaw 0 looks where it looked then, "
            "and shoot a new photograph."
        )
    return found


def _reaches(head: Head, frame: Frame, yaw_deg: float) -> bool:
    pan_deg, _ = axes_for(head, yaw_deg, frame.pitch_deg)
    return frame.by_hand or head.pan.min_deg <= pan_deg <= head.pan.max_deg
