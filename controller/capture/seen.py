"""What is known of a run under way: how far it is, what it does, and its last warning. Every window shows it."""

from dataclasses import dataclass, field

from controller.capture.events import EventKind
from controller.capture.states import RunState
from controller.capture.words.run import CHANGES
from controller.program.program import Program
from controller.session.rows import Happening
from protocol.units import NS


def warning_of(happening: Happening) -> str:
    """The warning for the operator at this change of state, empty if none."""
    return CHANGES.get((RunState(happening.state), EventKind(happening.what)), "")


@dataclass(slots=True)
class Seen:
    """What a window knows about a run."""

    program: Program
    began_ns: int
    made_before: int
    total: int
    done: int = 0
    now: Happening | None = None
    warning: str = ""
    made_of: dict[int, int] = field(default_factory=dict)
    """The number of exposures made of each frame."""
    exposing: int | None = None
    """The frame of the current exposure, or of the last one."""

    @property
    def share(self) -> float:
        """The completed share of this run, 0 to 1."""
        return min(1.0, self.done / max(1, self.total))

    def take(self, happening: Happening) -> None:
        """Record a change of state."""
        self.now = happening
        if happening.state == RunState.EXPOSING:
            self.exposing = happening.frame
        self.warning = warning_of(happening) or self.warning

    def exposed(self) -> None:
        """Record one more exposure."""
        self.done = min(self.done + 1, self.total)  # more are made if a whole bracket is repeated
        if self.exposing is not None:
            self.made_of[self.exposing] = self.made_of.get(self.exposing, 0) + 1

    def left_s(self, *, shaped: bool) -> float:
        """The predicted time of the rest, in seconds, on a board that shapes its ramps or does not."""
        return self.program.whole_ns(shaped=shaped) / NS * (1 - self.share)
