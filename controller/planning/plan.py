"""The plan as a value and as a file: self-contained, versioned, and sealed with a hash."""

import hashlib
import json
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from controller.errors import InputError
from controller.files import write_whole
from controller.kit.kit import Kit, within
from controller.kit.load import mistakes
from controller.optics.projection import Projection
from controller.planning.cores import cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.leaning import refusal
from controller.planning.order import Order
from controller.planning.reached import Poses, levelled_poses, poses_of
from controller.planning.region import Bounds
from controller.planning.request import Arrangement, RegionKind
from controller.reading import PLAN, PLAN_IN_SESSION, parse_json, read_json, read_text, refuse
from controller.shown import shown

FORMAT_VERSION = 2


class PlanPart(BaseModel):
    """A part of the plan file: immutable, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Region(PlanPart):
    """The region to cover: between two pitches, and from `yaw_from_deg` to the right by `yaw_width_deg`."""

    kind: RegionKind
    pitch_from_deg: Annotated[float, within("pitch_deg")]
    pitch_to_deg: Annotated[float, within("pitch_deg")]
    yaw_from_deg: Annotated[float, within("yaw_deg")]
    yaw_width_deg: Annotated[float, Field(ge=0, le=360)]
    unreachable_sr: Annotated[float, Field(ge=0, le=13)]
    """The part of the requested region that the head cannot reach, in steradians."""

    @property
    def solid_angle_is_whole(self) -> bool:
        """Whether the region is the whole sphere."""
        return self.bounds() == Bounds()

    def bounds(self) -> Bounds:
        """The region for the proof."""
        return Bounds(self.pitch_from_deg, self.pitch_to_deg, self.yaw_from_deg, self.yaw_width_deg)


class Optics(PlanPart):
    """The picture as mounted, and the full angles of its core."""

    projection: Projection
    focal_length_mm: float
    frame_width_mm: float
    frame_height_mm: float
    core_width_deg: float
    core_height_deg: float


class Frame(PlanPart):
    """One pose of the camera."""

    id: Annotated[int, Field(ge=0, lt=1 << 32)]
    row: Annotated[int, Field(ge=0, lt=1 << 32)]
    yaw_deg: Annotated[float, Field(ge=-3600, le=3600)]
    pitch_deg: Annotated[float, Field(ge=-90, le=90)]
    by_hand: bool = False
    """Shot by hand because the head cannot reach it: the run pauses and asks."""


class Direction(PlanPart):
    """A direction."""

    yaw_deg: float
    pitch_deg: float


class ProofRecord(PlanPart):
    """The result of the proof: the smallest margin and its direction; and how far off this head's poses may be."""

    covered: bool
    worst_margin_deg: float
    worst_at: Direction
    pointing_error_deg: float


class LinkRecord(PlanPart):
    """The shares of picture that linked frames have in common (see `links`)."""

    connected: bool
    weakest_share: float
    weakest_frames: tuple[int, int] | None
    frames_that_split: tuple[int, ...]


class OrderCost(PlanPart):
    """What an order costs: the whole run, and the longest time between exposures of overlapping neighbours."""

    seconds: float
    neighbours_apart_seconds: float


class Budget(PlanPart):
    """What the set costs: time and its parts, storage, energy; and the size of the stitched picture."""

    frames: int
    exposures: int
    seconds: float
    moving_seconds: float
    settling_seconds: float
    exposing_seconds: float
    waiting_seconds: float
    megabytes: float
    watt_hours: float
    picture_pixels_wide: int
    picture_pixels_high: int
    orders: dict[Order, OrderCost]

    @property
    def dominated_by(self) -> str:
        """The part that takes the most time."""
        parts = {
            "moving": self.moving_seconds,
            "settling": self.settling_seconds,
            "exposing": self.exposing_seconds,
            "waiting for the camera": self.waiting_seconds,
        }
        return max(parts, key=lambda name: parts[name])


class SunRecord(PlanPart):
    """The sun's position at the beginning and the end of the run, and the frames that see it."""

    azimuth_deg: tuple[float, float]
    altitude_deg: tuple[float, float]
    frames: tuple[int, ...]


class Plan(PlanPart):
    """Frames in shooting order with everything needed to shoot them. `hash` covers all other fields."""

    format: Literal["fullturn-plan"] = "fullturn-plan"
    format_version: Literal[2] = 2
    overlap: Annotated[float, Field(ge=0, le=0.9)]
    region: Region
    arrangement: Arrangement
    order: Order
    kit: Kit
    optics: Optics
    frames: Annotated[tuple[Frame, ...], Field(min_length=1)]
    proof: ProofRecord
    links: LinkRecord
    budget: Budget
    sun: SunRecord | None = None
    hash: str = ""

    @property
    def exposures(self) -> set[tuple[int, int]]:
        """Frame and number of every exposure in the set."""
        return {(frame.id, number) for frame in self.frames for number in range(len(self.kit.exposure.bracket_ev))}

    def sealed(self) -> Self:
        """The same plan with the hash of its content."""
        return self.model_copy(update={"hash": content_hash(self.model_dump(mode="json"))})


