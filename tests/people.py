"""A person at a terminal, in virtual time: what was shown, and what is typed when."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass, field

from controller.capture.events import Wanted
from controller.capture.jog import Keys
from controller.capture.operator import Respondent
from controller.capture.people import People, YesNoQuestion
from sim.virtual_port import VirtualPort

NS = 1_000_000_000


@dataclass
class Typist:
    """Answers each question with the next of `answers`, `after_s` after it was shown.

    An answer of None is never given.
    """

    port: VirtualPort
    answers: list[str | None] = field(default_factory=list)
    after_s: float = 10.0
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    typed: list[tuple[int, str]] = field(default_factory=list)

    def say(self, sentence: str) -> None:
        self.said.append(sentence)
        if sentence.endswith(("Type y or n, then Enter.", "then Enter", "read:")):
            self.asked.append(sentence)
            answer = self.answers.pop(0) if self.answers else None
            if answer is not None:
                self.type_later(answer, self.after_s)

    def type_later(self, line: str, after_s: float) -> None:
        at_ns = self.port.now() + round(after_s * NS)
        self.typed.append((at_ns, line))
        self.port.wake_at(at_ns)

    def next_line(self) -> str | None:
        if self.typed and self.typed[0][0] <= self.port.now():
            return self.typed.pop(0)[1]
        return None

    def forget(self) -> None:
        self.typed = [(at_ns, line) for at_ns, line in self.typed if at_ns > self.port.now()]

    def people(self, *, yes: bool = False, lead_s: float = 5.0, at_terminal: bool = True) -> People:
        return People(self.say, lambda: None, self, at_terminal, yes, round(lead_s * NS))


def keys_of(pressed: list[str], port: VirtualPort, pause_s: float = 1.0) -> Keys:
    """A person who presses these keys in order, with a pause before each."""

    left = list(pressed)
    due_ns: list[int] = []

    def next_key() -> str | None:
        if not due_ns:
            due_ns.append(port.now() + round(pause_s * NS))
        if port.now() < due_ns[0]:
            return None
        due_ns.clear()
        return left.pop(0)

    return Keys(nullcontext, next_key)


def hearing(request: Callable[[], Wanted | None]) -> Respondent:
    """A person whose requests are what `request` returns, and who answers yes to every question."""

    class Hearing:
        def next_request(self) -> Wanted | None:
            return request()

        def ask(self, _: YesNoQuestion) -> bool:
            return True

        def ask_text(self, _: str) -> bool:
            return False

        def hear_lines(self, _: bool) -> None:
            return

        def withdraw(self) -> None:
            return

    return Hearing()
