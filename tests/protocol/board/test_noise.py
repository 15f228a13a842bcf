"""Noise of any length never blocks the core, moves nothing, and is answered only if it contains a request."""

from __future__ import annotations

from collections.abc import Callable
from ctypes import CDLL

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol.codec import frame_of
from protocol.framing import KINDS, encode_frame
from protocol.messages import BoardState, Expose, Halt, Move, Reference, Request, SetAxis, Stop
from protocol.units import AxisId, CommandId, Steps
from tests.protocol.board.core import Core
from tests.protocol.board.talker import Talker
from tests.protocol.strategies import MESSAGES, PAYLOADS, SEQS

FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture,)
TRAVEL_MS = 20_000
"""More than enough to stop a move that noise might have started; every example is bounded."""


def _flip(wire: bytes, at: int, bit: int) -> bytes:
    damaged = bytearray(wire)
    damaged[at % len(wire)] ^= 1 << bit
    return bytes(damaged)


FRAMES = st.builds(encode_frame, st.sampled_from(sorted(KINDS)), SEQS, PAYLOADS) | st.builds(frame_of, MESSAGES, SEQS)
FLIPPED = st.builds(_flip, FRAMES, st.integers(0, 40), st.integers(0, 7))
PIECES = st.lists(st.binary(max_size=300) | FRAMES | FLIPPED | st.just(b"\0" * 50) | st.just(b"\xff" * 999), max_size=12)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=150)
@given(pieces=PIECES, pauses=st.lists(st.integers(0, 30), min_size=12, max_size=12))
def test_noise_never_blocks(library: CDLL, pieces: list[bytes], pauses: list[int]) -> None:
    core = Core(library)
    talker = Talker(core)
    for piece, pause in zip(pieces, pauses, strict=False):
        core.feed(piece)
        core.run(pause)
    polls = core.polls
    assert polls <= sum(map(len, pieces)) + sum(pauses) + len(pieces) + 10  # each poll takes a byte at least
    core.take()
    talker.greet()
    assert core.state == BoardState.DISARMED  # an Arm needs the boot id, which noise does not contain
    assert core.steps == (0, 0)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=60)
@given(pieces=PIECES)
def test_an_armed_board_obeys_stop_after_any_noise(library: CDLL, pieces: list[bytes]) -> None:
    core = Core(library)
    talker = Talker(core)
    talker.make_ready()
    talker.order(talker.move(4000, -4000))
    for piece in pieces:
        core.feed(piece)
        core.run(5)
    core.take()
    talker.order(Stop())
    talker.await_disarmed(TRAVEL_MS)
    steps = core.steps
    core.run(100)
    assert core.steps == steps


ORDERS: tuple[Callable[[CommandId], Request], ...] = (
    lambda command_id: Move(command_id, Steps(200), Steps(-150)),
    lambda command_id: Move(command_id, Steps(0), Steps(9000)),
    lambda command_id: Reference(command_id, 900, 800, 3),
    lambda command_id: Expose(command_id, 0, 0, 3, 20, 50),
    lambda command_id: SetAxis(command_id, AxisId.PAN, Steps(-1), Steps(1), 100, 100),
    lambda _: Stop(),
    lambda _: Halt(),
)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=60)
@given(orders=st.lists(st.tuples(st.sampled_from(ORDERS), st.integers(0, 400)), max_size=8))
def test_any_order_of_orders_ends_at_rest(
    library: CDLL, orders: list[tuple[Callable[[CommandId], Request], int]]
) -> None:
    core = Core(library)
    talker = Talker(core)
    talker.make_ready()
    for order, pause in orders:
        talker.ask(order(talker.next_id()))
        talker.run(pause)
    talker.ask(Stop())
    status = talker.await_disarmed(TRAVEL_MS)
    if status.flags:
        assert (status.pan_steps, status.tilt_steps) == core.places
