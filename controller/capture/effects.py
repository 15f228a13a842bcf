"""Everything the state machine may ask for. The runner carries these out in order."""

from dataclasses import dataclass
from typing import TypeAlias

from controller.capture.people import YesNoQuestion
from controller.session.rows import DoubtReason, Intent, ShotOutcome
from protocol.messages import Request


@dataclass(frozen=True, slots=True)
class Greet:
    """Open the conversation with the board."""


@dataclass(frozen=True, slots=True)
class Reopen:
    """Reopen the line; the cable may have been pulled."""


@dataclass(frozen=True, slots=True)
class Send:
    """Send a request. `expected_ns` is the time until its end should be received; 0 if it has none."""

    request: Request
    expected_ns: int = 0


@dataclass(frozen=True, slots=True)
class Listen:
    """Ask the board whether it is too windy."""


@dataclass(frozen=True, slots=True)
class SendUrgent:
    """Send a stop or a halt ahead of everything else."""

    request: Request


@dataclass(frozen=True, slots=True)
class Timer:
    """Replace the running timer: at `at_ns` (None: never) the event WAITED, or OVERDUE if `overdue`."""

    at_ns: int | None
    overdue: bool


@dataclass(frozen=True, slots=True)
class Intend:
    """Store the intent to expose durably before anything that follows."""

    intent: Intent


@dataclass(frozen=True, slots=True)
class Conclude:
    """Store how an exposure ended."""

    command_id: int
    outcome: ShotOutcome
    board_clock_ms: int | None
    reported_steps: tuple[int, int] | None = None
    """Pan and tilt of the head, as the board reported them."""


@dataclass(frozen=True, slots=True)
class RampsTold:
    """Store whether the board of this run shapes its ramps."""

    shaped: bool


@dataclass(frozen=True, slots=True)
class Zeroed:
    """Store that zero was found in this boot of the board."""

    boot_id: int


@dataclass(frozen=True, slots=True)
class ZeroLost:
    """Store that zero is no longer known, whatever the board reports."""


@dataclass(frozen=True, slots=True)
class SwitchesChecked:
    """Store that the switches of these axes were in their place."""

    axes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Store that these exposures no longer count, for the reason in `why`."""

    exposures: tuple[tuple[int, int], ...]
    why: DoubtReason


@dataclass(frozen=True, slots=True)
class Ask:
    """Ask the operator a question."""

    question: YesNoQuestion


@dataclass(frozen=True, slots=True)
class Announce:
    """Warn people that the head moves in `lead_ns` nanoseconds, and why. Then the gate opens: WAITED."""

    why: str
    lead_ns: int


@dataclass(frozen=True, slots=True)
class Shut:
    """Shut the gate: nothing moves until people are warned again."""


@dataclass(frozen=True, slots=True)
class End:
    """End the run: complete, or for the reason in `sentence`. `early`: it was stopped before it was through."""

    complete: bool
    sentence: str
    early: bool = False


Record: TypeAlias = Intend | Conclude | RampsTold | Zeroed | ZeroLost | SwitchesChecked | Doubt
"""What is stored in the session."""
Effect: TypeAlias = Greet | Reopen | Listen | Send | SendUrgent | Timer | Ask | Announce | Shut | End | Record
