"""Figures of the firmware of the second target for the bench: its sizes, and the work of a tick."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.protocol.board.arm import machine
from tests.protocol.board.talker import Talker

SPEED, ACCEL, STEPS = 20_000, 40_000, 12_000
AWAY_MS, COUNTED = 50, 80


@dataclass(frozen=True, slots=True)
class EmulatedFigures:
    """Sizes in bytes; the most instructions of a tick's interrupt; late ticks with both axes at 20,000 steps/s."""

    flash_bytes: int
    static_ram_bytes: int
    tick_instructions: int
    late_ticks: int


def measure_emulated() -> EmulatedFigures:
    """Build the firmware, and turn both axes at the highest rate in the emulated controller."""
    with tempfile.TemporaryDirectory() as folder:
        firmware = machine.build_firmware(Path(folder))
        board = machine.Machine(firmware, Path(folder))
        try:
            board.look_closely()
            host = Talker(board)
            host.make_ready(SPEED, ACCEL, STEPS)
            host.order(host.move(STEPS, -STEPS))
            board.run(AWAY_MS)
            late = board.run_without_stop("stopping_finish")
            host.finish(look_ms=5)
            host.order(host.move(-STEPS, STEPS))
            board.run(AWAY_MS)
            most = max(board.instructions_of_a_tick() for _ in range(COUNTED))
        finally:
            board.stop()
        return EmulatedFigures(firmware.flash_bytes, firmware.ram_bytes, most, late)
