"""What a link has counted, for reports and for tests."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Trouble(StrEnum):
    """What came of the line while a request waited for its answer in vain."""

    NOTHING = "nothing"
    """Not a byte."""
    NOISE = "noise"
    """Bytes, and hardly a whole frame among them."""
    NO_ANSWER = "no answer"
    """Whole frames, and none of them the answer."""


@dataclass(frozen=True, slots=True)
class LinkStatistics:
    """A snapshot of one end's counters, in frames."""

    sent: int
    """Handed out for the wire, repeats included."""

    retransmitted: int
    """Of those, repeats of a frame sent before."""

    received: int
    """Undamaged frames that came in."""

    dropped: int
    """Frames of no use: late, repeated, unknown or from the wrong side; and those that found a queue full."""

    damaged: int
    """Runs of bytes that were no frame."""
