"""The core compared with the simulated board: the same bytes give the same replies and the same notices."""

from __future__ import annotations

from collections.abc import Callable
from ctypes import CDLL
from typing import TypeAlias

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol.codec import PROTOCOL_VERSION, frame_of, kind_of
from protocol.framing import KINDS, LEAD, encode_frame
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Expose,
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
from protocol.units import ID_SPAN, NO_COMMAND, AxisId, BootId, CommandId, Steps, is_after
from tests.protocol.board.pair import PLACE, Pair
from tests.protocol.strategies import PAYLOADS

Op: TypeAlias = Callable[["Run"], None]
FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture, HealthCheck.too_slow)
LIMIT = 3000


class Run:
    """A host that sends to both."""

    def __init__(self, library: CDLL, place: tuple[int, int] = PLACE) -> None:
        self.pair = Pair(library, place)
        self.seq = 0
        self.last_id = 0
        self.wire = encode_frame(kind_of(GetStatus), 0, b"")

    def frame(self, request: Request) -> bytes:
        self.seq = (self.seq + 1) % 256
        return frame_of(request, self.seq)

    def send(self, request: Request) -> None:
        self.pair.agree()
        if isinstance(request, Expose):
            self.pair.wait_for_camera()
        self.wire = self.frame(request)
        pairs = self.pair.feed(self.wire)
        assert len(pairs) == 1
        command_id = getattr(request, "command_id", NO_COMMAND)
        if pairs[0][0] == Accepted() and is_after(command_id, CommandId(self.last_id)):
            self.last_id = command_id

    def next_id(self, back: int) -> CommandId:
        """A new id; with `back`, the last one used, or an older one, or one far ahead."""
        return CommandId((self.last_id + 1 - back) % ID_SPAN)

    def make_ready(self) -> None:
        for axis in AxisId:
            self.send(SetAxis(self.next_id(0), axis, Steps(-LIMIT), Steps(LIMIT), 2000, 4000))
        self.send(Arm(self.next_id(0), self.pair.boot_id, 60_000))
        self.send(Reference(self.next_id(0), 500, 500, 5))
        self.pair.run(8000)
        self.pair.agree()


BACK = st.sampled_from((0, 0, 0, 0, 0, 0, 1, 2, 1000, 1 - 2**31, 2 - 2**31))
PAUSES = st.sampled_from((0, 1, 7, 50, 300, 300, 2500))
TARGETS = st.integers(-LIMIT - 100, LIMIT + 100) | st.sampled_from((0, LIMIT, -LIMIT, LIMIT + 1, 2**31 - 1))
SPEEDS = st.integers(200, 3000) | st.sampled_from((0, 1, 20_000, 20_001, 2**32 - 1))


def _send(make: Callable[..., Request], *values: st.SearchStrategy[object]) -> st.SearchStrategy[Op]:
    def with_id(back: int, *rest: object) -> Op:
        return lambda run: run.send(make(run.next_id(back), *rest))

    return st.builds(with_id, BACK, *values)


def _plain(request: Request) -> Op:
    return lambda run: run.send(request)


def _arm(back: int, other_boot: bool, silence_ms: int) -> Op:
    return lambda run: run.send(Arm(run.next_id(back), BootId(run.pair.boot_id ^ other_boot), silence_ms))


def _wait(milliseconds: int) -> Op:
    return lambda run: run.pair.run(milliseconds)


def _again(run: Run) -> None:
    run.pair.agree()
    run.pair.feed(run.wire)


def _damaged(at: int, bit: int) -> Op:
    def op(run: Run) -> None:
        run.pair.agree()
        wire = bytearray(run.frame(GetStatus()))
        wire[at % len(wire)] ^= 1 << bit
        run.pair.feed(bytes(wire))

    return op


def _anything(kind: int, seq: int, payload: bytes) -> Op:
    def op(run: Run) -> None:
        run.pair.agree()
        run.pair.feed(encode_frame(kind, seq, payload))

    return op


def _in_two(cut: int, pause: int) -> Op:
    def op(run: Run) -> None:
        wire = run.frame(GetStatus())
        run.pair.feed(wire[:cut])
        run.pair.run(pause)
        run.pair.agree()
        run.pair.feed(wire[cut:])

    return op


def _noise(data: bytes) -> Op:
    def op(run: Run) -> None:
        run.pair.agree()
        run.pair.feed(data)

    return op


