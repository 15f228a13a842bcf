"""Faulty lines to the simulated rig."""

from __future__ import annotations

from collections.abc import Callable

from protocol.codec import decode_message
from protocol.framing import CheckedFrame, Deframer, encode_frame
from protocol.messages import Message
from sim.rig import Rig
from sim.virtual_port import VirtualPort


class LossyPort(VirtualPort):
    """Loses the frames from the board for which `lost(message)` is true."""

    def __init__(self, rig: Rig, lost: Callable[[Message], bool]) -> None:
        super().__init__(rig)
        self._lost = lost
        self.losses = 0

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        while data := super().wait_bytes(deadline_ns):
            frames = Deframer().feed(data)
            kept = [frame for frame in frames if not self._lost(decode_message(frame.kind, frame.payload))]
            self.losses += len(frames) - len(kept)
            if kept:
                return b"".join(map(wire_of, kept))
        return b""


class MuffledPort(VirtualPort):
    """Loses the frames from the host for which `lost(message)` is true."""

    def __init__(self, rig: Rig, lost: Callable[[Message], bool]) -> None:
        super().__init__(rig)
        self._lost = lost
        self.losses = 0

    def write(self, data: bytes) -> None:
        frames = Deframer().feed(data)
        kept = [frame for frame in frames if not self._lost(decode_message(frame.kind, frame.payload))]
        self.losses += len(frames) - len(kept)
        super().write(b"".join(map(wire_of, kept)))


def the_first(count: int, kind: type[Message]) -> Callable[[Message], bool]:
    """True for the first `count` messages of a kind."""
    seen = 0

    def lost(message: Message) -> bool:
        nonlocal seen
        seen += isinstance(message, kind)
        return isinstance(message, kind) and seen <= count

    return lost


def wire_of(frame: CheckedFrame) -> bytes:
    return encode_frame(frame.kind, frame.seq, frame.payload)


class CutPort(VirtualPort):
    """From the moment `cut_ns` on, nothing passes in either direction."""

    cut_ns: int | None = None

    @property
    def is_cut(self) -> bool:
        return self.cut_ns is not None and self.now() >= self.cut_ns

    def write(self, data: bytes) -> None:
        if not self.is_cut:
            super().write(data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        while data := super().wait_bytes(deadline_ns):
            if not self.is_cut:
                return data
        return b""
