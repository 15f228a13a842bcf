"""Ctrl-C becomes a request; the one after the third ends the program."""

import signal

import pytest

from controller.capture.events import EventKind
from controller.capture.interrupts import Interrupts


def request(interrupts: Interrupts) -> EventKind | None:
    wanted = interrupts.next_request()
    return None if wanted is None else wanted.kind


@pytest.mark.parametrize(
    ("number", "requests"),
    [
        (signal.SIGINT, (EventKind.PAUSE, EventKind.STOP, EventKind.HALT)),
        (signal.SIGTERM, (EventKind.STOP, EventKind.HALT)),
    ],
)
def test_each_is_graver_than_the_one_before_and_the_last_ends(
    number: signal.Signals, requests: tuple[EventKind, ...]
) -> None:
    before = signal.getsignal(number)
    with Interrupts() as interrupts:
        assert request(interrupts) is None
        for wanted in requests:
            signal.raise_signal(number)
            assert request(interrupts) is wanted
            assert request(interrupts) is None
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(number)
    assert signal.getsignal(number) == before


def test_once_it_goes_on_ctrl_c_pauses_again() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        assert request(interrupts) is EventKind.PAUSE
        interrupts.begin_again()
        signal.raise_signal(signal.SIGINT)
        assert request(interrupts) is EventKind.PAUSE
