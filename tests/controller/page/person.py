"""A person at the page, in virtual time: what they do when, what they were shown, and how the head really moves."""

from __future__ import annotations

import json
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import partial
from itertools import zip_longest
from pathlib import Path
from typing import Any

from controller.commands.jog import held_head
from controller.page.conversation import PersonAtPage
from controller.page.held import Holding, pad_command
from protocol.units import MS, NS
from sim.axis import SimulatedAxis
from sim.motors import Motion
from sim.rig import Rig
from sim.virtual_port import HostKilled, VirtualPort
from tests.controller.commands.shell import KIT
from tests.end_to_end.whole_runs import World, kit_of, world_of

RENEW_NS = 100 * MS
LOOKS_NS = 500 * MS


@dataclass
class PagePerson:
    """The page's end of the line. `due` are the messages by the time of their arrival; `said` is what came back.

    Each question is answered with the next of `answers`, `after_ms` after it was shown; None is never given.
    """

    port: VirtualPort
    due: list[tuple[int, dict[str, Any]]] = field(default_factory=list)
    answers: list[bool | None] = field(default_factory=list)
    after_ms: int = 700
    leaves_ns: int = 100 * NS
    said: list[dict[str, Any]] = field(default_factory=list)
    shown_ns: list[int] = field(default_factory=list)
    here_until_ns: int = 1000 * NS

    @property
    def gone(self) -> bool:
        return self.port.now() >= self.leaves_ns

    def at(self, at_ns: int, message: dict[str, Any]) -> None:
        """Let a message arrive at this time."""
        self.due = sorted([*self.due, (at_ns, message)], key=lambda each: each[0])
        self.port.wake_at(at_ns)

    def leave(self, at_ns: int) -> None:
        """Close the line at this time."""
        self.leaves_ns = at_ns
        self.port.wake_at(at_ns)

    def press(self, press: int, begin_ns: int, end_ns: int, *, release: bool = True, **more: Any) -> int:
        """Hold a finger on the pad. Returns when it was last renewed."""
        number, at_ns, last_ns = 1, begin_ns, begin_ns
        while at_ns < end_ns or number == 1:
            self.at(at_ns, lease(press, number, at_ns, **more))
            number, last_ns, at_ns = number + 1, at_ns, at_ns + RENEW_NS
        if release:
            self.at(end_ns, {"release": press})
        return last_ns

    def read_lines(self) -> list[bytes]:
        now = self.port.now()
        arrived = [json.dumps(message).encode() for at_ns, message in self.due if at_ns <= now]
        self.due = [(at_ns, message) for at_ns, message in self.due if at_ns > now]
        if now < self.here_until_ns:
            arrived.append(json.dumps({"here": now}).encode())
        return arrived

    def write(self, line: bytes) -> None:
        message = json.loads(line)
        self.said.append(message)
        self.shown_ns.append(self.port.now())
        answer = self.answers.pop(0) if "ask" in message and self.answers else None
        if answer is not None:
            self.at(self.port.now() + self.after_ms * MS, {"answer": message["number"], "yes": answer})

    def sentences(self) -> list[str]:
        return [message["say"] for message in self.said if "say" in message]

    def places(self) -> list[dict[str, Any]]:
        return [message["place"] for message in self.said if "place" in message]


def lease(press: int, number: int, renewed_ns: int, pan: int = 1, tilt: int = 0, speed: int = 2) -> dict[str, Any]:
    fields = {"press": press, "number": number, "pan": pan, "tilt": tilt, "speed": speed, "renewed_ns": renewed_ns}
    return {"lease": fields}


@dataclass
class PadRig:
    """A rig with a person at the page, and every motion that its axes began."""

    world: World
    person: PagePerson
    motions: dict[str, list[Motion]] = field(default_factory=lambda: {"pan": [], "tilt": []})

    def __post_init__(self) -> None:
        for name, motions in self.motions.items():
            self._note(self.world.rig.head.axis(name), motions)

    def _note(self, axis: SimulatedAxis, motions: list[Motion]) -> None:
        begin = axis.begin

        def noted(motion: Motion) -> None:
            motions.append(motion)
            begin(motion)

        axis.begin = noted  # type: ignore[method-assign]

    @property
    def rig(self) -> Rig:
        return self.world.rig

    def turns(self) -> list[tuple[int, int]]:
        """When an axis turned: begin and end of each motion, cut short by the next one."""
        spans = []
        for motions in self.motions.values():
            for motion, following in zip_longest(motions, motions[1:]):
                end_ns = motion.end_ns if following is None else min(motion.end_ns, following.begin_ns)
                if end_ns > motion.begin_ns:
                    spans.append((motion.begin_ns, end_ns))
        return sorted(spans)

    def turns_since(self, moment_ns: int) -> list[tuple[int, int]]:
        """The same without those that ended by then."""
        return [span for span in self.turns() if span[1] > moment_ns]

    def let_pass(self, lasts_ns: int) -> None:
        """Let the world run by itself after the host was killed."""
        end_ns = self.world.port.now() + lasts_ns
        while (event_ns := self.rig.next_deadline()) is not None and event_ns <= end_ns:
            self.rig.advance(event_ns)
            self.rig.to_host.arrived(event_ns)  # nobody reads it

    @property
    def hold(self) -> Holding:
        """Holds the rig's head."""
        return partial(held_head, open_port=lambda _url, _baud: nullcontext(self.world.port))

    def converse(self, folder: Path) -> str:
        """The whole conversation, in virtual time; its last sentence, or none if the host was killed."""
        kit = folder / "kit.toml"
        if not kit.exists():
            kit.write_text(KIT, encoding="utf-8")
        talk = PersonAtPage(self.person, self.world.port.now)
        for awake_ns in range(0, self.person.leaves_ns, LOOKS_NS):  # a real port never waits longer in one piece
            self.world.port.wake_at(awake_ns)
        try:
            return pad_command(kit, str(folder / "port"), talk, self.hold)
        except HostKilled:
            return ""


def pad_rig(seed: int = 1, **person: Any) -> PadRig:
    world = world_of(kit_of(), (), seed=seed)
    return PadRig(world, PagePerson(world.port, **person))
