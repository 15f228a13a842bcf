"""The firmware on each target and the core on this machine give the same replies to random requests.

A controller has integers of another width, another compiler and a line that takes time; none of this may show.
"""

from __future__ import annotations

from ctypes import CDLL
from dataclasses import replace
from math import ceil
from random import Random

import pytest

from protocol.codec import decode_message
from protocol.framing import Deframer
from protocol.messages import (
    Arm,
    BoardState,
    Booted,
    Expose,
    GetIndex,
    GetStatus,
    Halt,
    Hello,
    Message,
    Move,
    Reference,
    Request,
    SetAxis,
    SetShaper,
    Status,
    Stop,
    Welcome,
)
from protocol.units import AxisId, BootId, CommandId, Steps
from tests.protocol.board import talker
from tests.protocol.board.core import Core
from tests.protocol.board.pins import Target
from tests.protocol.board.script import Script
from tests.protocol.board.talker import Talker

SHAPERS = (
    (0,) * 10,
    (0, 19_056, 63, 32_567, 125, 13_913, 0, 0, 0, 0),
    (0, 1, 5, 1, 10, 1, 15, 1, 400, 65_532),
    (0, 13_000, 40, 13_000, 80, 13_000, 120, 13_000, 160, 13_536),
)
EDGE = (0, 1, 2**16 - 1, 2**16, 2**31 - 1, 2**31, 2**32 - 1)
PAUSE_MS = 8
"""Time for the replies to the latest bytes; the longest takes 4 ms on the line."""


def draw(random: Random, host: Talker) -> Request:
    """A request, often a valid one."""
    command_id = CommandId(max(0, host.last_id + random.choice((1, 1, 1, 1, 1, 1, 0, -1, -100))))
    host.last_id = max(host.last_id, command_id)
    odd = random.random() < 0.15
    number = random.choice(EDGE)
    kind = random.randrange(11)
    if kind <= 2:
        return Move(command_id, *(Steps(random.randint(-220, 220) if not odd else number - 2**31) for _ in range(2)))
    if kind == 3:
        pan, tilt = (number if odd else random.randint(200, 600) for _ in range(2))
        return Reference(command_id, pan, tilt, random.choice((0, 1, 4)))
    if kind == 4:
        return Expose(command_id, number, number & 0xFF, random.randint(0, 20), 0 if odd else 15, random.randint(0, 40))
    if kind == 5:
        return Arm(command_id, BootId(host.boot_id ^ odd), number if odd else 60_000)
    if kind == 6:
        limit = Steps(200 if not odd else number - 2**31)
        return SetAxis(command_id, random.choice(list(AxisId)), Steps(-200), limit, number if odd else 1500, 6000)
    if kind == 7:
        return random.choice((Stop(), Halt()))
    if kind == 10:
        numbers = random.choice(SHAPERS)
        spoilt = [number & 0xFFFF if odd and random.random() < 0.2 else value for value in numbers]
        return SetShaper(command_id, random.choice(list(AxisId)), *spoilt)
    return random.choice((GetStatus(), GetIndex())) if kind == 8 else Hello(random.choice((1, 1, 2)), number & 3, number)


def without_time(message: Message) -> Message:
    """The parts that must be exactly equal once the motion has ended."""
    if isinstance(message, Status):
        return replace(message, clock_ms=0, finished_clock_ms=0)
    return message


def rest(host: Talker) -> Status:
    """Wait for the end of the motion. Stops a few milliseconds apart end a few steps apart."""
    for _ in range(1500):
        status = host.status()
        if status.state <= BoardState.READY:
            return status
        host.run(10)
    raise AssertionError("it never ends")


ON_AVR, ON_ARM = "simulated_avr", "emulated_arm"


@pytest.mark.long
@pytest.mark.parametrize(("target", "seed"), [*((ON_AVR, seed) for seed in range(6)), (ON_ARM, 0)], indirect=["target"])
def test_same_replies(library: CDLL, target: Target, seed: int) -> None:
    theirs = Talker(target)
    boot_id = theirs.greet().boot_id
    ours = Talker(Core(library, boot_id=boot_id, camera_ms=None))
    ours.greet()
    for host in (ours, theirs):
        host.make_ready(1500, 6000, 200)
    random = Random(seed)
    for _ in range(60):
        request = draw(random, ours)
        theirs.last_id = ours.last_id
        mine, other = ours.ask(request), theirs.ask(request)
        if not isinstance(mine, Status):
            assert mine == other, request
        ends = [rest(host) for host in (ours, theirs)]
        assert without_time(ends[0]) == without_time(ends[1]), request
    told = [[replace(n, clock_ms=0) for n in host.notices if not isinstance(n, Booted)] for host in (ours, theirs)]
    assert told[0] == told[1]
    assert isinstance(theirs.greet(), Welcome)


def said(machine: talker.Machine, deframer: Deframer) -> list[tuple[int, Message]]:
    frames = deframer.feed(machine.take())
    return [(frame.seq, without_time(decode_message(frame.kind, frame.payload))) for frame in frames]


@pytest.mark.parametrize(("target", "seed"), [*((ON_AVR, seed) for seed in range(3)), (ON_ARM, 0)], indirect=["target"])
def test_same_replies_to_noise(library: CDLL, target: Target, seed: int) -> None:
    """Whatever is on the line, damaged or cut off, both find the same frames in it."""
    boot_id = Talker(target).greet().boot_id
    core = Core(library, boot_id=boot_id, camera_ms=None)
    Talker(core).greet()
    machines: tuple[talker.Machine, talker.Machine] = (core, target)
    deframers = Deframer(), Deframer()
    answered = 0
    for piece in Script(seed, BootId(boot_id ^ 1)).pieces(300):
        for machine in machines:
            machine.feed(piece)
            machine.run(ceil(len(piece) * target.byte_us / 1000) + PAUSE_MS)
        mine, other = (said(machine, deframer) for machine, deframer in zip(machines, deframers, strict=True))
        assert mine == other, piece
        answered += len(mine)
    assert answered > 100
    assert [deframer.counters.damaged for deframer in deframers] == [0, 0]
