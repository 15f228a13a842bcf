"""Faster lines, full of requests, while both axes turn: only the main loop lags."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from protocol.codec import frame_of
from protocol.messages import Expose, GetStatus, Held, Outcome
from tests.protocol.board import build
from tests.protocol.board.avr import machine
from tests.protocol.board.avr.machine import Machine
from tests.protocol.board.talker import Talker

SILENCE_MS = 60
PRESS_MS = 10
ASK = frame_of(GetStatus(), 1)
FLOOD_MS = 600


@pytest.fixture(params=[250_000, 500_000])
def fast_board(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Machine]:
    build.need(machine.tools_lacking())
    firmware = machine.build_firmware(tmp_path_factory.mktemp("fast"), request.param)
    board = Machine(machine.load(firmware), firmware, watching=True)
    yield board
    assert board.complaints == 0
    board.stop()


def test_a_full_line_is_a_host_that_speaks(fast_board: Machine) -> None:
    """No silence is reported wrongly, and no contact closes for too short a time."""
    host = Talker(fast_board)
    host.make_ready(10_000, 50_000, 20_000)
    host.arm(SILENCE_MS)
    host.order(host.move(6000, -6000))
    for _ in range(FLOOD_MS // 20):
        fast_board.feed(ASK * 12)  # more replies than fit into the time, so it always has some to send
        host.run(20)
        assert host.of(Held) == []
    host.run(30)
    assert host.finish(look_ms=5).outcome is Outcome.ARRIVED
    fast_board.feed(frame_of(Expose(host.next_id(), 0, 0, 5, PRESS_MS, 1), 200) + ASK * 12)
    host.run(40)
    assert fast_board.pulse_ms(2)[1] >= PRESS_MS - 1
    assert host.of(Held) == []
    assert fast_board.late_ticks == 0
    assert fast_board.overruns == 0
