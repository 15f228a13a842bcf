"""The receiving end of a link: whole frames of the other side, kept until they are asked for."""

from __future__ import annotations

from collections import deque

from protocol.codec import FROM_BOARD_BIT
from protocol.framing import CheckedFrame, Deframer
from protocol.statistics import LinkStatistics
from protocol.units import Nanos


class Inbox:
    """Received frames that were not yet asked for, `limit` at most; a frame that does not fit is lost.

    `of_board`: frames of a board are wanted, otherwise those of a host. Frames of the own side are echoes, not signs of
    life. `dropped` counts lost frames, echoes and frames that the link itself has no use for.
    """

    def __init__(self, limit: int, *, of_board: bool) -> None:
        self._limit, self._of_board = limit, of_board
        self._deframer = Deframer()
        self._frames: deque[CheckedFrame] = deque()
        self.dropped = 0
        self.last_heard: Nanos | None = None
        """When the last undamaged frame of the other side was received."""

    def __len__(self) -> int:
        return len(self._frames)

    def feed(self, data: bytes, now: Nanos) -> int:
        """Receive bytes from the wire, in chunks of any size; return the number of whole frames that they completed.

        Frames of either side count.
        """
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
        """The oldest frame. Raises IndexError if there is none."""
        return self._frames.popleft()

    def statistics(self, sent: int, retransmitted: int) -> LinkStatistics:
        """A snapshot of the counters, with the given counts of what this end has sent."""
        counters = self._deframer.counters
        return LinkStatistics(
            sent=sent,
            retransmitted=retransmitted,
            received=counters.good,
            dropped=self.dropped,
            damaged=counters.damaged,
        )
