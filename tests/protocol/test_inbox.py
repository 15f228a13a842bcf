"""The frames that come in at either end: each is kept or counted as dropped, and only the other side's are kept."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from protocol.codec import FROM_BOARD_BIT
from protocol.framing import KINDS, encode_frame
from protocol.inbox import Inbox
from protocol.units import Nanos

ANY_KIND = st.sampled_from(sorted(KINDS))
FRAMES = st.lists(st.tuples(ANY_KIND, st.integers(0, 255), st.binary(max_size=8)), max_size=12)


@given(FRAMES, st.booleans(), st.integers(1, 8), st.integers(1, 9))
def test_every_frame_is_kept_or_counted(
    frames: list[tuple[int, int, bytes]], of_board: bool, limit: int, chunk: int
) -> None:
    inbox, wire = Inbox(limit, of_board=of_board), b"\0" + b"".join(encode_frame(*frame) for frame in frames)
    heard = sum(inbox.feed(wire[begin : begin + chunk], Nanos(begin + 1)) for begin in range(0, len(wire), chunk))
    wanted = [frame for frame in frames if bool(frame[0] & FROM_BOARD_BIT) is of_board]
    assert heard == len(frames)
    assert len(inbox) == min(limit, len(wanted))
    assert inbox.dropped == len(frames) - len(inbox)
    assert (inbox.last_heard is None) is (not wanted)
    counted = inbox.statistics(3, 1)
    assert (counted.sent, counted.retransmitted) == (3, 1)
    assert (counted.received, counted.dropped, counted.damaged) == (len(frames), inbox.dropped, 0)
    kept = [inbox.next_frame() for _ in range(len(inbox))]
    assert [(frame.kind, frame.seq, frame.payload) for frame in kept] == wanted[:limit]
