"""The plan's proof for the frames that were really shot."""

from collections.abc import Collection
from dataclasses import dataclass

from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.links import find_links
from controller.planning.passes import poses_among
from controller.planning.plan import Plan
from controller.planning.reached_poses import poses_of


@dataclass(frozen=True, slots=True)
class ShotProof:
    """Whether the cores of the frames that were shot cover the region, and whether these frames are linked.

    `worst_margin_deg` and its direction mean the same as in the plan: negative at the middle of the largest gap. None if
    no frame was shot.
    """

    covered: bool
    linked: bool
    worst_margin_deg: float | None = None
    worst_yaw_deg: float | None = None
    worst_pitch_deg: float | None = None


def prove_shot(plan: Plan, missing: Collection[int]) -> ShotProof:
    """Prove coverage and links without the `missing` frames, at the poses that this head reaches.

    A pose counts once, if any pass of it was shot. If none is missing this is the plan's own proof, which was checked
    when the plan was read.
    """
    holes = set(poses_among(plan, missing).values())
    if not holes:
        proof = plan.proof
        place = proof.worst_at
        return ShotProof(
            proof.covered, plan.links.connected, proof.worst_margin_deg, place.yaw_deg, place.pitch_deg
        )  # fmt: skip
    frames = [frame for frame in plan.first_pass if frame.id not in holes]
    if not frames:
        return ShotProof(covered=False, linked=False)
    field = plan.kit.field(plan.overlap)
    reached = poses_of(plan.kit.head, frames)
    found = prove_coverage(cores_at(field, *reached), plan.region.bounds())
    linked = find_links(field, *reached).connected
    return ShotProof(found.covered, linked, found.worst_margin_deg, found.worst_yaw_deg, found.worst_pitch_deg)
