"""Figures of the firmware for the bench: its sizes, and how close to its limits it runs."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from protocol.shaper import Shaper, set_shaper
from protocol.units import AxisId
from tests.protocol.board.avr import machine
from tests.protocol.board.talker import Talker

SPEED, ACCEL, STEPS = 10_000, 20_000, 20_000
FIVE = Shaper(((0, 10_000), (60, 15_000), (125, 15_536), (190, 15_000), (250, 10_000)))


@dataclass(frozen=True, slots=True)
class FirmwareFigures:
    """Sizes in bytes; the longest time without interrupts; late ticks with both axes at 10,000 steps/s."""

    flash_bytes: int
    static_ram_bytes: int
    used_ram_bytes: int
    lockout_us: float
    late_ticks: int


def measure() -> FirmwareFigures:
    """Build the firmware, turn both axes there and back in the simulated controller while the host keeps asking."""
    with tempfile.TemporaryDirectory() as folder:
        firmware = machine.build_firmware(Path(folder))
        board = machine.Machine(machine.load(firmware), firmware, watching=True)
        host = Talker(board)
        host.make_ready(SPEED, ACCEL, STEPS)
        for axis in AxisId:
            host.order(set_shaper(host.next_id(), axis, FIVE))
        for target in ((STEPS, -STEPS), (0, 0)):
            host.order(host.move(*target))
            host.finish(look_ms=5)
        assert board.places == (0, 0)
        found = FirmwareFigures(
            firmware.flash_bytes, firmware.ram_bytes, board.used_ram, board.lockout_us, board.late_ticks
        )
        board.stop()
        return found
