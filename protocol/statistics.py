"""The counters of a link, for reports and for tests."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Trouble(StrEnum):
    """What arrived on the line while a request waited in vain for its reply."""

    NOTHING = "nothing"
    """No bytes."""
    NOISE = "noise"
    """Bytes, but hardly a whole frame among them."""
    NO_ANSWER = "no answer"
    """Whole frames, but not the reply."""


@dataclass(frozen=True, slots=True)
class LinkStatistics:
    """A snapshot of one end's counters, in frames."""

    sent: int
    """Frames handed out for the wire, repeats included."""

    retransmitted: int
    """Repeats among them."""

    received: int
    """Undamaged frames that arrived."""

    dropped: int
    """Useless frames: late, repeated, unknown, from the wrong end, or lost because a queue was full."""

    damaged: int
    """Runs of bytes that were no frame."""
