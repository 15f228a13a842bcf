"""Ctrl-C becomes a wish; and after the third, an end."""

import signal

import pytest

from controller.capture.events import Kind
from controller.capture.interrupts import Interrupts


def wish(interrupts: Interrupts) -> Kind | None:
    wanted = interrupts.next_wish()
    return None if wanted is None else wanted.kind


@pytest.mark.parametrize(
    ("number", "wishes"),
    [(signal.SIGINT, (Kind.PAUSE, Kind.STOP, Kind.HALT)), (signal.SIGTERM, (Kind.STOP, Kind.HALT))],
)
def test_each_is_graver_than_the_one_before_and_the_last_ends(number: signal.Signals, wishes: tuple[Kind, ...]) -> None:
    before = signal.getsignal(number)
    with Interrupts() as interrupts:
        assert wish(interrupts) is None
        for wanted in wishes:
            signal.raise_signal(number)
            assert wish(interrupts) is wanted
            assert wish(interrupts) is None
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(number)
    assert signal.getsignal(number) == before


def test_once_it_goes_on_ctrl_c_pauses_again() -> None:
    with Interrupts() as interrupts:
        signal.raise_signal(signal.SIGINT)
        assert wish(interrupts) is Kind.PAUSE
        interrupts.begin_again()
        signal.raise_signal(signal.SIGINT)
        assert wish(interrupts) is Kind.PAUSE
