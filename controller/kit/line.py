"""How long the line to the board may take to answer; the kit and the program reckon with the same."""

import math

from protocol.framing import MAX_FRAME
from protocol.units import NS

# How long a healthy board may take to answer beside the time on the wire, the latency of a USB adapter and a busy
# host included, and how often a request is repeated before the line counts as dead. Common practice, no source.
ANSWER_NS = 250_000_000
TRIES = 6
BITS_PER_BYTE = 10
"""On the wire, 8N1: a start bit, eight of data, a stop bit."""


def retry_ns(baud: int) -> int:
    """How long to wait for an answer: two of the longest frames on the wire, and the board."""
    return ANSWER_NS + 2 * MAX_FRAME * BITS_PER_BYTE * NS // baud


def least_silence_ms(baud: int) -> int:
    """A board must not lose patience while the host still repeats itself: that long, in whole milliseconds."""
    return math.ceil(TRIES * (ANSWER_NS / 1e6 + 2 * MAX_FRAME * BITS_PER_BYTE * 1000 / baud))
