"""The program: a plan turned into steps for one rig. A value; nothing here moves anything."""

from dataclasses import dataclass, replace
from typing import Protocol, TypeAlias

from controller.kit.kit import Kit

Exposure: TypeAlias = tuple[int, int]
"""A frame's id, and the number of the exposure in its bracket."""


class Aim(Protocol):
    """Where the camera shall look, in degrees, and who turns it: a frame, or a pose before it is numbered."""

    @property
    def yaw_deg(self) -> float:
        """To the right."""

    @property
    def pitch_deg(self) -> float:
        """Upward."""

    @property
    def by_hand(self) -> bool:
        """Held by hand, because the head cannot."""


class PlannedFrame(Aim, Protocol):
    """What a program needs to know of a frame of a plan."""

    @property
    def id(self) -> int:
        """Its number in the plan."""

    @property
    def row(self) -> int:
        """Frames of one row have one pitch."""


@dataclass(frozen=True, slots=True)
class AxisSetting:
    """Limits, speed and ramp of one axis as the board is told, in steps."""

    min_steps: int
    max_steps: int
    speed_steps_s: int
    accel_steps_s2: int
    steps_per_degree: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """What a move has to do with the switch at zero of one axis.

    The switch `may` change during it; it `must` have changed since the axis last stood clear of it; the move `ends_clear`
    of it.
    """

    may: bool = False
    must: bool = False
    ends_clear: bool = False


@dataclass(frozen=True, slots=True)
class MoveStep:
    """Turn to a frame's absolute position, then wait `settle_ns`.

    `pan` and `tilt` say what it has to do with the switches at zero. A move that no exposure follows is there only to
    pass them.
    """

    frame: int
    row: int
    pan_steps: int
    tilt_steps: int
    settle_ns: int
    expected_ns: int
    """From sending the command to hearing of its end; settling not included."""
    deadline_ns: int
    pan: Crossing = Crossing()
    tilt: Crossing = Crossing()

    @property
    def looks(self) -> bool:
        """Whether the board is asked afterwards where it saw the switches."""
        return self.pan.may or self.tilt.may


@dataclass(frozen=True, slots=True)
class ExposeStep:
    """Make one exposure, then wait `ready_ns` before the camera can take the next one."""

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
    """Wait until the operator says that the camera is held at a pose that the head cannot take."""

    frame: int
    row: int
    yaw_deg: float
    pitch_deg: float


Step: TypeAlias = MoveStep | ExposeStep | AskStep


@dataclass(frozen=True, slots=True)
class Program:
    """Everything a run does. `expected_ns` is the whole run's time, from greeting the board to its last stop.

    `kit` and `frames` are what it was made from; what is to be made once more is made from them as well.
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
    longest_move_ns: int
    """A move across everything that the program visits: what a move from an unforeseen place may take."""
    steps: tuple[Step, ...]
    expected_ns: int

    @property
    def exposures(self) -> list[ExposeStep]:
        """The steps that open the shutter."""
        return [step for step in self.steps if isinstance(step, ExposeStep)]


SWEEP_SHARE = 1 / 3  # of the highest speed, while somebody watches the cables


def slowed(program: Program) -> Program:
    """The same head, with a third of its speed."""

    def slow(axis: AxisSetting) -> AxisSetting:
        return replace(axis, speed_steps_s=max(1, round(axis.speed_steps_s * SWEEP_SHARE)))

    return replace(program, pan=slow(program.pan), tilt=slow(program.tilt))
