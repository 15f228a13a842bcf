"""How long the board may take to answer; kit and program use the same figures."""

import math

from protocol.framing import MAX_FRAME
from protocol.units import NS

# The longest that a healthy board takes to answer, besides the time on the wire and including the latency of a USB
# adapter and a busy host; and how often a request is repeated before the line counts as dead. Common practice, no source.
ANSWER_NS = 250_000_000
TRIES = 6
BITS_PER_BYTE = 10
"""On the wire, 8N1: one start bit, eight data bits, one stop bit."""


def retry_ns(baud: int) -> int:
    """The time to wait for an answer: two of the longest frames on the wire, plus the board."""
    return ANSWER_NS + 2 * MAX_FRAME * BITS_PER_BYTE * NS // baud


def least_silence_ms(baud: int) -> int:
    """The shortest patience, in whole milliseconds, of a board: the time over which the host repeats a request."""
    return math.ceil(TRIES * (ANSWER_NS / 1e6 + 2 * MAX_FRAME * BITS_PER_BYTE * 1000 / baud))
