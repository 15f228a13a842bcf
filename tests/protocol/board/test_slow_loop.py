"""A main loop that lags behind its clock: an event later than the moment it works at does not count as long past.

Time passes while bytes are received, as on a controller with a full line at 115200 to 500000 baud.
"""

from __future__ import annotations

from ctypes import CDLL
from random import Random

import pytest

from protocol.codec import frame_of
from protocol.messages import BoardState, Expose, GetStatus
from tests.protocol.board.core import Core
from tests.protocol.board.talker import Talker

SILENCE_MS = 250
FRAME = frame_of(GetStatus(), 1)
SLOW = (1, 3, 7, 20)
"""Ticks of 25 us for each byte: with 20 a frame takes 5 ms."""


def ready(library: CDLL, silence_ms: int) -> tuple[Core, Talker]:
    core = Core(library, camera_ms=None)
    talker = Talker(core)
    talker.make_ready()
    talker.arm(silence_ms)
    return core, talker


@pytest.mark.parametrize("ticks", SLOW)
@pytest.mark.parametrize("seed", range(4))
def test_a_host_that_speaks_all_the_time_is_not_silent(library: CDLL, ticks: int, seed: int) -> None:
    core, _ = ready(library, SILENCE_MS)
    core.slow_down(ticks)
    random = Random(seed)
    until = core.clock_ms + 20 * SILENCE_MS
    while core.clock_ms < until:
        core.feed(FRAME * random.randint(1, 4))
        core.run(random.randrange(3))
        assert core.state == BoardState.READY


@pytest.mark.parametrize("ticks", SLOW)
def test_a_host_that_falls_silent_is_told_from_it_as_soon(library: CDLL, ticks: int) -> None:
    core, _ = ready(library, SILENCE_MS)
    core.slow_down(ticks)
    core.feed(FRAME * 9)
    heard = core.clock_ms
    core.run(SILENCE_MS - 1)
    assert core.state == BoardState.READY
    core.run(2)
    assert core.state == BoardState.DISARMED
    assert SILENCE_MS - 1 <= core.clock_ms - heard <= SILENCE_MS + 2


@pytest.mark.parametrize("ticks", SLOW)
@pytest.mark.parametrize("seed", range(4))
def test_contacts_are_never_closed_for_too_short_a_time(library: CDLL, ticks: int, seed: int) -> None:
    """To within a millisecond, the resolution of the clock; the loop is late by the time for its bytes."""
    core, talker = ready(library, 60_000)
    core.slow_down(ticks)
    random = Random(seed)
    late_us = ticks * 25 * len(FRAME) + 1000
    for _ in range(30):
        focus_ms, press_ms = random.choice((0, 1, 5, 30)), random.choice((1, 2, 40))
        core.feed(FRAME * random.randint(0, 3))
        order = frame_of(Expose(talker.next_id(), 0, 0, focus_ms, press_ms, 0), random.randrange(256))
        core.feed(order + FRAME * random.randint(0, 3))
        while core.state == BoardState.EXPOSING:
            if random.random() < 0.5:
                core.feed(FRAME)
            core.run(1)
        assert (press_ms - 1) * 1000 < core.closed_us(1) <= press_ms * 1000 + 2 * late_us
        assert (focus_ms + press_ms) * 1000 <= core.closed_us(0)


def test_a_time_beyond_half_the_clock_counts_as_half_of_it(library: CDLL) -> None:
    core, _ = ready(library, 2**32 - 1)
    core.run(1000)
    assert core.state == BoardState.READY
