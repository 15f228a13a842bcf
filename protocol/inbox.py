"""What comes in at either end of a link: whole frames of the other side, kept until they are asked for."""

from __future__ import annotations

from collections import deque

from protocol.codec import FROM_BOARD_BIT
from protocol.framing import CheckedFrame, Deframer
from protocol.statistics import LinkStatistics
from protocol.units import Nanos


class Inbox:
    """The frames that have come in and were not asked for yet, `limit` at most: what does not fit is lost.

    `of_board`: the frames of a board are wanted, else those of a host. Frames of the own side are echoes, and no sign of
    life. `dropped` counts both, and what the link itself has no use for.
    """

    def __init__(self, limit: int, *, of_board: bool) -> None:
        self._limit, self._of_board = limit, of_board
        self._deframer = Deframer()
        self._frames: deque[CheckedFrame] = deque()
        self.dropped = 0
        self.last_heard: Nanos | None = None
        """When the last undamaged frame of the other side came in."""

    def __len__(self) -> int:
        return len(self._frames)

    def feed(self, data: bytes, now: Nanos) -> int:
        """Take in bytes from the wire, in any chunks; how many whole frames of either side they ended."""
        frames = self._deframer.feed(data)
        for frame in frames:
            if bool(frame.kind & FROM_BOARD_BIT) is not self._of_board:
                self.dropped += 1
                continue
            self.last_heard = now
            if len(self._frames) < self._limit:
                self._frames.append(frame)
            else:
                self.dropped += 1
        return len(frames)

    def next_frame(self) -> CheckedFrame:
        """The oldest frame. Raises IndexError where there is none."""
        return self._frames.popleft()

    def statistics(self, sent: int, retransmitted: int) -> LinkStatistics:
        """A snapshot of the counters, with those of what this end has sent."""
        counters = self._deframer.counters
        return LinkStatistics(
            sent=sent,
            retransmitted=retransmitted,
            received=counters.good,
            dropped=self.dropped,
            damaged=counters.damaged,
        )
