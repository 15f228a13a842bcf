"""How fast messages go through frames, and the effect of much damage on both ends.

No test asserts on the clock; the bench measures the rate.
"""

from __future__ import annotations

from collections.abc import Iterator, Sized
from dataclasses import dataclass
from random import Random
from time import perf_counter

from protocol.board_link import INBOX_FRAMES as BOARD_INBOX
from protocol.board_link import OUTBOX_FRAMES, BoardLink
from protocol.codec import decode_message, encode_message, frame_of
from protocol.framing import LEAD, MAX_ENCODED, CheckedFrame, Deframer
from protocol.host_link import EVENTS, Answered, HostLink, Noticed
from protocol.host_link import INBOX_FRAMES as HOST_INBOX
from protocol.messages import GetStatus, Message, Stop
from protocol.units import Nanos
from tests.protocol.bad_wire import FIRST_BOOT, hello, welcome
from tests.protocol.golden import VECTORS

T0 = Nanos(0)


def message_rate(count: int = 24_000) -> float:
    """Messages per second from message to wire and back to an equal message, on one core."""
    deframer = Deframer()
    sent = [message for _, _, message in VECTORS]
    rounds = -(-count // len(sent))
    heard: list[Message] = []
    start = perf_counter()
    for seq in range(rounds):
        heard.clear()
        for message in sent:
            wire = frame_of(message, seq & 0xFF)
            heard += [decode_message(frame.kind, frame.payload) for frame in deframer.feed(wire)]
    seconds = perf_counter() - start
    assert heard == sent
    assert deframer.counters.good == rounds * len(sent)
    return rounds * len(sent) / seconds


@dataclass
class FuzzCounts:
    """What was fed, and the results."""

    fed: int = 0
    """Bytes."""
    intact: int = 0
    """Undamaged frames among them."""
    damaged: int = 0
    """Damaged copies of frames among them."""
    heard: int = 0
    """Frames accepted that had been sent in this form."""
    unsent_from_damage: int = 0
    """Frames accepted that were never sent, at a damaged copy: must be 0."""
    unsent_from_noise: int = 0
    """Frames accepted that were never sent, in random bytes.

    The three bytes of the check are right for a run of random non-zero bytes once in 255^3, about 2^24; then the stuffing
    and the length have to match too. A run of usable length ends about every 2,000 random bytes, so even the check alone
    passes once in 3e10 bytes. This is chance and cannot be 0 for ever.
    """
    unsent_at_links: int = 0
    """Requests delivered at the board's end, and replies and notices at the host's, that were never sent."""
    longest_tail: int = 0
    """Bytes of the longest incomplete frame that any of the three kept."""
    longest_queue: int = 0
    """Entries of the longest queue of either link."""


def damage(wire: bytes, rng: Random) -> bytes:
    """One to three wrong bits, or a byte lost, doubled, inserted or cut off: never the same bytes."""
    at = rng.randrange(1, len(wire) - 1)
    how = rng.randrange(8)
    if how == 0:
        return wire[:at] + wire[at + 1 :]
    if how == 1:
        return wire[: at + 1] + wire[at:]
    if how == 2:
        return wire[:at] + rng.randbytes(1) + wire[at:]
    if how == 3:
        return wire[:at]
    number = int.from_bytes(wire, "big")
    for bit in rng.sample(range(8 * len(wire)), rng.randrange(1, 4)):
        number ^= 1 << bit
    return number.to_bytes(len(wire), "big")


def _pieces(rng: Random, count_bytes: int, wires: list[bytes]) -> Iterator[tuple[str, bytes]]:
    left = count_bytes
    while left > 0:
        what = rng.choices(("noise", "damaged", "intact"), (2, 5, 3))[0]
        if what == "noise":
            piece = rng.choice((b"", LEAD)) + rng.randbytes(rng.randrange(1, 120))
        else:
            wire = rng.choice(wires)
            piece = wire if what == "intact" else damage(wire, rng)
        left -= len(piece)
        yield what, piece


class _Ends:
    """A greeted host and a board, both fed with the same bytes and read only now and then."""

    def __init__(self, sent: set[Message], counts: FuzzCounts) -> None:
        self.sent, self.counts = sent, counts
        self.host = HostLink(retry_ns=Nanos(1), tries=1)
        self.board = BoardLink()
        self.host.send(hello(1))
        self.host.take(T0)
        self.host.receive(frame_of(welcome(1, FIRST_BOOT), 0), T0)
        assert isinstance(self.host.next_event(), Answered)

    def hear(self, piece: bytes) -> None:
        self.host.receive(piece, T0)
        self.board.receive(piece, T0)

    def measure(self, *deframers: Deframer) -> None:
        host, board, counts = self.host, self.board, self.counts
        tails = [len(one._tail) for one in (*deframers, host._inbox._deframer, board._inbox._deframer)]
        assert max(tails) <= MAX_ENCODED
        assert len(host._inbox) <= HOST_INBOX
        assert len(host._events) <= EVENTS
        assert len(board._inbox) <= BOARD_INBOX
        assert len(board._outbox) <= OUTBOX_FRAMES
        counts.longest_tail = max(counts.longest_tail, *tails)
        queues: tuple[Sized, ...] = (host._inbox, host._events, board._inbox, board._outbox)
        counts.longest_queue = max(counts.longest_queue, *(len(queue) for queue in queues))

    def look(self) -> None:
        while (item := self.board.next_request()) is not None:
            seq, request = item
            self.counts.unsent_at_links += request not in self.sent
            self.board.reply(seq, welcome(1, FIRST_BOOT))
        if self.host.idle:
            self.host.send(GetStatus())
            self.host.take(T0)
        while (event := self.host.next_event()) is not None:
            if isinstance(event, Answered):
                self.counts.unsent_at_links += event.reply not in self.sent
            if isinstance(event, Noticed):
                self.counts.unsent_at_links += event.message not in self.sent


def fuzz(count_bytes: int, seed: int) -> FuzzCounts:
    """Feed this many bytes, random ones mixed with whole and damaged frames, to a Deframer and to both links.

    The board's answers are taken so rarely that its queues overflow. Deterministic for a seed.
    """
    rng, counts, deframer = Random(seed), FuzzCounts(), Deframer()
    # seqs are mixed with all messages, so that the host's outstanding request sometimes gets its answer
    rows = [(seq, message) for _, _, message in VECTORS for seq in range(8)] + [(9, Stop())]
    wires = [frame_of(message, seq) for seq, message in rows]
    frames = {CheckedFrame(kind, seq, payload) for seq, message in rows for kind, payload in [encode_message(message)]}
    ends = _Ends({message for _, message in rows}, counts)
    for what, piece in _pieces(rng, count_bytes, wires):
        counts.fed += len(piece)
        counts.intact += what == "intact"
        counts.damaged += what == "damaged"
        for frame in deframer.feed(piece):
            known = frame in frames
            counts.heard += known
            counts.unsent_from_noise += not known and what == "noise"
            counts.unsent_from_damage += not known and what != "noise"
        ends.hear(piece)
        ends.measure(deframer)
        if rng.random() < 0.008:
            ends.look()
        if rng.random() < 0.05:
            ends.board.take()
    return counts


if __name__ == "__main__":
    print(f"{message_rate():,.0f} messages/s")
    print(fuzz(1_000_000, 1))
