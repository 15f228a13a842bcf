"""`fullturn jog`: move the head by keys or to a pose, to aim it or to set zero."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from controller.capture.events import EventKind
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.jog import HeadPlace, Keys, jog_by_keys, jog_to, place_of
from controller.capture.operator import Operator, Respondent
from controller.capture.people import People, YesNoQuestion
from controller.commands.crew import PortOpener
from controller.errors import InputError, WorldError
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.ports.serial_port import SerialPort, port_alone
from controller.program.build import build_program
from controller.program.program import Program, slowed

CLEAR = YesNoQuestion("The head will move, slowly. Is everything clear of it, cables included?")


RespondentMaker = Callable[[Callable[[], int], Interrupts, People], Respondent]
"""Makes the person who is asked, from the port's clock, the signals, and the people who are told."""


@contextmanager
def held_head(
    kit_path: Path,
    url: str,
    purpose: str,
    people: People,
    open_port: PortOpener = SerialPort,
    *,
    respondent: RespondentMaker = Operator,
    adapted: Callable[[Program], Program] = lambda program: program,
) -> Iterator[tuple[Hand, Program]]:
    """A head, slowed down, with no other program on its port. Raises InputError, LinkLost, WorldError.

    `purpose` is what another program that wants the port is told; `people` are told of every motion, `respondent` is
    asked. `adapted` changes the program before it is used.
    """
    kit = load_kit(kit_path)
    must_be_own_head(kit, str(kit_path))
    program = adapted(slowed(build_program(kit, ())))
    with port_alone(url, purpose), open_port(url, kit.board.baud) as port, Interrupts(EventKind.STOP) as interrupts:
        operator = respondent(port.now, interrupts, people)
        yield Hand(port, program, operator, Gate.of(people, port.now)), program


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
    with held_head(kit_path, url, "fullturn jog", people, open_port) as (hand, program):
        if not hand.wait_answer(CLEAR):
            raise WorldError("Not started; nothing was moved. Clear the way first; --yes skips this question.")
        if to is not None:
            place = jog_to(hand, program, *to, people, zero_here=zero_here)
        else:
            assert keys is not None
            hand.wait_known()
            jog_by_keys(hand, keys, people)
            place = place_of(hand)
        hand.wait_rest()
    return place