def content_hash(content: dict[str, Any]) -> str:
    """SHA-256 over a plan file's content except the hash itself, as compact JSON with sorted keys.

    Computed from the file as read, not from how this version of the program would write it.
    """
    rest = {name: value for name, value in content.items() if name != "hash"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()).hexdigest()


def save_plan(plan: Plan, path: Path, *, replace: bool = False) -> None:
    """Write the plan whole or not at all; `replace` overwrites an older one. Raises StorageFailed."""
    write_whole(path, plan.model_dump_json(indent=1) + "\n", replace=replace, ours=is_own_plan)


def is_own_plan(path: Path) -> bool:
    """Whether a file is a plan of this program, of any version, unchanged since it was written: its hash matches."""
    try:
        content = read_json(path, PLAN)
    except InputError:
        return False
    plan = isinstance(content, dict) and content.get("format") == "fullturn-plan"
    return plan and content.get("hash") == content_hash(content)


def load_plan(path: Path) -> Plan:
    """Read a plan. Raises InputError if it is unreadable, of another version, or edited since it was made."""
    return plan_from(read_text(path, PLAN), str(path))


def plan_from(text: str, path: str, *, begun: bool = False) -> Plan:
    """The plan in a text read from `path`. Raises InputError as `load_plan` does.

    An earlier version proved every plan for a level head. If such a plan was already `begun`, it gets the proof for the
    poses that its head reaches, whatever the result. Otherwise it must still cover.
    """
    kind = PLAN_IN_SESSION if begun else PLAN
    content = parse_json(text, path, kind)
    if not isinstance(content, dict) or content.get("format") != "fullturn-plan":
        refuse(path, kind, "holds no plan that can be read" if begun else "is not a plan")
    version = content.get("format_version")
    if version != FORMAT_VERSION or isinstance(version, bool):
        raise InputError(
            f"{path}: has plan format version {shown(str(version))}, but this program reads {FORMAT_VERSION}; "
            "make the plan again."
        )
    try:
        plan = Plan.model_validate_json(text)
    except ValidationError as error:
        raise InputError(mistakes(error, str(path))) from None
    if plan.hash != content_hash(content):
        what = "was changed after it was made (its hash no longer matches)"
        if begun:
            refuse(path, kind, f"its plan {what}")
        raise InputError(f"{path}: {what}; make it again.")
    return _proved_again(plan, path, begun=begun)


def _proved_again(plan: Plan, path: str, *, begun: bool) -> Plan:
    """The plan, if its proof passes again: a hash can be forged, and a proof is cheap compared with a night."""
    proof = proof_at(plan, poses_of(plan.kit.head, plan.frames))
    if _is_claimed(plan, proof):
        return plan
    if not plan.kit.head.lean_deg or not _is_claimed(plan, proof_at(plan, levelled_poses(plan.frames))):
        what = "its proof fails (it leaves a gap, or claims too much)"
        if begun:
            refuse(path, PLAN_IN_SESSION, what)
        raise InputError(f"{path}: {what}; make it again.")
    if begun:
        return with_proof(plan, proof)
    if not proof.covered:
        raise InputError(f"{path}: {lean_sentence(plan)}; make it again.")
    return with_proof(plan, proof).sealed()


def _is_claimed(plan: Plan, proof: Proof) -> bool:
    """Whether this proof passes and matches the plan's record."""
    same = abs(proof.worst_margin_deg - plan.proof.worst_margin_deg) < 0.001
    return proof.covered and plan.proof.covered and same


def proof_at(plan: Plan, poses: Poses) -> Proof:
    """The proof of a plan with its frames shot at these poses."""
    return prove_coverage(cores_at(plan.kit.field(plan.overlap), *poses), plan.region.bounds())


def with_proof(plan: Plan, proof: Proof) -> Plan:
    """The plan with this proof's results, not sealed again."""
    record = plan.proof.model_copy(
        update={
            "covered": proof.covered,
            "worst_margin_deg": proof.worst_margin_deg,
            "worst_at": Direction(yaw_deg=proof.worst_yaw_deg, pitch_deg=proof.worst_pitch_deg),
        }
    )
    return plan.model_copy(update={"proof": record})


def lean_sentence(plan: Plan) -> str:
    """What the head's lean does to a plan that does not cover, as part of a sentence."""
    return refusal(plan.kit, plan.overlap, plan.frames, plan.region.bounds())
