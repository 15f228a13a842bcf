"""Who is beside a run, and the job of running one session on one port with them."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from typing import Any

from controller.capture.events import EventKind
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.operator import Operator
from controller.capture.people import People
from controller.capture.port import Port
from controller.commands.preflight import Check
from controller.display import Display
from controller.planning.plan import Plan
from controller.program.program import AxisSetting, Program
from controller.session.session import Session

PortOpener = Callable[[str, int], AbstractContextManager[Any]]
"""Opens a line by its name and its baud rate."""
SWEEP_SHARE = 1 / 3  # of the highest speed, while somebody watches the cables


@dataclass(frozen=True, slots=True)
class Keys:
    """Single keys: `reading` lets them come one by one, `next_key` is the next one or None."""

    reading: Callable[[], AbstractContextManager[None]]
    next_key: Callable[[], str | None]


@dataclass(frozen=True, slots=True)
class Crew:
    """Who is beside the run, and what they want of it.

    `tell` hears of each check, `show` makes the screen. `keys` lets somebody move the head to its mark; None if nobody is
    there to do so. `ask_first`: ask whether all is clear before anything moves. `sweep`: walk round the extremes first.
    `hang_up` is what a terminal that hangs up requests.
    """

    people: People
    tell: Callable[[Check], None]
    show: Callable[[Program, int, set[tuple[int, int]]], AbstractContextManager[Display]]
    keys: Keys | None = None
    ask_first: bool = True
    sweep: bool = True
    tether: bool = False
    hang_up: EventKind | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One session being worked on, and who is heard meanwhile."""

    plan: Plan
    session: Session
    port: Port
    crew: Crew
    interrupts: Interrupts

    def operator(self, people: People) -> Operator:
        """Whoever is heard and asked."""
        return Operator(self.port.now, self.interrupts, people, self.session)

    def hand(self, program: Program) -> Hand:
        """The head, slowed down, to be moved before the run."""
        people = self.crew.people
        return Hand(self.port, slowed(program), self.operator(people), Gate.of(people, self.port.now))


@contextmanager
def job_of(plan: Plan, session: Session, port: Port, crew: Crew) -> Iterator[Job]:
    """A job with signals heard as requests from its beginning to its end."""
    with Interrupts(crew.hang_up) as interrupts:
        yield Job(plan, session, port, crew, interrupts)


def slowed(program: Program) -> Program:
    """The same head, with a third of its speed."""

    def slow(axis: AxisSetting) -> AxisSetting:
        return replace(axis, speed_steps_s=max(1, round(axis.speed_steps_s * SWEEP_SHARE)))

    return replace(program, pan=slow(program.pan), tilt=slow(program.tilt))
