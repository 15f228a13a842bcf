"""When a person did something, without trusting any clock but the computer's own.

The page numbers its beats. The browser says which beat it saw last and how long ago that was. So what it sends cannot be
older than the beat plus that time, and everything that was under way for long is noticed, whatever held it up: a network
that came back, a tab that slept, a queue.
"""

from collections import deque

from protocol.units import MS, Nanos

LATE_NS = 250 * MS
"""A touch that may be older than this moves nothing. Common practice, no source."""
AHEAD_NS = 50 * MS
"""How far a browser's clock may run ahead between two beats."""
KEPT = 200


class Beats:
    """The latest beats, each with the time when it was sent (monotonic ns)."""

    def __init__(self) -> None:
        self._sent: deque[tuple[int, int]] = deque(maxlen=KEPT)
        self._number = 0

    def new(self, now_ns: int) -> int:
        """The number of a new beat."""
        self._number += 1
        self._sent.append((self._number, now_ns))
        return self._number

    def done_ns(self, beat: int, since_ms: float, now_ns: int, late_ns: int = LATE_NS) -> Nanos | None:
        """The earliest time at which it can have been done; None if that is too long ago, or cannot be known."""
        for number, sent_ns in self._sent:
            if number == beat:
                done_ns = sent_ns + round(since_ms * MS)
                return Nanos(min(done_ns, now_ns)) if -AHEAD_NS <= now_ns - done_ns <= late_ns else None
        return None
