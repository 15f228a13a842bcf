"""The inputs of a board, by name: each target has its own pins for them."""

from __future__ import annotations

from enum import Enum, auto
from typing import Protocol

from tests.protocol.board import talker


class Input(Enum):
    """What a test switches on and off at the pins. Flags follow the motors by themselves."""

    PAN_LIMIT = auto()
    TILT_LIMIT = auto()
    SYNC = auto()
    STOP_SWITCH = auto()
    SUPPLY_LOW = auto()


class Target(talker.Machine, Protocol):
    """A controller with the firmware, from power-on, with its motors and flags."""

    byte_us: float
    """The time in which one byte reaches it, in microseconds."""

    loop_ms: float
    """How much later than its millisecond a contact may change, because the main loop moves it."""

    @property
    def places(self) -> tuple[int, int]:
        """The positions of the motors; zero is the edge of the flag."""

    @property
    def steps(self) -> tuple[int, int]:
        """The number of steps of each motor, in both directions together."""

    @property
    def outputs(self) -> int:
        """Bit 0 motors off, 1 half-press, 2 release."""

    def drive(self, name: Input, *, on: bool) -> None: ...
    def look_closely(self) -> None:
        """From now on the times of pulses are exact to a tick or better."""

    def pulse_ms(self, bit: int) -> tuple[float, float]: ...
    def restart(self) -> None: ...
    def stop(self) -> None: ...
