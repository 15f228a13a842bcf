"""Everything that can happen to a run."""

from dataclasses import dataclass
from enum import StrEnum

from protocol.messages import Capability, Cause, Index, Outcome, Reason
from protocol.statistics import Trouble
from protocol.units import NO_COMMAND, BootId, CommandId


class EventKind(StrEnum):
    """What happened. The names are the triggers of the state machine."""

    START = "start"
    WELCOMED = "welcomed"
    ARMED = "armed"
    REFERENCED = "referenced"
    ARRIVED = "arrived"
    EXPOSED = "exposed"
    FILED = "filed"
    NOT_CONFIRMED = "not_confirmed"
    CUT_SHORT = "cut_short"
    AT_REST = "at_rest"
    CHECKED = "checked"
    CALM = "calm"
    GUSTY = "gusty"
    WAITED = "waited"
    OVERDUE = "overdue"
    ANSWERED = "answered"
    DECLINED = "declined"
    REFUSED = "refused"
    HELD = "held"
    RESTARTED = "restarted"
    LINK_LOST = "link_lost"
    CONTRADICTED = "contradicted"
    PAUSE = "pause"
    PAUSE_AFTER_ROW = "pause_after_row"
    GO_ON = "go_on"
    RETAKE = "retake"
    STOP = "stop"
    HALT = "halt"


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened, and when (monotonic nanoseconds). Only the fields of its kind are set."""

    kind: EventKind
    at_ns: int
    command_id: CommandId = NO_COMMAND
    outcome: Outcome = Outcome.NONE
    board_clock_ms: int | None = None
    reason: Reason | None = None
    cause: Cause = Cause.NONE
    boot_id: BootId | None = None
    known: bool = False
    """Whether the board knows the position of both axes."""
    at_steps: tuple[int, int] = (0, 0)
    """Position of both axes as reported; of a board at rest, meaningless unless the position is known."""
    capabilities: Capability | None = None
    index: Index | None = None
    """The board's record of the switches at zero."""
    frames: tuple[int, ...] = ()
    """The frames to retake, of a RETAKE."""
    port_gone: bool = False
    """Of a LINK_LOST: the port itself is gone, as after a pulled cable."""
    text: str = ""
    """The typed text, of an ANSWERED that asked for one; the name of the file, of a FILED."""
    sentence: str = ""
    """What is wrong, if the other fields do not say; always set of a CONTRADICTED."""
    place: bool = False
    """Whether a contradiction casts doubt on where the head has pointed."""
    trouble: Trouble | None = None
    """What was received on a lost line; None if the port itself is gone."""
    unmet: tuple[str, ...] = ()
    """The axes whose switch a reference run has not met."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """The operator's request: PAUSE, PAUSE_AFTER_ROW, GO_ON, RETAKE (of `frames`), STOP or HALT; or the answer to a
    question: ANSWERED (yes) or DECLINED (no).
    """

    kind: EventKind
    frames: tuple[int, ...] = ()
    text: str = ""
