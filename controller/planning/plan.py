"""The plan as a value and as a file: self-contained, versioned, and sealed with a hash."""

import hashlib
import json
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.errors import InputError, StorageFailed
from controller.kit.kit import Kit
from controller.kit.load import mistakes
from controller.optics.projection import Projection

FORMAT_VERSION = 1


class Part(BaseModel):
    """A part of the plan file: frozen, no unknown names."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Region(Part):
    """What is to be covered."""

    kind: Literal["sphere"] = "sphere"


class Optics(Part):
    """The picture as mounted, and the full angles of its core."""

    projection: Projection
    focal_length_mm: float
    frame_width_mm: float
    frame_height_mm: float
    core_width_deg: float
    core_height_deg: float


class Frame(Part):
    """One pose of the camera."""

    id: Annotated[int, Field(ge=0, lt=1 << 32)]
    row: Annotated[int, Field(ge=0)]
    yaw_deg: Annotated[float, Field(ge=-3600, le=3600)]
    pitch_deg: Annotated[float, Field(ge=-90, le=90)]


class Place(Part):
    """A direction."""

    yaw_deg: float
    pitch_deg: float


class ProofRecord(Part):
    """What the proof found: the smallest margin anywhere, and where."""

    covered: bool
    worst_margin_deg: float
    worst_at: Place


class Budget(Part):
    """What the set costs."""

    frames: int
    exposures: int
    seconds: float
    megabytes: float


class Plan(Part):
    """Frames in shooting order with everything needed to shoot them. `hash` seals all the rest."""

    format: Literal["fullturn-plan"] = "fullturn-plan"
    format_version: Literal[1] = 1
    overlap: Annotated[float, Field(ge=0, le=0.9)]
    region: Region
    kit: Kit
    optics: Optics
    frames: Annotated[tuple[Frame, ...], Field(min_length=1)]
    proof: ProofRecord
    budget: Budget
    hash: str = ""

    def sealed(self) -> Self:
        """The same plan with the hash of its content."""
        return self.model_copy(update={"hash": content_hash(self.model_dump(mode="json"))})


def content_hash(content: dict[str, Any]) -> str:
    """SHA-256 over a plan file's content but for the hash itself, as compact JSON with sorted names.

    Taken from the file as it stands, not from what this version of the program makes of it.
    """
    rest = {name: value for name, value in content.items() if name != "hash"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def save_plan(plan: Plan, path: Path) -> None:
    """Write the plan; either the whole file appears or none. Raises StorageFailed."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(plan.model_dump_json(indent=1) + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise StorageFailed(f"{path} cannot be written ({error.strerror}); choose another place.") from None


def load_plan(path: Path) -> Plan:
    """Read a plan. Raises InputError when it is unreadable, of another version, or edited since it was made."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror}).") from None
    except ValueError:
        raise InputError(f"{path}: is not a plan (no valid JSON); make one with `fullturn plan`.") from None
    if not isinstance(content, dict) or content.get("format") != "fullturn-plan":
        raise InputError(f"{path}: is not a plan; make one with `fullturn plan`.")
    if content.get("format_version") != FORMAT_VERSION:
        raise InputError(
            f"{path}: is a plan of format version {content.get('format_version')}, this program reads "
            f"version {FORMAT_VERSION}; make the plan again."
        )
    try:
        plan = Plan.model_validate(content)
    except ValidationError as error:
        raise InputError(mistakes(error, str(path))) from None
    if plan.hash != content_hash(content):
        raise InputError(f"{path}: was changed after it was made (its hash no longer fits); make it again.")
    return plan
