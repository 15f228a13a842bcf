"""Moving the head for a person: by single keys, or to a pose. Every motion is announced."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass

from controller.amounts import duration
from controller.capture.hand import Hand
from controller.capture.people import People
from controller.capture.zero import AT_MARK, find_zero, ready
from controller.errors import InputError, WorldError
from controller.program.build import to_steps
from controller.program.kinematics import axes_for
from controller.program.program import Program
from protocol.units import NS


@dataclass(frozen=True, slots=True)
class Keys:
    """Single keys: within `reading` they arrive one by one; `next_key` returns the next one, or None."""

    reading: Callable[[], AbstractContextManager[None]]
    next_key: Callable[[], str | None]


SIZES_DEG = (10.0, 1.0, 0.1, 0.0)  # the last is one step of the motor
WAYS = {
    "r": (1, 0), "l": (-1, 0), "u": (0, 1), "d": (0, -1),
    "\x1b[C": (1, 0), "\x1b[D": (-1, 0), "\x1b[A": (0, 1), "\x1b[B": (0, -1),
    "\xe0M": (1, 0), "\xe0K": (-1, 0), "\xe0H": (0, 1), "\xe0P": (0, -1),
}  # fmt: skip
NAMES = {(1, 0): "right", (-1, 0): "left", (0, 1): "up", (0, -1): "down"}
HELP = (
    "Each key moves the head at once: arrows or l r u d. 1 2 3 4 choose 10°, 1°, 0.1° or one motor step, "
    "z makes this place zero, q or Enter ends, Ctrl-C stops."
)


def jog_by_keys(hand: Hand, keys: Keys, people: People) -> None:
    """Move by keys until the operator ends it. Raises WorldError, LinkLost, and RunStopped at Ctrl-C."""
    size_deg = SIZES_DEG[1]
    people.say(HELP)
    ready(hand, people)
    with hand.keys_only(), keys.reading():  # keys pressed before this are dropped
        people.say(place_of(hand).text())
        while (key := hand.wait_key(keys.next_key)) not in ("q", "\r", "\n"):
            if key in set("1234"):
                size_deg = SIZES_DEG[int(key) - 1]
                people.say(f"{size_deg:g}° at a time" if size_deg else "one motor step at a time")
            elif key == "z":
                zero_again(hand, people)
            elif key in WAYS:
                step_by(hand, WAYS[key], size_deg, people)
            else:
                people.say(HELP)
    hand.gate.shut()


def zero_again(hand: Hand, people: People) -> None:
    """Find zero, or take this place for it, and say which. Raises WorldError, LinkLost, RunStopped."""
    find_zero(hand, people)
    people.say(f"Zero {'is found again' if hand.finds_zero else 'is here'}: {place_of(hand).text()}")


def step_by(hand: Hand, way: tuple[int, int], size_deg: float, people: People, by: str = "key") -> None:
    """Turn by `size_deg`, or by one motor step if it is 0; a target outside the limits is only told.

    Raises WorldError, LinkLost, RunStopped.
    """
    pan, tilt = hand.at_steps
    sizes = [max(1, round(size_deg * scale)) for scale in hand.steps_per_degree]
    target = pan + way[0] * sizes[0], tilt + way[1] * sizes[1]
    try:
        hand.must_reach(target)
    except InputError as error:  # beyond the limits
        people.say(str(error))
        return
    hand.gate.announce(f"{NAMES[way]}, by your {by}", 0)
    hand.wait_armed()
    hand.wait_move(*target)
    people.say(place_of(hand).text())


@dataclass(frozen=True, slots=True)
class HeadPlace:
    """Where the camera points (yaw and pitch in the levelled world), and where the axes are in steps."""

    yaw_deg: float
    pitch_deg: float
    pan_steps: int
    tilt_steps: int

    def text(self) -> str:
        """For people."""
        return f"yaw {self.yaw_deg:.3f}°, pitch {self.pitch_deg:.3f}° ({self.pan_steps} and {self.tilt_steps} steps)"


def place_of(hand: Hand) -> HeadPlace:
    """Where the head is, by its own count of steps."""
    return HeadPlace(*hand.pose_deg, *hand.at_steps)


def jog_to(
    hand: Hand, program: Program, yaw_deg: float, pitch_deg: float, people: People, *, zero_here: bool = False
) -> HeadPlace:
    """Move to a pose; `zero_here` says that a head without switches is at its mark now. Raises InputError, WorldError."""
    head = program.kit.head
    pan_deg, tilt_deg = axes_for(head, yaw_deg, pitch_deg)
    target = to_steps(pan_deg, head.pan), to_steps(tilt_deg, head.tilt)
    hand.wait_known()
    hand.must_reach(target)
    if zero_here and hand.finds_zero:
        raise InputError("--zero-here is for a head without switches at zero; this one finds zero by itself.")
    if zero_here or not hand.known:
        if not (zero_here or hand.finds_zero or hand.wait_answer(AT_MARK)):
            raise WorldError("Zero is not set. Put the head at its mark, and add --zero-here.")
        find_zero(hand, people)
    lasts = duration(hand.motion_ns(target) / NS)
    hand.wait_announced(f"to yaw {yaw_deg:.1f}°, pitch {pitch_deg:.1f}°, about {lasts}", people.lead_ns)
    hand.wait_armed()
    hand.wait_move(*target)
    return place_of(hand)
