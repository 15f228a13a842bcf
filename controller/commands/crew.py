"""The people and the screen beside a run, and the job of running one session on one port with them."""

import traceback
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Any

from controller import clock
from controller.capture.events import EventKind
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.jog import Keys
from controller.capture.operator import Operator
from controller.capture.people import People
from controller.capture.planned_pauses import NO_PAUSES, PauseRule
from controller.capture.port import Port
from controller.capture.preflight import Check
from controller.capture.readiness import Readying
from controller.display import Display
from controller.errors import InputError, StorageFailed, WorldError
from controller.planning.plan import Plan
from controller.program.program import Program, slowed
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind, SentenceRow

FAULT_LINES = 6
"""Of the traceback of an error that nobody foresaw, kept for whoever mends it."""
PortOpener = Callable[[str, int], AbstractContextManager[Any]]
"""Opens a port by its name and its baud rate."""


@dataclass(frozen=True, slots=True)
class Crew:
    """The people beside the run, its screen, and its options.

    `tell` receives each check, `show` makes the screen. `keys` lets a person move the head to its mark; None if nobody is
    there. `ask_first`: ask whether all is clear before anything moves. `sweep`: walk round the extremes first.
    `pauses` are those that were planned. `hang_up` is the request that a terminal makes by hanging up.
    """

    people: People
    tell: Callable[[Check], None]
    show: Callable[[Program, int, set[tuple[int, int]]], AbstractContextManager[Display]]
    keys: Keys | None = None
    ask_first: bool = True
    sweep: bool = True
    tether: bool = False
    pauses: PauseRule = NO_PAUSES
    hang_up: EventKind | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One session being worked on, and its crew."""

    plan: Plan
    session: Session
    port: Port
    crew: Crew
    interrupts: Interrupts

    @property
    def people(self) -> People:
        """The people beside the run. What they are told is kept in the session."""
        return replace(self.crew.people, keep=self.keep)

    def keep(self, kind: SentenceKind, words: str, lasts_ns: int | None = None) -> None:
        """Keep a sentence that people are told. Raises StorageFailed."""
        self.session.say(SentenceRow(self.port.now(), clock.wall_time(), kind, words, lasts_ns))

    def tell(self, check: Check) -> None:
        """Tell people of a check."""
        self.crew.tell(check)
        self.keep(SentenceKind.CHECK, check.text)

    def operator(self, people: People) -> Operator:
        """The person who is asked, and whose requests are read."""
        return Operator(self.port.now, self.interrupts, people, self.session)

    def hand(self, program: Program) -> Hand:
        """The head, slowed down, for motions before the run."""
        people = self.people
        return Hand(self.port, slowed(program), self.operator(people), Gate.of(people, self.port.now))

    def make_ready(self, program: Program) -> None:
        """Set zero and walk round the extremes, as far as needed and wanted. Raises WorldError, LinkLost."""
        readying = Readying(self.hand(program), self.session, self.people, self.crew.keys)
        readying.wait_ready(program, sweep=self.crew.sweep)


@contextmanager
def job_of(plan: Plan, session: Session, port: Port, crew: Crew) -> Iterator[Job]:
    """A job during which signals are read as requests. An error that ends it is kept in the session."""
    with Interrupts(crew.hang_up) as interrupts:
        job = Job(plan, session, port, crew, interrupts)
        try:
            yield job
        except Exception as error:
            with suppress(StorageFailed):  # the error itself is what must be reported
                job.keep(SentenceKind.FAULT, _fault_words(error))
            raise


def _fault_words(error: Exception) -> str:
    """The sentence of an error that we foresaw; of any other, the last lines of its traceback."""
    if isinstance(error, InputError | WorldError):
        return str(error)
    lines = "".join(traceback.format_exception(error)).splitlines()
    return "\n".join(line.strip() for line in lines[-FAULT_LINES:])
