"""What the pins of the ATmega328P alone show: why it has started, and short pulses of its sync contact."""

from __future__ import annotations

import pytest

from protocol.messages import Booted, Cause, Expose, Outcome
from tests.protocol.board.avr.machine import (
    BROWN_OUT_FLAG,
    POWER_ON_FLAG,
    RESET_PIN_FLAG,
    WATCHDOG_FLAG,
    Machine,
)
from tests.protocol.board.pins import Input
from tests.protocol.board.talker import Talker


@pytest.mark.parametrize(
    ("flags", "cause"),
    [
        (POWER_ON_FLAG, Cause.POWER_ON),
        (POWER_ON_FLAG | BROWN_OUT_FLAG, Cause.POWER_ON),
        (RESET_PIN_FLAG, Cause.POWER_ON),
        (BROWN_OUT_FLAG, Cause.SUPPLY_LOW),
        (WATCHDOG_FLAG, Cause.WATCHDOG),
        (WATCHDOG_FLAG | BROWN_OUT_FLAG, Cause.WATCHDOG),
        (0, Cause.POWER_ON),  # an earlier program has cleared them
    ],
)
def test_why_it_has_started(board: Machine, host: Talker, flags: int, cause: Cause) -> None:
    board.restart(flags)
    host.listen()
    told = Cause.POWER_ON if cause is Cause.WATCHDOG else cause  # it does not know its host's version yet
    assert host.of(Booted)[-1].cause is told
    host.greet()
    assert host.status().cause is cause


def test_one_sample_of_the_sync_contact_is_no_exposure(board: Machine, host: Talker) -> None:
    """At most two ticks see 40 us at the pin, and at least four see 125 us."""
    host.make_ready()
    for cycles, outcome in ((640, Outcome.NO_SYNC), (2000, Outcome.EXPOSED_SYNC)):
        for _ in range(8):
            host.order(Expose(host.next_id(), 0, 0, 0, 20, 30))
            board.run(8)
            board.run_cycles(137)
            board.drive(Input.SYNC, on=True)
            board.run_cycles(cycles)
            board.drive(Input.SYNC, on=False)
            assert host.finish(look_ms=10).outcome is outcome
