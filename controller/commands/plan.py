"""`fullturn plan`: from a kit file to a plan file."""

from dataclasses import dataclass, field
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.calibration.validity import calibrated, state_sentences
from controller.errors import WorldError
from controller.kit.load import load_kit
from controller.places import must_be_free
from controller.planning.effort import Effort
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.plan_file import is_own_plan, save_plan
from controller.planning.request import Request
from controller.planning.targets import better_mounted, mounted, must_meet_limits, must_reach, print_resolution
from controller.report.plan_words import (
    proof_sentence,
    reach_text,
)


@dataclass(frozen=True, slots=True)
class PlanExtras:
    """The options of the command line beside the request itself."""

    overlap: float = 0.30
    request: Request = field(default_factory=Request)
    mounted: str | None = None
    resolution: float | None = None
    print_width_cm: float | None = None
    dpi: float = 300.0


@dataclass(frozen=True, slots=True)
class WeighedPlan:
    """A plan, and its alternatives: frames and seconds of each way to mount the camera."""

    plan: Plan
    compared: dict[str, tuple[int, float]]
    calibration: tuple[str, ...] = ()
    """A sentence for each calibration that is used, or that was made but no longer counts."""


def plan_command(
    kit_path: Path, out: Path, asked: PlanExtras, effort: Effort | None = None, *, replace: bool = False
) -> WeighedPlan:
    """Make the plan with the kit's calibration, and write it; with `replace`, in place of an older plan.

    `effort` limits the search for fewer frames.

    Raises InputError; StorageFailed, before the work begins; WorldError, with nothing written, if the plan does not cover
    its region, leaves out something out of reach without permission, or breaks a limit.
    """
    must_be_free(out, replace=replace, ours=is_own_plan)
    made = weighed_plan(kit_path, asked, effort)
    save_plan(made.plan, out, replace=replace)
    return made


def weighed_plan(kit_path: Path, asked: PlanExtras, effort: Effort | None = None) -> WeighedPlan:
    """Make the plan and write nothing. Raises InputError, WorldError as `plan_command` does."""
    kit, kept = load_kit(kit_path), read(kit_path)
    calibration = state_sentences(kit, kept, clock.wall_moment())
    kit = calibrated(kit, kept)
    if asked.mounted in {"portrait", "landscape"}:
        kit = mounted(kit, asked.mounted)
    request, wanted = asked.request, asked.resolution
    compared: dict[str, tuple[int, float]] = {}
    if asked.mounted == "best":
        plan, compared = better_mounted(kit, asked.overlap, request, effort)
    else:
        plan = make_plan(kit, asked.overlap, request, effort)
    if asked.print_width_cm is not None:
        wanted = print_resolution(asked.print_width_cm, asked.dpi, plan.region.yaw_width_deg)
    if wanted is not None:
        must_reach(plan.kit, asked.overlap, request, wanted)
    if not plan.proof.covered:
        raise WorldError(f"{proof_sentence(plan)} Nothing was written; report this kit as a fault.")
    if plan.region.unreachable_sr > 0 and not request.allow_unreachable:
        raise WorldError(
            f"{plan.region.unreachable_sr:.3f} steradians of this region are out of the head's reach "
            f"({reach_text(plan)}); add --allow-unreachable to plan the rest, or --nadir-by-hand."
        )
    must_meet_limits(plan, request)
    return WeighedPlan(plan, compared, calibration)
