"""The plan as a value: self-contained, versioned, and sealed with a hash."""

import hashlib
import json
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from controller.bounds import BOUNDS
from controller.kit.kit import Kit, within
from controller.optics.projection import Projection
from controller.planning.cores import cores_at
from controller.planning.coverage import Proof, prove_coverage
from controller.planning.leaning import refusal
from controller.planning.order import Order
from controller.planning.reached_poses import Poses
from controller.planning.region import Bounds
from controller.planning.request import Arrangement, RegionKind

FORMAT_VERSION = 2


def _is_none(value: object) -> bool:
    return value is None


def _is_first(pass_number: int) -> bool:
    return pass_number == 1


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
    # The file leaves out these two in the first pass: a plan of one pass keeps the hash it had before there were passes.
    repeats: Annotated[int | None, Field(ge=0, lt=1 << 32, exclude_if=_is_none)] = None
    """The frame of the first pass whose pose this one has; None in the first pass."""
    pass_number: Annotated[int, Field(ge=1, le=BOUNDS["passes"].most, exclude_if=_is_first)] = 1
    """The pass in which it is shot."""

    @property
    def first_id(self) -> int:
        """The frame of the first pass that has this pose: the frame itself, or what it repeats."""
        return self.id if self.repeats is None else self.repeats


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
    unshaped_seconds: float | None = None
    """The whole time on a board that does not shape its ramps."""
    repeats_apart_seconds: Annotated[float | None, Field(exclude_if=_is_none)] = None
    """The shortest time between the exposures of a frame and those of its repeat; left out without later passes."""
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

    @model_validator(mode="after")
    def _repeats_fit(self) -> Self:
        """Refuse repeats that are no repeats: everything that counts poses leaves them out."""
        first, shot, latest = {frame.id: frame for frame in self.first_pass}, set[tuple[int, int]](), 1
        if len({frame.id for frame in self.frames}) < len(self.frames):
            raise ValueError("two frames have the same id")
        for frame in self.frames:
            if frame.pass_number < latest or (frame.repeats is None) is not (frame.pass_number == 1):
                raise ValueError(f"frame {frame.id} is not in its pass")
            latest = frame.pass_number
            if frame.repeats is None:
                continue
            again = first.get(frame.repeats)
            if again is None or again.by_hand or frame.by_hand or _pose(again) != _pose(frame):
                raise ValueError(f"frame {frame.id} does not have the pose of a frame that it could repeat")
            if (frame.repeats, frame.pass_number) in shot:
                raise ValueError(f"frame {frame.id} repeats frame {frame.repeats} twice in one pass")
            shot.add((frame.repeats, frame.pass_number))
        return self

    @property
    def first_pass(self) -> tuple[Frame, ...]:
        """The frames without their repeats: one for each pose. Proof, links and pictures of the sphere count these."""
        return tuple(frame for frame in self.frames if frame.repeats is None)

    @property
    def passes(self) -> int:
        """The number of passes; 1 if no frame is repeated."""
        return self.frames[-1].pass_number

    @property
    def exposures(self) -> set[tuple[int, int]]:
        """Frame and number of every exposure in the set."""
        return {(frame.id, number) for frame in self.frames for number in range(len(self.kit.exposure.bracket_ev))}

    def sealed(self) -> Self:
        """The same plan with the hash of its content."""
        return self.model_copy(update={"hash": content_hash(self.model_dump(mode="json"))})


def _pose(frame: Frame) -> tuple[int, float, float]:
    return frame.row, frame.yaw_deg, frame.pitch_deg


def content_hash(content: dict[str, Any]) -> str:
    """SHA-256 over a plan file's content except the hash itself, as compact JSON with sorted keys.

    Computed from the file as read, not from how this version of the program would write it.
    """
    rest = {name: value for name, value in content.items() if name != "hash"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()).hexdigest()


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
    return refusal(plan.kit, plan.overlap, plan.first_pass, plan.region.bounds())
