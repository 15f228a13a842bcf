"""What a check finds: in order, worth a look, or wrong, in one sentence, with what to do."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from controller.doctor.readings import ComputerReadings


class CheckState(StrEnum):
    """How a thing is. What is wrong prevents a run, or would spoil its record."""

    OK = "ok"
    LOOK = "look"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True)
class ComputerFinding:
    """One sentence about the computer. `do` is what to do, without a full stop, since it may end with a line to type."""

    state: CheckState
    sentence: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class ComputerCheck:
    """A check: its name for programs, its title for people, and what judges the readings."""

    name: str
    title: str
    judge: Callable[[ComputerReadings], Iterator[ComputerFinding]]


@dataclass(frozen=True, slots=True)
class CheckedComputer:
    """All findings, each with its check."""

    found: Sequence[tuple[ComputerCheck, ComputerFinding]]

    @property
    def worst(self) -> CheckState:
        """The worst state of all."""
        states = {finding.state for _, finding in self.found}
        return next((state for state in reversed(CheckState) if state in states), CheckState.OK)

    def as_json(self) -> dict[str, Any]:
        """As the value that --json prints."""
        return {
            "worst": self.worst.value,
            "findings": [
                {"check": check.name, "state": one.state.value, "sentence": one.sentence, "do": one.do or None}
                for check, one in self.found
            ],
        }


def in_order(sentence: str) -> ComputerFinding:
    """Nothing to do."""
    return ComputerFinding(CheckState.OK, sentence)


def look(sentence: str, do: str) -> ComputerFinding:
    """Worth a look: a run can go on, but may not be as good, or may end early."""
    return ComputerFinding(CheckState.LOOK, sentence, do)


def wrong(sentence: str, do: str) -> ComputerFinding:
    """It prevents a run, or would spoil its record."""
    return ComputerFinding(CheckState.WRONG, sentence, do)