SET_AXIS = _send(
    lambda command_id, axis, low, high, speed, accel: SetAxis(command_id, axis, Steps(low), Steps(high), speed, accel),
    st.sampled_from(list(AxisId)),
    st.sampled_from((-LIMIT, -LIMIT, -LIMIT, -200, 10, 2 * LIMIT)),
    st.sampled_from((LIMIT, LIMIT, LIMIT, 300)),
    st.integers(500, 3000) | st.sampled_from((0, 20_001)),
    st.integers(500, 20_000) | st.just(0),
)
SHAPERS = (
    (0, 19_056, 63, 32_567, 125, 13_913),
    (0, 40_000, 400, 25_536),
    (0, 9_343, 120, 25_050, 240, 23_452, 360, 7_691),
    (0, 1, 5, 1, 10, 1, 15, 1, 2_000, 65_532),
    (),
    (0, 65_535),  # from here on: what is no shaper
    (0, 40_000, 400, 25_535),
    (1, 40_000, 400, 25_536),
    (0, 40_000, 4, 25_536),
    (0, 40_000, 2_001, 25_536),
    (0, 40_000, 0, 0, 400, 25_536),
    (0, 65_535, 10, 65_535, 20, 65_535, 30, 65_535, 40, 4),
)
SET_SHAPER = _send(
    lambda command_id, axis, numbers: SetShaper(command_id, axis, *numbers, *(0,) * (10 - len(numbers))),
    st.sampled_from(list(AxisId)),
    st.sampled_from(SHAPERS),
)
OPS: st.SearchStrategy[Op] = st.one_of(
    st.builds(_wait, PAUSES),
    _send(lambda command_id, pan, tilt: Move(command_id, Steps(pan), Steps(tilt)), TARGETS, TARGETS),
    _send(lambda command_id, pan, tilt: Move(command_id, Steps(pan), Steps(tilt)), TARGETS, TARGETS),
    _send(Reference, SPEEDS, SPEEDS, st.sampled_from((0, 1, 2, 5))),
    _send(
        lambda command_id, focus, press, limit: Expose(command_id, 1, 2, focus, press, limit),
        st.sampled_from((0, 1, 30)),
        st.sampled_from((0, 1, 60, 250)),
        st.sampled_from((0, 20, 400)),
    ),
    SET_AXIS,
    SET_SHAPER,
    st.builds(_arm, BACK, st.sampled_from((False, False, False, True)), st.sampled_from((0, 200, 2000, 60_000))),
    st.sampled_from([_plain(GetStatus()), _plain(Stop()), _plain(Halt()), _again, _again]),
    st.builds(
        lambda major, minor, nonce: _plain(Hello(major, minor, nonce)),
        st.sampled_from((1, 1, 2)),
        st.integers(0, 2),
        st.integers(0, 2**32 - 1),
    ),
    st.builds(_damaged, st.integers(0, 10), st.integers(0, 7)),
    st.builds(_anything, st.sampled_from(sorted(KINDS)), st.integers(0, 255), PAYLOADS),
    st.builds(_in_two, st.integers(0, 9), st.sampled_from((0, 1, 20))),
    st.builds(_noise, st.binary(max_size=80) | st.binary(max_size=40).map(LEAD.__add__)),
)


@pytest.mark.long
@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=150)
@given(ready=st.sampled_from((True, True, True, False)), ops=st.lists(OPS, max_size=14))
def test_same_bytes_same_answers(library: CDLL, ready: bool, ops: list[Op]) -> None:
    run = Run(library)
    run.send(Hello(*PROTOCOL_VERSION, 7))
    if ready:
        run.make_ready()
    for op in ops:
        op(run)
    run.send(Stop())
    run.pair.run(4000)
    run.pair.agree()
    run.send(GetStatus())


@pytest.mark.parametrize("numbers", SHAPERS)
def test_a_usual_run(library: CDLL, numbers: tuple[int, ...]) -> None:
    run = Run(library)
    run.send(Hello(*PROTOCOL_VERSION, 7))
    run.make_ready()
    for axis in AxisId:
        run.send(SetShaper(run.next_id(0), axis, *numbers, *(0,) * (10 - len(numbers))))
    for at in range(1, 4):
        run.send(Move(run.next_id(0), Steps(400 * at), Steps(-300 * at)))
        run.pair.run(1500 + max(numbers[::2], default=0))
        run.send(Expose(run.next_id(0), at, 0, 30, 60, 400))
        run.pair.run(600)
        run.send(GetStatus())


PLACES = st.tuples(st.integers(-LIMIT, LIMIT), st.integers(-LIMIT, LIMIT))
LOST = st.tuples(st.booleans(), st.booleans())


def _bound(low: int, high: int) -> int:
    """SPEC, Reference: the travel extended to include zero, a 32nd of it and 32 steps."""
    travel = max(high, 0) - min(low, 0)
    return travel + travel // 32 + 32


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=60)
@given(
    place=PLACES,
    lost=LOST,
    low=st.sampled_from((-LIMIT, -LIMIT, -40, 5)),
    high=st.sampled_from((LIMIT, LIMIT, 700)),
    searches=st.tuples(st.integers(200, 3000), st.integers(200, 3000)),
    divisor=st.sampled_from((1, 2, 8)),
    minor=st.integers(0, 1),
)
def test_both_seek_alike(
    library: CDLL,
    place: tuple[int, int],
    lost: tuple[bool, bool],
    low: int,
    high: int,
    searches: tuple[int, int],
    divisor: int,
    minor: int,
) -> None:
    """From anywhere, with switches that change or never do: the same end at the same position, with the same messages."""
    run = Run(library, place)
    run.send(Hello(PROTOCOL_VERSION.major, minor, 7))
    for axis in AxisId:
        run.send(SetAxis(run.next_id(0), axis, Steps(low), Steps(high), 3000, 6000))
    run.pair.lose_switches(lost)
    run.send(Arm(run.next_id(0), run.pair.boot_id, 2**31))
    begun = run.pair.ours.steps
    run.send(Reference(run.next_id(0), *searches, divisor))
    while run.pair.ours.state == BoardState.REFERENCING:
        run.pair.run(200)
    run.pair.agree()
    run.send(GetStatus())
    made = [after - before for after, before in zip(run.pair.ours.steps, begun, strict=True)]
    at_zero = run.pair.ours.state == BoardState.READY
    assert at_zero <= (run.pair.ours.places == (0, 0))
    for axis in AxisId:
        assert not (lost[axis] and run.pair.ours.known & (2 << axis))  # an axis that did not meet its switch is not known
        assert made[axis] <= _bound(low, high) * (1 if lost[axis] else 3)
    reaches = all(-_bound(low, high) < steps < _bound(low, high) for steps in place)
    assert at_zero == (reaches and not any(lost))
