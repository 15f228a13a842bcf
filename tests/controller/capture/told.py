"""A run told event by event, without a board."""

from __future__ import annotations

from typing import Any

from controller.capture.effects import (
    Effect,
    End,
    Send,
    SendUrgent,
    Timer,
)
from controller.capture.events import Event, EventKind
from controller.capture.machine import handle
from controller.capture.people import Precautions
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.program.build import build_program
from controller.program.program import Program
from protocol.messages import (
    ZERO_SWITCHES,
    EdgeFlag,
    Index,
    Outcome,
)
from protocol.units import NS, BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
K, S = EventKind, RunState
T = 100 * NS
BOOT, OTHER_BOOT = BootId(5), BootId(6)
STILL = Index(0, Steps(0), EdgeFlag(0), 0, Steps(0), EdgeFlag(0))
CARE = Precautions(lead_ns=10 * NS, asks=True)
ENDS = {K.EXPOSED: Outcome.EXPOSED_SYNC, K.NOT_CONFIRMED: Outcome.NO_SYNC, K.CUT_SHORT: Outcome.CUT_SHORT}


class Told:
    """A run and its clock; each event comes a second after the one before."""

    def __init__(self, program: Program = PROGRAM, care: Precautions | None = None, **values: Any) -> None:
        self.run = Run(program, care=care, **values)
        self.now_ns = T
        self.effects: list[Effect] = []

    def stands_in(self) -> RunState:
        return self.run.state

    def hear(self, kind: EventKind, after_ns: int = NS, **values: Any) -> list[Effect]:
        self.now_ns += after_ns
        ending: dict[str, Any] = (
            {"command_id": CommandId(self.run.shot.id), "outcome": ENDS[kind]} if kind in ENDS else {}
        )
        if kind is K.WELCOMED:
            ending = {"command_id": CommandId(self.run.board.next_id - 1)}  # the last that it has taken
        usual: dict[str, Any] = {
            "boot_id": BOOT, "capabilities": ZERO_SWITCHES, "index": STILL, "board_clock_ms": 77, **ending,
        }  # fmt: skip
        self.effects = handle(self.run, Event(kind, self.now_ns, **{**usual, **values}))
        return self.effects

    def through(self, *kinds: EventKind) -> Told:
        for kind in kinds:
            self.hear(kind)
        return self

    def of(self, kind: type) -> list[Any]:
        return [effect for effect in self.effects if isinstance(effect, kind)]

    @property
    def sent(self) -> list[type]:
        return [type(effect.request) for effect in self.effects if isinstance(effect, Send | SendUrgent)]

    @property
    def last_words(self) -> str:
        (end,) = self.of(End)
        return str(end.sentence)

    @property
    def timer_s(self) -> float | None:
        """When the timer that was set runs out, from now."""
        at_ns = self.of(Timer)[-1].at_ns
        return None if at_ns is None else (at_ns - self.now_ns) / NS


def exposing(care: Precautions | None = None, **values: Any) -> Told:
    """At the first exposure, with zero found and seen."""
    told = Told(care=care, **values).through(K.START, K.WELCOMED)
    leads = {
        S.WARNING: K.WAITED,
        S.ARMING: K.ARMED,
        S.REFERENCING: K.REFERENCED,
        S.CHECKING: K.CHECKED,
        S.MOVING: K.ARRIVED,
        S.SETTLING: K.WAITED,
    }
    while told.stands_in() is not S.EXPOSING:
        lead_ns = told.run.people.opens_ns - told.now_ns if told.stands_in() is S.WARNING else NS
        told.hear(leads[told.stands_in()], lead_ns)
    return told


def back_at_rest(told: Told, **rest: Any) -> Told:
    """The line is back, and the board is brought to rest."""
    told.through(K.WAITED, K.WELCOMED)
    assert told.stands_in() is S.QUIETING
    told.hear(K.AT_REST, **{"known": True, "at_steps": (4800, 1600), **rest})
    return told
