"""A plan with today's kit: measured figures may have changed since it was planned."""

from pathlib import Path
from typing import Any

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.planning.plan import Plan, lean_sentence, proof_at, with_proof
from controller.planning.reached_poses import poses_of


def with_kit(plan: Plan, kit: Kit, plan_path: Path) -> Plan:
    """The plan with today's kit, proved for the head's lean of today.

    Raises InputError if it is another kit, or if the plan's poses no longer cover the region.
    """
    planned, today = (one.model_dump(exclude=MAY_DIFFER) for one in (plan.kit, kit))
    for table in planned:
        if planned[table] != today[table]:
            raise InputError(f"{plan_path}: was planned for a kit whose [{table}] differs. Plan again.")
    found = plan.model_copy(update={"kit": kit})
    if (kit.head.lean_deg, kit.head.lean_toward_deg) != (plan.kit.head.lean_deg, plan.kit.head.lean_toward_deg):
        proof = proof_at(found, poses_of(kit.head, found.first_pass))
        if not proof.covered:
            raise InputError(
                f"{plan_path}: {lean_sentence(found)}. Level the head, or write lean_deg = {kit.head.lean_deg!r} and "
                f"lean_toward_deg = {kit.head.lean_toward_deg!r} under [head] in the kit and plan again."
            )
        found = with_proof(found, proof)
    return found.sealed()


# What a calibration may change.
OF_AN_AXIS = {"backlash_deg", "measured_steps_per_degree", "ring_hz", "ring_damping", "ring_over_pitch"}
MEASURED: dict[str, Any] = {
    "pan": OF_AN_AXIS,
    "tilt": OF_AN_AXIS,
    **dict.fromkeys(("ring_hz", "ring_damping", "ring_hz_within", "ring_damping_within", "settle_ms"), True),
    **dict.fromkeys(("lean_deg", "lean_toward_deg"), True),
}
# Other differences allowed since planning: where to focus, and the sources of figures.
MAY_DIFFER: dict[str, Any] = {"head": MEASURED, "exposure": {"f_number"}, "sources": True}
