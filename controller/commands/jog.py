"""`fullturn jog`: the head moved by keys or to a pose, for aiming and for setting zero."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from controller.calibration.records import AxisName
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.commands.capture import port_alone, slowed
from controller.errors import InputError, WorldError
from controller.kit.load import load_kit
from controller.ports.serial_port import SerialPort
from controller.program.build import build_program, to_steps
from controller.program.program import Program

SIZES_DEG = (10.0, 1.0, 0.1, 0.0)  # the last one: a single step of the motor
WAYS = {
    "r": (1, 0), "l": (-1, 0), "u": (0, 1), "d": (0, -1),
    "\x1b[C": (1, 0), "\x1b[D": (-1, 0), "\x1b[A": (0, 1), "\x1b[B": (0, -1),
    "\xe0M": (1, 0), "\xe0K": (-1, 0), "\xe0H": (0, 1), "\xe0P": (0, -1),
}  # fmt: skip
HELP = (
    "Arrows or l r u d move, 1 2 3 4 choose 10°, 1°, 0.1° or one motor step, z makes this place zero, "
    "q or Enter ends, Ctrl-C stops."
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where the head stands."""

    yaw_deg: float
    pitch_deg: float
    pan_steps: int
    tilt_steps: int

    def text(self) -> str:
        """For people."""
        return f"yaw {self.yaw_deg:.3f}°, pitch {self.pitch_deg:.3f}° ({self.pan_steps} and {self.tilt_steps} steps)"


def place_of(hand: Hand) -> Place:
    """Where the head stands, as far as it knows."""
    return Place(*hand.pose_deg, *hand.at_steps)


@contextmanager
def held_head(kit_path: Path, url: str, purpose: str) -> Iterator[tuple[Hand, Program]]:
    """A head at hand, slowed down, with nobody else on its port. Raises InputError, LinkLost, WorldError.

    `purpose` is what another program is told that wants the port meanwhile.
    """
    kit = load_kit(kit_path)
    program = slowed(build_program(kit, ()))
    with (
        port_alone(url, purpose),
        SerialPort(url, kit.board.baud) as port,
        Interrupts() as interrupts,
    ):
        yield Hand(port, program, interrupts.next_wish), program


def wait_known(hand: Hand) -> None:
    """Make the head ready; find zero, or take this place for it, unless it knows where it stands."""
    hand.wait_ready()
    if not hand.known:
        hand.wait_zero()


class HandMover:
    """Moves one axis at a time, for a measurement. `moved` is the axis that moved last."""

    def __init__(self, hand: Hand) -> None:
        self._hand = hand
        self.moved = AxisName.PAN

    def wait_go_to(self, axis: AxisName, steps: int) -> None:
        """Move one axis to an absolute step and come to rest; zero is found first if it is not known.

        Between two moves the board may lose patience, so it is armed anew for each. Raises InputError, WorldError.
        """
        wait_known(self._hand)
        self.moved = axis
        pan, tilt = self._hand.at_steps
        self._hand.wait_move(*((steps, tilt) if axis is AxisName.PAN else (pan, steps)))


def jog_to(hand: Hand, program: Program, yaw_deg: float, pitch_deg: float) -> Place:
    """Move to a pose. Raises InputError outside the limits."""
    wait_known(hand)
    head = program.kit.head
    hand.wait_move(to_steps(yaw_deg, head.pan), to_steps(pitch_deg, head.tilt))
    return place_of(hand)


def jog_by_keys(hand: Hand, key: Callable[[], str], tell: Callable[[str], None]) -> Place:
    """Move by keys until the operator ends it. Between two keys the board may lose patience: it is armed anew each time.

    Raises RunStopped at Ctrl-C; WorldError, LinkLost.
    """
    tell(HELP)
    size_deg = SIZES_DEG[1]
    wait_known(hand)
    tell(place_of(hand).text())
    while (pressed := key()) not in ("q", "\r", "\n", ""):
        if pressed in "1234":
            size_deg = SIZES_DEG[int(pressed) - 1]
            tell(f"{size_deg:g}° at a time" if size_deg else "one motor step at a time")
        elif pressed == "z":
            wait_known(hand)
            hand.wait_zero()
            tell(f"Zero {'is found again' if hand.finds_zero else 'is here'}: {place_of(hand).text()}")
        elif pressed in WAYS:
            _step(hand, WAYS[pressed], size_deg, tell)
        else:
            tell(HELP)
    return place_of(hand)


def _step(hand: Hand, way: tuple[int, int], size_deg: float, tell: Callable[[str], None]) -> None:
    try:
        wait_known(hand)
        pan, tilt = hand.at_steps
        by = [max(1, round(size_deg * scale)) for scale in hand.steps_per_degree]
        hand.wait_move(pan + way[0] * by[0], tilt + way[1] * by[1])
    except InputError as error:  # beyond the limits
        tell(str(error))
        return
    tell(place_of(hand).text())


def jog_command(kit_path: Path, url: str, to: tuple[float, float] | None, key: Callable[[], str] | None,
                tell: Callable[[str], None], may_move: Callable[[str], bool]) -> Place:  # fmt: skip
    """Move the head `to` a pose, or by keys. Raises InputError, WorldError, LinkLost."""
    if to is None and key is None:
        raise InputError("There is no terminal to press keys at; say where to go: --to YAW PITCH.")
    with held_head(kit_path, url, "fullturn jog") as (hand, program):
        if not may_move("The head moves slowly now. Is everything clear of it?"):
            raise WorldError("Not begun: clear the way first (then --yes answers for you); nothing was moved.")
        place = jog_to(hand, program, *to) if to is not None else jog_by_keys(hand, key or str, tell)
        hand.wait_rest()
    return place
