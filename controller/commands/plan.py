"""`fullturn plan`: from a kit file to a plan file."""

from pathlib import Path

from controller.errors import WorldError
from controller.kit.load import load_kit
from controller.planning.make import make_plan
from controller.planning.plan import Plan, save_plan
from controller.report.wording import duration, proof_sentence


def plan_command(kit_path: Path, out: Path, overlap: float) -> Plan:
    """Make the plan and write it. Raises InputError, StorageFailed, or WorldError when it does not cover."""
    plan = make_plan(load_kit(kit_path), overlap)
    if not plan.proof.covered:
        raise WorldError(f"{proof_sentence(plan.proof)} Nothing was written; please report this kit as a fault.")
    save_plan(plan, out)
    return plan


def plan_text(plan: Plan, out: Path) -> str:
    """What the photographer reads."""
    rows = max(frame.row for frame in plan.frames) + 1
    budget = plan.budget
    return (
        f"{budget.frames} frames in {rows} rows, {budget.exposures} exposures, "
        f"about {duration(budget.seconds)} and {budget.megabytes / 1000:.1f} GB.\n"
        f"{proof_sentence(plan.proof)}\n"
        f"The plan is in {out}"
    )
