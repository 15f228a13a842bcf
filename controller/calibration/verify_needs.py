"""What a head is verified against: how far a pose may be off, and which poses are visited."""

from collections.abc import Sequence

from controller.kit.kit import Kit
from controller.planning.plan import Plan

ASSUMED_NEED_DEG = 0.2  # what a pose may be off if neither plan nor kit says so. Our own choice.
POSES = 5
GUIDED_POSES = ((20.0, 0.0), (155.0, 30.0), (250.0, -30.0), (310.0, 50.0), (95.0, -10.0))


def need_of(needed_deg: float | None, plan: Plan | None, kit: Kit | None) -> tuple[float, str]:
    """How far a pose may be off, in degrees, and the source of that figure.

    All of a plan's margin may be used up. If the margin is smaller than the error that the plan assumed, that error
    counts.
    """
    if needed_deg is not None:
        return needed_deg, "the requested limit is"
    if plan is not None:
        if plan.proof.worst_margin_deg >= plan.proof.pointing_error_deg:
            return plan.proof.worst_margin_deg, "the plan survives"
        return plan.proof.pointing_error_deg, "the plan was made for a head that is off by at most"
    if kit is not None:
        return kit.head.pointing_error_deg(), "by the kit this head is off by at most"
    return ASSUMED_NEED_DEG, "without a plan, the assumed limit is"


def poses_to_visit(plan: Plan | None) -> Sequence[tuple[float, float]]:
    """Poses to visit, spread over the plan's frames, or over the sphere."""
    if plan is None:
        return GUIDED_POSES
    frames = [frame for frame in plan.first_pass if not frame.by_hand]
    picked = sorted({round(number * (len(frames) - 1) / (POSES - 1)) for number in range(POSES)})
    return [(frames[number].yaw_deg, frames[number].pitch_deg) for number in picked]
