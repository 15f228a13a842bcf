"""Words before steps: what passes the gate, when, and what people hear."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.gate import Announcement, Gate, Unannounced
from controller.capture.people import LEAD_AGAIN_NS, People, Precautions
from protocol.messages import Arm, Expose, GetStatus, Halt, Move, Reference, Request, Stop
from protocol.units import NS, BootId, CommandId, Steps

ID = CommandId(1)
MOTION: tuple[Request, ...] = (
    Arm(ID, BootId(1), 100), Reference(ID, 10, 10, 2), Move(ID, Steps(1), Steps(1)),
)  # fmt: skip
HARMLESS: tuple[Request, ...] = (GetStatus(), Stop(), Halt(), Expose(ID, 0, 0, 0, 1, 1))


class World:
    """A clock that a test sets, and what people hear."""

    def __init__(self) -> None:
        self.now = 0
        self.said: list[str] = []
        self.rung = 0
        self.gate = Gate(lambda: self.now, lambda words, _: self.said.append(words), self._ring)

    def _ring(self) -> None:
        self.rung += 1

    def passes(self, request: Request) -> bool:
        try:
            self.gate.check(request)
        except Unannounced:
            return False
        return True


@given(st.integers(0, 10**12), st.integers(0, 10**11), st.integers(-(10**10), 10**11))
def test_motion_begins_when_the_time_that_was_promised_is_over(told_ns: int, lead_ns: int, later_ns: int) -> None:
    world = World()
    assert not any(world.passes(request) for request in MOTION)
    world.now = told_ns
    assert world.gate.announce("a test", lead_ns) == told_ns + lead_ns
    assert world.gate.announced == Announcement("a test", told_ns, told_ns + lead_ns)
    world.now = told_ns + lead_ns + later_ns
    assert {world.passes(request) for request in MOTION} == {later_ns >= 0}
    world.gate.shut()
    assert not any(world.passes(request) for request in MOTION)
    assert all(world.passes(request) for request in HARMLESS)


@pytest.mark.parametrize(
    ("lead_ns", "when", "rings"),
    [(0, "now", 0), (1, "in 1 s", 1), (NS // 3, "in 1 s", 1), (10 * NS, "in 10 s", 1), (3 * NS - 1, "in 3 s", 1)],
)
def test_people_hear_when_and_why_and_how_to_stop_it(lead_ns: int, when: str, rings: int) -> None:
    world = World()
    world.gate.announce("the run begins", lead_ns)
    world.gate.announce("of a test", lead_ns, what="The tilt axis turns", to_stop="Let go.")
    assert world.said == [
        f"The head moves {when}: the run begins. Ctrl-C keeps it still.",
        f"The tilt axis turns {when}: of a test. Let go.",
    ]
    assert world.rung == 2 * rings


def test_the_gate_of_people_reaches_them_and_that_of_a_simulation_stands_open() -> None:
    said: list[str] = []
    rung: list[int] = []
    gate = Gate.of(People(said.append, ring=lambda: rung.append(1)), lambda: 5)
    assert gate.announce("a test", NS) == NS + 5
    assert (len(said), len(rung)) == (1, 1)
    for request in MOTION:
        Gate.of_simulation().check(request)


@pytest.mark.parametrize("at_terminal", [False, True])
@pytest.mark.parametrize("yes", [False, True])
@pytest.mark.parametrize("before_moving", [False, True])
@pytest.mark.parametrize("lead_ns", [0, 3 * NS, 10 * NS])
def test_what_a_run_does_for_people(at_terminal: bool, yes: bool, before_moving: bool, lead_ns: int) -> None:
    """Nobody is asked who cannot answer; a later warning leaves at least five seconds to take the hands away."""
    people = People(at_terminal=at_terminal, yes=yes, lead_ns=lead_ns, ask_before_moving=before_moving)
    assert people.care == Precautions(lead_ns, asks=at_terminal and not yes, always_asks=before_moving)
    assert people.care.lead_again_ns == max(5 * NS, lead_ns)
    assert LEAD_AGAIN_NS == 5 * NS
    assert people.lines.next_line() is None
