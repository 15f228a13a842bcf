"""The program: a plan as steps for one rig. It is a value; nothing here moves anything."""

from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

from controller.kit.kit import Kit
from protocol.shaper import PLAIN, Shaper

Exposure: TypeAlias = tuple[int, int]
"""A frame's id, and the number of the exposure in its bracket."""


class Aim(Protocol):
    """Where the camera should look, in degrees, and whether by hand: a frame, or a pose before it is numbered."""

    @property
    def yaw_deg(self) -> float:
        """Positive to the right."""

    @property
    def pitch_deg(self) -> float:
        """Positive upward."""

    @property
    def by_hand(self) -> bool:
        """Whether it is shot by hand, because the head cannot reach it."""


class PlannedFrame(Aim, Protocol):
    """What a program needs to know about a frame of a plan."""

    @property
    def id(self) -> int:
        """Its number in the plan."""

    @property
    def row(self) -> int:
        """The number of its row; frames of one row have the same pitch."""

    @property
    def pass_number(self) -> int:
        """The pass in which it is shot; 1 unless it repeats another frame."""


@dataclass(frozen=True, slots=True)
class AxisSetting:
    """Limits, speed, ramp and shaper of one axis as sent to the board, in steps."""

    min_steps: int
    max_steps: int
    speed_steps_s: int
    accel_steps_s2: int
    steps_per_degree: float
    shaper: Shaper = PLAIN


Settings: TypeAlias = tuple[AxisSetting, AxisSetting]
"""Those of pan and tilt."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """How a move affects the switch at zero of one axis.

    `may`: the switch may change during the move. `must`: it must have changed since the axis was last clear of it.
    `ends_clear`: the move ends clear of it.
    """

    may: bool = False
    must: bool = False
    ends_clear: bool = False


@dataclass(frozen=True, slots=True)
class MoveStep:
    """Turn to a frame's absolute position, then wait `settle_ns` (`plain_settle_ns` on a board that shapes no ramps).

    `pan` and `tilt` say how it affects the switches at zero. A move without an exposure after it serves only to pass
    them.
    """

    frame: int
    row: int
    pan_steps: int
    tilt_steps: int
    settle_ns: int
    plain_settle_ns: int
    expected_ns: int
    """From sending the command to receiving its end, without settling."""
    deadline_ns: int
    pan: Crossing = Crossing()
    tilt: Crossing = Crossing()
    shaper_ns: int = 0
    """How much of `expected_ns` the shapers add."""

    def turn_ns(self, *, shaped: bool) -> int:
        """From sending the command to receiving its end, on a board that shapes its ramps or does not."""
        return self.expected_ns - (0 if shaped else self.shaper_ns)

    def wait_ns(self, *, shaped: bool) -> int:
        """How long to wait after it, on a board that shapes its ramps or does not."""
        return self.settle_ns if shaped else self.plain_settle_ns

    @property
    def looks(self) -> bool:
        """Whether to ask the board afterwards where its switches changed."""
        return self.pan.may or self.tilt.may


@dataclass(frozen=True, slots=True)
class ExposeStep:
    """Make one exposure, then wait `ready_ns` before the camera is ready for the next."""

    frame: int
    row: int
    exposure: int
    shutter_s: float
    focus_ms: int
    press_ms: int
    limit_ms: int
    ready_ns: int
    expected_ns: int
    deadline_ns: int


@dataclass(frozen=True, slots=True)
class AskStep:
    """Wait until the operator confirms that the camera is held at a pose that the head cannot reach."""

    frame: int
    row: int
    yaw_deg: float
    pitch_deg: float


Step: TypeAlias = MoveStep | ExposeStep | AskStep


@dataclass(frozen=True, slots=True)
class Program:
    """Everything a run does. `expected_ns` is the whole run's time, from greeting the board to its last stop;
    `plain_expected_ns` is the same on a board that shapes no ramps.

    `kit` and `frames` are what it was built from; steps to reshoot are built from them as well.
    """

    kit: Kit
    frames: tuple[PlannedFrame, ...]
    pan: AxisSetting
    tilt: AxisSetting
    silence_ms: int
    retry_ns: int
    tries: int
    hello_tries: int
    pan_search_steps_s: int
    tilt_search_steps_s: int
    creep_divisor: int
    reference_expected_ns: int
    reference_deadline_ns: int
    stop_deadline_ns: int
    stop_settle_ns: int
    """How long the camera may swing after a stop in the middle of a move."""
    longest_move_ns: int
    """A move across everything that the program visits: the longest time of a move from an unforeseen position."""
    steps: tuple[Step, ...]
    expected_ns: int
    plain_expected_ns: int

    def whole_ns(self, *, shaped: bool) -> int:
        """The whole run's time, on a board that shapes its ramps or does not."""
        return self.expected_ns if shaped else self.plain_expected_ns

    @property
    def axes(self) -> Settings:
        """Pan and tilt."""
        return self.pan, self.tilt

    @property
    def counts_on_shaping(self) -> bool:
        """Whether the board is told a shaper if it can shape its ramps."""
        return any(axis.shaper.impulses for axis in self.axes)

    @property
    def exposures(self) -> list[ExposeStep]:
        """The steps that open the shutter."""
        return [step for step in self.steps if isinstance(step, ExposeStep)]


SWEEP_SHARE = 1 / 3  # of the highest speed, while somebody watches the cables


def slowed(program: Program, share: float = SWEEP_SHARE) -> Program:
    """The same head, with this share of its speed: a third, unless told otherwise."""

    def slow(axis: AxisSetting) -> AxisSetting:
        return replace(axis, speed_steps_s=max(1, round(axis.speed_steps_s * share)))

    return replace(program, pan=slow(program.pan), tilt=slow(program.tilt))
