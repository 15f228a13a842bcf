"""The firmware on a simulated controller."""

import sys

from tests.bench.figures import Figure
from tests.protocol.board import avr_figures
from tests.protocol.board.avr import machine


def firmware() -> list[Figure]:
    """Sizes and worst times; if the tools are missing, only a sentence that says so."""
    lack = machine.tools_lacking()
    if lack is not None:
        print(f"{lack}; its figures are left out.", file=sys.stderr)
        return []
    found = avr_figures.measure()
    return [
        Figure("firmware: flash", found.flash_bytes, "bytes", most=16 * 1024),
        Figure("firmware: static RAM", found.static_ram_bytes, "bytes", most=1280),
        Figure("firmware: RAM with the deepest stack seen", found.used_ram_bytes, "bytes", most=1280),
        Figure("firmware: longest time without interrupts", found.lockout_us, "us", most=machine.BYTE_US),
        Figure("firmware: late ticks at 2 x 10,000 steps/s", found.late_ticks, "", most=0),
    ]
