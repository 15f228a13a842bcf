"""The firmware on simulated controllers."""

import sys

from tests.bench.figures import Figure
from tests.protocol.board import arm_figures, avr_figures
from tests.protocol.board.arm import machine as arm
from tests.protocol.board.avr import machine as avr

TICK_MOST = 16_000_000 // 40_000 // 3
"""Instructions: a third of the cycles of a tick."""


def firmware() -> list[Figure]:
    """Sizes and worst times on each target; if its tools are missing, only a sentence that says so."""
    found: list[Figure] = []
    for lack, measure in ((avr.tools_lacking(), _on_avr), (arm.tools_lacking(), _on_arm)):
        if lack is None:
            found += measure()
        else:
            print(f"{lack}; its figures are left out.", file=sys.stderr)
    return found


def _on_avr() -> list[Figure]:
    found = avr_figures.measure()
    return [
        Figure("firmware: flash", found.flash_bytes, "bytes", most=16 * 1024),
        Figure("firmware: static RAM", found.static_ram_bytes, "bytes", most=1280),
        Figure("firmware: RAM with the deepest stack seen", found.used_ram_bytes, "bytes", most=1280),
        Figure("firmware: longest time without interrupts", found.lockout_us, "us", most=avr.BYTE_US),
        Figure("firmware: late ticks at 2 x 10,000 steps/s", found.late_ticks, "", most=0),
    ]


def _on_arm() -> list[Figure]:
    found = arm_figures.measure_emulated()
    return [
        Figure("firmware, second target: flash", found.flash_bytes, "bytes", most=16 * 1024),
        Figure("firmware, second target: static RAM", found.static_ram_bytes, "bytes", most=1280),
        Figure("firmware, second target: instructions of a tick", found.tick_instructions, "", most=TICK_MOST),
        Figure("firmware, second target: late ticks at 2 x 20,000 steps/s", found.late_ticks, "", most=0),
    ]
