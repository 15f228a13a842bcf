"""Everything the state machine may ask for. The runner does these, in order."""

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
    """Open the line anew; the cable may have been pulled."""


@dataclass(frozen=True, slots=True)
class Send:
    """Send a request. `expected_ns` is when its end should be heard of, counted from now; 0 if it has none."""

    request: Request
    expected_ns: int = 0


@dataclass(frozen=True, slots=True)
class Listen:
    """Ask the board how the wind blows."""


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
    """Make the intent durable before anything that follows."""

    intent: Intent


@dataclass(frozen=True, slots=True)
class Conclude:
    """Write how an exposure ended."""

    command_id: int
    outcome: ShotOutcome
    board_clock_ms: int | None
    reported_steps: tuple[int, int] | None = None
    """Pan and tilt, where the board says that the head was."""


@dataclass(frozen=True, slots=True)
class Zeroed:
    """Zero was found by this boot of the board."""

    boot_id: int


@dataclass(frozen=True, slots=True)
class ZeroLost:
    """Where zero is, is not known any more, whatever the board says."""


@dataclass(frozen=True, slots=True)
class SwitchesChecked:
    """The switches of these axes are where they should be."""

    axes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Let nothing count any more that was made of these exposures up to now, for the reason in `why`."""

    exposures: tuple[tuple[int, int], ...]
    why: DoubtReason


@dataclass(frozen=True, slots=True)
class Ask:
    """Put a question to the operator."""

    question: YesNoQuestion


@dataclass(frozen=True, slots=True)
class Announce:
    """Tell people that the head moves in `lead_ns` nanoseconds and why. When these have passed the gate opens: WAITED."""

    why: str
    lead_ns: int


@dataclass(frozen=True, slots=True)
class Shut:
    """Shut the gate: nothing moves until it is announced again."""


@dataclass(frozen=True, slots=True)
class End:
    """The run is over: complete, or for the reason in `sentence`. `early`: before it was through, as somebody or
    something stopped it.
    """

    complete: bool
    sentence: str
    early: bool = False


Record: TypeAlias = Intend | Conclude | Zeroed | ZeroLost | SwitchesChecked | Doubt
"""What is written to the session."""
Effect: TypeAlias = Greet | Reopen | Listen | Send | SendUrgent | Timer | Ask | Announce | Shut | End | Record
