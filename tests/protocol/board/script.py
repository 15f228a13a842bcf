"""A seeded script for the core: a host that sets it up and sends commands, with faults on the line and at the inputs.

The format is that of native/play.c.
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

from protocol.codec import PROTOCOL_VERSION, encode_message
from protocol.framing import KINDS, LEAD, MAX_PAYLOAD, encode_frame
from protocol.messages import (
    Arm,
    Expose,
    GetIndex,
    GetStatus,
    Halt,
    Hello,
    Move,
    Reference,
    Request,
    SetAxis,
    SetShaper,
    Stop,
)
from protocol.shaper import WHOLE, Shaper, set_shaper
from protocol.units import AxisId, BootId, CommandId, Steps

ID_BYTES = 4
LIMIT = 3000
ORDERS_BETWEEN = 10
NEAR = 700  # steps: a move that usually ends before the next command
RAMP_MS, REFERENCE_MS = 500, 6000
INPUTS = (0x04, 0x08, 0x10, 0x20, 0x40)
"""Limits, sync contact, stop switch open, supply low."""
EDGES = (0, 1, 0x7F, 0x80, 0xFF)


class Script:
    """The actions of the host and the world, drawn from a seed."""

    def __init__(self, seed: int, boot_id: BootId) -> None:
        self._boot_id = boot_id
        self._random = Random(seed)
        self._parts: list[bytes] = []
        self._last_id = 0
        self._seq = 0

    def text(self, rounds: int) -> bytes:
        """The whole script. At its end the board is asked for a Welcome, on a quiet line with quiet inputs."""
        for _ in range(rounds):
            self._make_ready()
            for _ in range(ORDERS_BETWEEN):
                self._random.choice((*[self._order] * 5, *[self._spoilt] * 2, *[self._noise] * 2, self._input))()
                self._wait(self._random.choice((0, 1, 60, 600, 900)))
        self._make_ready()
        self._ask(Hello(*PROTOCOL_VERSION, 7))
        return b"".join(self._parts)

    def pieces(self, count: int) -> list[bytes]:
        """Noise, damaged and cut-off frames, and requests good and spoilt, for a board that is not armed."""
        for _ in range(count):
            self._random.choice((self._noise, self._noise, self._spoilt, self._order))()
        return [part.split(b"\n", 1)[1] for part in self._parts]

    def _write(self, letter: str, number: int, data: bytes = b"") -> None:
        self._parts.append(f"{letter} {number}\n".encode() + data)

    def _feed(self, data: bytes) -> None:
        self._write("F", len(data), data)

    def _wait(self, milliseconds: int) -> None:
        self._write("R", milliseconds)

    def _next_id(self) -> CommandId:
        self._last_id += 1
        return CommandId(self._last_id)

    def _frame(self, kind: int, payload: bytes) -> bytes:
        self._seq = (self._seq + 1) % 256
        return encode_frame(kind, self._seq, payload)

    def _ask(self, request: Request) -> None:
        self._feed(self._frame(*encode_message(request)))

    def _describe(self, axis: AxisId) -> SetAxis:
        return SetAxis(self._next_id(), axis, Steps(-LIMIT), Steps(LIMIT), 2000, 8000)

    def _shape(self, axis: AxisId) -> SetShaper:
        """None at all, or two to five impulses over at most a fifth of a second."""
        random = self._random
        count = random.choice((0, 2, 3, 5))
        cuts = sorted(random.sample(range(1, WHOLE), max(0, count - 1)))
        shares = [after - before for before, after in pairwise([0, *cuts, WHOLE])] if count else []
        delays = [0, *sorted(random.sample(range(5, 200, 5), max(0, count - 1)))][:count]
        return set_shaper(self._next_id(), axis, Shaper(tuple(zip(delays, shares, strict=True))))

    def _make_ready(self) -> None:
        self._write("I", 0)
        self._ask(Stop())
        self._wait(RAMP_MS)
        for axis in AxisId:
            self._ask_spoilt(self._describe(axis))
            self._ask(self._describe(axis))
            self._ask_spoilt(self._shape(axis))
            self._ask(self._shape(axis))
        self._ask(Arm(self._next_id(), self._boot_id, 30_000))
        self._ask(Reference(self._next_id(), 2000, 2000, 4))
        self._wait(REFERENCE_MS)

    def _draw(self) -> Request:
        random = self._random
        kind = random.randrange(25)
        if kind < 8:
            most = random.choice((NEAR, LIMIT))
            return Move(self._next_id(), *(Steps(random.randint(-most, most)) for _ in range(2)))
        if kind < 14:
            times = random.randint(0, 20), random.randint(1, 40), random.randint(0, 100)
            return Expose(self._next_id(), random.randrange(2**32), random.randrange(256), *times)
        if kind < 16:
            return Arm(self._next_id(), self._boot_id, random.choice((100, 30_000)))
        if kind < 18:
            return self._describe(random.choice(list(AxisId)))
        if kind < 21:
            return self._shape(random.choice(list(AxisId)))
        return random.choice((GetStatus(), GetIndex(), Stop(), Halt()))

    def _order(self) -> None:
        self._ask(self._draw())

    def _spoilt(self) -> None:
        self._ask_spoilt(self._draw())

    def _ask_spoilt(self, request: Request) -> None:
        """A good frame with a value at an edge of its range or beyond, or with a wrong length."""
        kind, payload = encode_message(request)
        values = bytearray(payload)
        for _ in range(self._random.randint(1, 2)):
            if len(values) > ID_BYTES:  # a spoilt command id would make all later ones stale
                values[self._random.randrange(ID_BYTES, len(values))] = self._random.choice(EDGES)
        if self._random.random() < 0.2:
            values = values[: self._random.randrange(len(values) + 1)]
        self._feed(self._frame(kind, bytes(values)))

    def _noise(self) -> None:
        random = self._random
        kind = random.randrange(4)
        if kind == 0:
            self._feed(random.randbytes(random.randrange(1, 400)))
        elif kind == 1:
            self._feed(LEAD + random.randbytes(random.randrange(1, 80)) + b"\0")
        elif kind == 2:
            self._feed(self._frame(random.choice(sorted(KINDS)), random.randbytes(random.randrange(MAX_PAYLOAD + 1))))
        else:
            damaged = bytearray(self._frame(*encode_message(self._draw())))
            damaged[random.randrange(len(damaged))] ^= 1 << random.randrange(8)
            self._feed(bytes(damaged[: random.randrange(1, len(damaged) + 1)]))

    def _input(self) -> None:
        self._write("I", self._random.choice(INPUTS))
        self._wait(self._random.choice((1, 10, 50)))
        self._write("I", 0)
