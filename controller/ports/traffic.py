"""The bytes on a line, decoded: one value for each frame and for each damaged run of bytes."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field, fields
from enum import Enum
from typing import Any, Final

from protocol.codec import FROM_BOARD_BIT, decode_message
from protocol.errors import BadFrame
from protocol.framing import LEAD, MAX_ENCODED, CheckedFrame, Deframer, FrameCounters
from protocol.messages import Message

WHY: Final = {
    "bad_cobs": "does not unstuff",
    "bad_crc": "wrong check",
    "bad_head": "wrong length or kind",
    "oversize": "longer than any frame",
    "unled": "fewer than three zeros in front",
}
SHOWN_BYTES: Final = 64
"""So many bytes of a damaged run are kept; the rest are only counted."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One frame, or one damaged run. `at_s` is None if the time is unknown.

    `speaker` is "host" or "board" by bit 7 of the kind, or "" for a damaged run. `trouble` says what is wrong.
    """

    at_s: float | None
    speaker: str
    name: str
    seq: int | None
    values: dict[str, int | str]
    trouble: str
    data: bytes

    def line(self) -> str:
        """For people: time, sender, sequence number, and the message with its fields."""
        at = "-" if self.at_s is None else f"{self.at_s:.3f}"
        if self.seq is None:
            return f"{at:>10}  {'?':5}           damaged, {self.trouble}: {self.data.hex(' ')}"
        said = ", ".join(f"{name}={value}" for name, value in self.values.items())
        said = f"{self.name}({said})" if not self.trouble else f"{self.name}: {self.trouble}: {self.data.hex(' ')}"
        return f"{at:>10}  {self.speaker:5}  seq {self.seq:3}  {said}"

    def as_json(self) -> dict[str, Any]:
        """For other programs; the bytes as hex."""
        return asdict(self) | {"data": self.data.hex()}


@dataclass(slots=True)
class TrafficSummary:
    """Totals: frames by name for each end, damaged runs by fault, and bytes."""

    read_bytes: int = 0
    host: Counter[str] = field(default_factory=Counter)
    board: Counter[str] = field(default_factory=Counter)
    damaged: Counter[str] = field(default_factory=Counter)

    def count(self, heard: Heard) -> None:
        """Count one frame or damaged run."""
        if heard.seq is None:
            self.damaged[heard.trouble] += 1
        else:
            (self.board if heard.speaker == "board" else self.host)[heard.name] += 1

    def sentence(self) -> str:
        """For people."""
        parts = [f"{self.read_bytes} bytes: {self.host.total()} frames of a host, {self.board.total()} of a board"]
        for who, counted in (("host", self.host), ("board", self.board)):
            if counted:
                parts.append(f"{who}: " + ", ".join(f"{count} {name}" for name, count in sorted(counted.items())))
        told = ", ".join(f"{count} {why}" for why, count in sorted(self.damaged.items()))
        parts.append(f"damaged runs: {self.damaged.total()}" + (f" ({told})" if told else ""))
        return "\n".join(parts)

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return {"read_bytes": self.read_bytes, "host": self.host, "board": self.board, "damaged": self.damaged}


class Traffic:
    """Decode bytes in chunks of any size; `summary` keeps the totals."""

    def __init__(self) -> None:
        self.summary = TrafficSummary()
        self._zeros = 0  # consecutive zeros before the current run
        self._run = bytearray()
        self._more = 0  # bytes of the run that were not kept

    def feed(self, data: bytes, at_s: float | None) -> Iterator[Heard]:
        """Yield the frames and runs that end within `data`, received at `at_s`."""
        self.summary.read_bytes += len(data)
        for byte in data:
            if byte:
                if len(self._run) < SHOWN_BYTES:
                    self._run.append(byte)
                else:
                    self._more += 1
            elif not self._run:
                self._zeros = min(self._zeros + 1, len(LEAD))
            else:
                yield self._end(at_s)
                self._zeros, self._more = 1, 0
                self._run.clear()

    def close(self) -> Iterator[Heard]:
        """Yield a frame or run that has not ended."""
        if self._run:
            yield self._counted(Heard(None, "", "", None, {}, "not ended", bytes(self._run)))
            self._run.clear()

    def _end(self, at_s: float | None) -> Heard:
        run = bytes(self._run)
        judge = Deframer()
        found = judge.feed(bytes(self._zeros) + run + b"\1" * min(self._more, MAX_ENCODED) + b"\0")
        if found:
            return self._counted(_of_frame(found[0], at_s))
        more = f" ({self._more} more bytes)" if self._more else ""
        return self._counted(Heard(at_s, "", "", None, {}, _why(judge.counters) + more, run))

    def _counted(self, heard: Heard) -> Heard:
        self.summary.count(heard)
        return heard


def _why(counters: FrameCounters) -> str:
    return next(says for name, says in WHY.items() if getattr(counters, name))


def _of_frame(frame: CheckedFrame, at_s: float | None) -> Heard:
    speaker = "board" if frame.kind & FROM_BOARD_BIT else "host"
    try:
        message = decode_message(frame.kind, frame.payload)
    except BadFrame as error:
        return Heard(at_s, speaker, f"kind {frame.kind:02X}", frame.seq, {}, str(error), frame.payload)
    return Heard(at_s, speaker, type(message).__name__, frame.seq, _values(message), "", frame.payload)


def _values(message: Message) -> dict[str, int | str]:
    """The fields by name: enums by their names, boot ids as hex."""
    values: dict[str, int | str] = {}
    for one in fields(message):
        value = getattr(message, one.name)
        if isinstance(value, Enum):
            values[one.name] = value.name or "0"
        else:
            values[one.name] = f"{value:08x}" if one.name in {"boot_id", "nonce"} else value
    return values
