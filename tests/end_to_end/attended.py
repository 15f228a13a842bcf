"""Whole commands in virtual time, with a person beside the head: capture, and resume until the set is complete."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from controller.capture.jog import Keys
from controller.capture.people import People
from controller.capture.seen import Seen
from controller.commands.capture import capture_command, resume_command
from controller.commands.crew import Crew
from controller.commands.stand_in import rig_spec
from controller.display import Display
from controller.errors import WorldError
from controller.planning.plan import Plan
from controller.program.program import Program
from protocol.units import NS
from sim.person import Person, PersonSpec
from sim.rig import NOTHING, Rig
from sim.scenario import Scenario
from sim.virtual_port import VirtualPort

MOST_TRIES = 6


@dataclass
class Attended:
    """A plan's rig with a person beside it, and the files of a capture."""

    plan: Plan
    folder: Path
    seed: int
    spec: PersonSpec = field(default_factory=PersonSpec)
    scenario: Scenario = NOTHING
    yes: bool = False
    ask_before_moving: bool = False
    sweep: bool = True
    lead_s: float = 5.0
    at_terminal: bool = True
    keys: Keys | None = None
    ends: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rig = Rig(replace(rig_spec(self.plan.kit, self.seed), scenario=self.scenario))
        self.port = VirtualPort(self.rig)
        self.person = Person(self.spec, self.seed, self.port.now, self.port.wake_at, self.rig.head)
        self.rig.person = self.person
        self.plan_path = self.folder / "plan.json"
        self.session_path = self.folder / "session.sqlite"
        self.url = f"virtual port of {self.folder}"  # tests that run at the same time must not share it
        self.plan_path.write_text(self.plan.model_dump_json(), encoding="utf-8")

    @property
    def people(self) -> People:
        return People(
            self.person.say,
            lambda: None,
            self.person,
            at_terminal=self.at_terminal,
            yes=self.yes,
            lead_ns=round(self.lead_s * NS),
            ask_before_moving=self.ask_before_moving,
        )

    def crew(self) -> Crew:
        @contextmanager
        def show(program: Program, now_ns: int, made: set[tuple[int, int]]) -> Iterator[Display]:
            yield Display(Seen(program, now_ns, len(made), len(program.exposures)), self.person.say)

        return Crew(self.people, lambda _: None, show, keys=self.keys, sweep=self.sweep)

    def open_port(self, _: str, __: int) -> Any:
        return nullcontext(self.port)

    def capture(self, tries: int = MOST_TRIES, **more: Any) -> bool:
        """Capture, then resume as often as necessary. Returns whether the set is complete in the end."""
        try:
            made = capture_command(
                self.plan_path, self.url, self.session_path, self.crew(), open_port=self.open_port, **more
            )
            self.ends.append(made.summary.sentence)
            if made.summary.complete:
                return True
        except WorldError as error:
            self.ends.append(str(error))
        return self.resume(tries)

    def resume(self, tries: int = MOST_TRIES) -> bool:
        """Resume until the set is complete, at most `tries` times; begin again if nothing was begun."""
        for _ in range(tries):
            self.let_pass(60)
            self.person.say("The run has ended; the head is about to stop for good.")
            try:
                if self.session_path.exists():
                    summary = resume_command(self.session_path, None, self.crew(), self.open_port)
                else:
                    summary = capture_command(
                        self.plan_path, self.url, self.session_path, self.crew(), open_port=self.open_port
                    ).summary
                self.ends.append(summary.sentence)
                if summary.complete:
                    return True
            except WorldError as error:
                self.ends.append(str(error))
        return False

    def let_pass(self, seconds: float) -> None:
        """Let time pass without a host."""
        end_ns = self.port.now() + round(seconds * NS)
        while self.port.now() < end_ns:
            self.port.wait_bytes(end_ns)
