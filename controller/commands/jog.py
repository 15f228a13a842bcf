"""`fullturn jog`: the head moved by keys or to a pose, for aiming and for setting zero."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.calibration.records import AxisName
from controller.capture.events import EventKind
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator
from controller.capture.people import People, YesNoQuestion
from controller.commands.capture import port_alone
from controller.commands.crew import Keys, PortOpener, slowed
from controller.commands.moving import AT_MARK, HeadPlace, find_zero, jog_by_keys, place_of
from controller.errors import InputError, WorldError
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.ports.serial_port import SerialPort
from controller.program.build import build_program, to_steps
from controller.program.kinematics import axes_for
from controller.program.program import Program
from controller.report.wording import duration
from protocol.units import NS

CLEAR = YesNoQuestion("The head will move, slowly. Is everything clear of it, cables included?")


@contextmanager
def held_head(
    kit_path: Path, url: str, purpose: str, people: People, open_port: PortOpener = SerialPort
) -> Iterator[tuple[Hand, Program]]:
    """A head at hand, slowed down, with nobody else on its port. Raises InputError, LinkLost, WorldError.

    `purpose` is what another program is told that wants the port meanwhile; `people` are told of every motion.
    """
    kit = load_kit(kit_path)
    must_be_own_head(kit, str(kit_path))
    program = slowed(build_program(kit, ()))
    with port_alone(url, purpose), open_port(url, kit.board.baud) as port, Interrupts(EventKind.STOP) as interrupts:
        operator = Operator(port.now, interrupts, people)
        yield Hand(port, program, operator, Gate.of(people, port.now)), program


class HandMover:
    """Moves one axis at a time, for a measurement. `moved` is the axis that moved last."""

    def __init__(self, hand: Hand, people: People) -> None:
        self._hand, self._people = hand, people
        self.moved = AxisName.PAN

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        """Announce, then move one axis to these absolute steps in turn, and come to rest; zero is found first if needed.

        Between two calls the head rests disarmed, so that the board waits for the reading as long as it takes. Raises
        InputError, WorldError.
        """
        hand = self._hand
        hand.wait_known()
        pan, tilt = hand.at_steps
        targets = [(steps, tilt) if axis is AxisName.PAN else (pan, steps) for steps in stops]
        for target in targets:
            hand.must_reach(target)
        per_degree = hand.steps_per_degree[0 if axis is AxisName.PAN else 1]
        if not hand.known:
            find_zero(hand, self._people)
            hand.wait_rest()
        ways = zip([hand.at_steps, *targets], targets, strict=False)
        lasts_ns = sum(hand.motion_ns(there, here) for here, there in ways)
        why = f"{axis.value} turns to {stops[-1] / per_degree:.1f}°, about {duration(lasts_ns / NS)}"
        hand.wait_announced(why, self._people.lead_ns)
        hand.wait_armed()
        self.moved = axis
        for target in targets:
            hand.wait_move(*target)
        hand.wait_rest()
        hand.gate.shut()


def jog_to(
    hand: Hand, program: Program, yaw_deg: float, pitch_deg: float, people: People, *, zero_here: bool = False
) -> HeadPlace:
    """Move to a pose; with `zero_here` a head without switches is at its mark now. Raises InputError, WorldError."""
    head = program.kit.head
    pan_deg, tilt_deg = axes_for(head, yaw_deg, pitch_deg)
    target = to_steps(pan_deg, head.pan), to_steps(tilt_deg, head.tilt)
    hand.wait_known()
    hand.must_reach(target)
    if zero_here and hand.finds_zero:
        raise InputError("--zero-here is for a head without switches at zero; this one finds zero by itself.")
    if zero_here or not hand.known:
        if not (zero_here or hand.finds_zero or hand.wait_answer(AT_MARK)):
            raise WorldError("Zero is not set. With the head at its mark, --zero-here makes that place zero.")
        find_zero(hand, people)
    lasts = duration(hand.motion_ns(target) / NS)
    hand.wait_announced(f"to yaw {yaw_deg:.1f}°, pitch {pitch_deg:.1f}°, about {lasts}", people.lead_ns)
    hand.wait_armed()
    hand.wait_move(*target)
    return place_of(hand)


def jog_command(
    kit_path: Path,
    url: str,
    to: tuple[float, float] | None,
    keys: Keys | None,
    people: People,
    open_port: PortOpener = SerialPort,
    *,
    zero_here: bool = False,
) -> HeadPlace:
    """Move the head `to` a pose, or by keys. Raises InputError, WorldError, LinkLost, RunStopped."""
    if to is None and keys is None:
        raise InputError("There is no terminal to press keys at; say where to go: --to YAW PITCH.")
    if to is None and zero_here:
        raise InputError("--zero-here goes with --to YAW PITCH. By keys, z makes a place zero.")
    with held_head(kit_path, url, "fullturn jog", people, open_port) as (hand, program):
        if not hand.wait_answer(CLEAR):
            raise WorldError("Not started: clear the way first (then --yes answers for you); nothing was moved.")
        if to is not None:
            place = jog_to(hand, program, *to, people, zero_here=zero_here)
        else:
            assert keys is not None
            hand.wait_known()
            jog_by_keys(hand, keys, people)
            place = place_of(hand)
        hand.wait_rest()
    return place
