"""The result of inspecting a set: each frame, each link, the lens and the head, as values.

Angles are in degrees and positions in pixels of the full-size upright picture, whose top left pixel has its middle at
(0, 0).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from controller.inspection.head_measured import HeadMeasured, Measured
from controller.inspection.lens_model import Array, BrownLens
from controller.inspection.poses import HeadFrame
from controller.planning.plan import Plan


class FrameFault(StrEnum):
    """What is wrong with a frame, worst first."""

    NO_PICTURE = "no picture"
    UNREADABLE = "unreadable"
    ANOTHER_PLACE = "another place"
    SWAPPED = "swapped"
    TURNED = "turned"
    MOVED = "moved"
    SOFT = "soft"
    BRIGHTNESS = "brightness"
    BRACKET = "bracket"
    CLIPPED = "clipped"


class LinkVerdict(StrEnum):
    """What the pictures of two neighbours say, worst first."""

    CONTRADICTS = "contradicts"
    """They agree elsewhere than their poses say, or not at all although both show detail."""
    NO_PICTURE = "no picture"
    WEAK = "weak"
    """Too few points agree to trust the link, or the texture repeats."""
    NOTHING_TO_SEE = "nothing to see"
    LINKED = "linked"


@dataclass(frozen=True, slots=True)
class Blemish:
    """A fault of a frame with its size in the unit of `sentence`, and the sentence itself.

    `other` is the frame with which it was swapped. `retake`: whether the frame should be shot again for it.
    """

    fault: FrameFault
    size: float
    sentence: str
    retake: bool = True
    other: int | None = None


@dataclass(frozen=True, slots=True)
class PoseKnown:
    """A pose in the levelled world, each angle with its standard uncertainty, in degrees."""

    yaw: Measured
    pitch: Measured
    roll: Measured


@dataclass(frozen=True, slots=True, eq=False)
class InspectedFrame:
    """One frame of the plan as its picture shows it.

    `file` is the picture that was examined, as a path in the card's folder, of exposure number `exposure`; None if there
    is none. `rotation` (3, 3) turns the camera's axes (right, down, along the lens) into those of a level camera at yaw
    0. `alone`: no link holds it, so that `measured` is the commanded pose. `detail` is its sharpness as a share of that
    of its neighbours, `brighter_ev` how much brighter it is than they; None if unknown. `dark` and `bright` are the
    clipped shares of the picture. `repeats` is the frame of the first pass that this one repeats. `least_different`: of
    all passes of its pose, this one differs least from its neighbours.
    """

    frame: int
    row: int
    pass_number: int
    file: str | None
    exposure: int | None
    size_px: tuple[int, int]
    commanded: PoseKnown
    measured: PoseKnown
    rotation: Array
    alone: bool
    blemishes: tuple[Blemish, ...]
    detail: float | None
    brighter_ev: float | None
    dark: float
    bright: float
    repeats: int | None = None
    least_different: bool = True

    @property
    def first_id(self) -> int:
        """The frame of the first pass that has this pose: the frame itself, or what it repeats."""
        return self.frame if self.repeats is None else self.repeats

    @property
    def worst(self) -> FrameFault | None:
        """The worst fault; None for a sound frame."""
        order = list(FrameFault)
        return min((one.fault for one in self.blemishes), key=order.index, default=None)


@dataclass(frozen=True, slots=True)
class InspectedLink:
    """Two neighbouring frames by id, with the number of good points, their rms in pixels (NaN without any), the share of
    the overlap that differs, and why the verdict is what it is.
    """

    first: int
    second: int
    verdict: LinkVerdict
    points: int
    rms_px: float
    differs: float
    sentence: str


@dataclass(frozen=True, slots=True)
class LensMeasured:
    """The lens after the adjustment. `lens` is in pixels of the full-size picture.

    `terms` maps the lens terms that the set carries (`lens_model.TERMS`) to their values. `pupil_ahead_mm` and
    `pupil_right_mm` are where the entrance pupil is from the axis, `pupil_ahead_share` as a share of the length that was
    given or of the distance to the nearest things; None with `pupil_reason` if the set cannot carry it.
    """

    lens: BrownLens
    terms: dict[str, Measured]
    focal_mm: Measured | None
    pupil_ahead_mm: Measured | None = None
    pupil_right_mm: Measured | None = None
    pupil_ahead_share: Measured | None = None
    pupil_reason: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Inspected:
    """A whole set. `todo` says what to do, worst first; `notes` are sentences about files and the set.

    `orientation` is that of the files by EXIF that makes all pictures upright; None: each file's own counts. `linked` are
    the frames that links hold, as the head reported them.
    """

    plan: Plan
    frames: Sequence[InspectedFrame]
    links: Sequence[InspectedLink]
    lens: LensMeasured
    head: HeadMeasured
    retake: list[int]
    todo: list[str]
    notes: list[str]
    orientation: int | None = None
    linked: Sequence[HeadFrame] = ()
