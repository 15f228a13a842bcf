"""The plan as a file: read, migrated, checked against its hash and proved again; written whole or not at all."""

import json
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from controller.errors import InputError
from controller.files import write_whole
from controller.kit.load import mistakes
from controller.planning.coverage import Proof
from controller.planning.plan import FORMAT_VERSION, Plan, content_hash, lean_sentence, proof_at, with_proof
from controller.planning.plan_versions import OLDEST_VERSION, migrated
from controller.planning.reached_poses import levelled_poses, poses_of
from controller.reading import PLAN, PLAN_IN_SESSION, parse_json, read_json, read_text, refuse
from controller.shown import shown


def save_plan(plan: Plan, path: Path, *, replace: bool = False) -> None:
    """Write the plan; with `replace`, in place of an older one. The file appears whole or not at all.

    Raises StorageFailed.
    """
    write_whole(path, plan.model_dump_json(indent=1) + "\n", replace=replace, ours=is_own_plan)


def is_own_plan(path: Path) -> bool:
    """Whether a file is a plan of this program, of any version, and unchanged: its hash still fits."""
    try:
        content = read_json(path, PLAN)
    except InputError:
        return False
    plan = isinstance(content, dict) and content.get("format") == "fullturn-plan"
    return plan and content.get("hash") == content_hash(content)


def load_plan(path: Path) -> Plan:
    """Read a plan and migrate an older one. Raises InputError if it is unreadable, newer, or edited."""
    return plan_from(read_text(path, PLAN), str(path))


def plan_from(text: str, path: str, *, begun: bool = False) -> Plan:
    """The plan in a text that came from `path`. Raises InputError as `load_plan` does.

    An earlier version proved a plan as if the head were level. A plan that was already `begun` gets the proof for the
    poses that its head really reaches, whatever the result. Any other plan must still cover its region.
    """
    return _proved_again(_unproved(text, path, begun=begun), path, begun=begun)


def begun_plan_unproved(text: str, path: str) -> Plan:
    """The plan in a session's text, not proved again: for counting what was shot of it. Raises InputError."""
    return _unproved(text, path, begun=True)


def _unproved(text: str, path: str, *, begun: bool) -> Plan:
    kind = PLAN_IN_SESSION if begun else PLAN
    content = parse_json(text, path, kind)
    if not isinstance(content, dict) or content.get("format") != "fullturn-plan":
        refuse(path, kind, "has a damaged plan" if begun else "is not a plan")
    version = _version_of(content, path)
    if content.get("hash") != content_hash(content):
        what = "was changed after it was made (its hash no longer fits)"
        if begun:
            refuse(path, kind, f"its plan {what}")
        raise InputError(f"{path}: {what}; plan again.")
    try:
        plan = Plan.model_validate_json(json.dumps(migrated(content, version), allow_nan=False))
    except ValidationError as error:
        raise InputError(mistakes(error, str(path))) from None
    # An older plan gets new keys when it is read, so it needs a new hash that fits when it is written into a session. A
    # plan that was begun keeps the hash by which its session knows it.
    return plan.model_copy(update={"hash": content["hash"]}) if begun else plan.sealed()


def _version_of(content: dict[str, Any], path: str) -> int:
    """The version of a plan file. Raises InputError if this program cannot read it."""
    version = content.get("format_version")
    known = f"this program reads versions {OLDEST_VERSION} to {FORMAT_VERSION}"
    if type(version) is not int or version < OLDEST_VERSION:
        raise InputError(f"{path}: is a plan of version {shown(str(version))}; {known}. Make the plan again.")
    if version > FORMAT_VERSION:
        raise InputError(
            f"{path}: is a plan of version {version}, which is newer; {known}. Use the version of Fullturn that wrote "
            "it, or make the plan again."
        )
    return version


def _proved_again(plan: Plan, path: str, *, begun: bool) -> Plan:
    """Prove the plan again: a hash can be forged, and a proof costs less than a lost night."""
    proof = proof_at(plan, poses_of(plan.kit.head, plan.first_pass))
    if _is_claimed(plan, proof):
        return plan
    if not plan.kit.head.lean_deg or not _is_claimed(plan, proof_at(plan, levelled_poses(plan.first_pass))):
        what = "its proof fails (it would leave a gap, or claims too much)"
        if begun:
            refuse(path, PLAN_IN_SESSION, what)
        raise InputError(f"{path}: {what}; plan again.")
    if begun:
        return with_proof(plan, proof)
    if not proof.covered:
        raise InputError(f"{path}: {lean_sentence(plan)}; plan again.")
    return with_proof(plan, proof).sealed()


def _is_claimed(plan: Plan, proof: Proof) -> bool:
    """Whether the plan claims this proof, and the proof passes."""
    same = abs(proof.worst_margin_deg - plan.proof.worst_margin_deg) < 0.001
    return proof.covered and plan.proof.covered and same
