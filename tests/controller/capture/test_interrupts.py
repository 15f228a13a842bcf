"""Ctrl-C becomes a wish; and after the second, an end."""

import signal

import pytest

from controller.capture.events import Kind
from controller.capture.interrupts import Interrupts


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_once_stops_twice_halts_and_the_third_ends(number: signal.Signals) -> None:
    before = signal.getsignal(number)
    with Interrupts() as interrupts:
        assert interrupts.next_wish() is None
        signal.raise_signal(number)
        assert interrupts.next_wish() is Kind.STOP
        assert interrupts.next_wish() is None
        signal.raise_signal(number)
        assert interrupts.next_wish() is Kind.HALT
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(number)
    assert signal.getsignal(number) == before
