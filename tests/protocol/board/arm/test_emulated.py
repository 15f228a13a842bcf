"""What the emulated controller shows of the machine code: sizes, steps by the tick, instructions of a tick, late ticks.

An emulator counts instructions, not cycles. So a pulse's length within its tick, and the longest time without interrupts,
stay unknown here.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from protocol.messages import Capability, Finished, Outcome
from protocol.shaper import PLAIN, Shaper, set_shaper
from protocol.units import AxisId
from tests.protocol.board import build
from tests.protocol.board.arm import machine
from tests.protocol.board.arm.machine import TICKS_PER_MS, Firmware, Machine
from tests.protocol.board.talker import Talker

FLASH_MOST, RAM_MOST = 16 * 1024, 1280
CYCLES_OF_A_TICK = 16_000_000 // 40_000
INSTRUCTIONS_MOST = CYCLES_OF_A_TICK // 3
"""So that an interrupt is over within its tick even at three cycles an instruction, more than a Cortex-M0 needs for any
but the rarest (Cortex-M0 Technical Reference Manual, section 3.3, from memory).
"""
FIVE = Shaper(((0, 10_000), (60, 15_000), (125, 15_536), (190, 15_000), (250, 10_000)))


def ready_at(host: Talker, speed: int, accel: int) -> None:
    host.greet()
    host.configure(speed, accel, 200_000)
    host.arm()
    host.reference(500)


def test_it_fits_the_smaller_parts(firmware: Firmware) -> None:
    assert firmware.flash_bytes < FLASH_MOST
    assert firmware.ram_bytes < RAM_MOST


@pytest.mark.parametrize("shaper", [PLAIN, FIVE], ids=["no shaper", "five impulses"])
def test_a_move_at_the_highest_rate(board: Machine, host: Talker, shaper: Shaper) -> None:
    """No tick is late, and the cruise has a step in each second tick."""
    ready_at(host, 20_000, 40_000)
    for axis in AxisId:
        host.order(set_shaper(host.next_id(), axis, shaper))
    host.order(host.move(12_000, -12_000))
    board.run(50)  # away from the flags
    assert board.run_without_stop("stopping_finish") == 0
    assert host.finish(look_ms=5).outcome is Outcome.ARRIVED
    assert board.places == (12_000, -12_000)
    edges = board.edges()
    for axis in AxisId:
        gaps = [later - tick for tick, later in pairwise(tick for tick, name in edges if name == axis)]
        assert min(gaps) == 2


def test_the_interrupt_of_a_tick_is_short(board: Machine, host: Talker) -> None:
    ready_at(host, 20_000, 40_000)
    host.order(host.move(12_000, -12_000))
    board.run(600)
    counts = [board.instructions_of_a_tick() for _ in range(2 * TICKS_PER_MS)]
    assert 50 < max(counts) < INSTRUCTIONS_MOST


def test_runs_are_the_same_to_the_tick(firmware: Firmware, tmp_path: Path) -> None:
    runs = []
    for _ in range(2):
        board = Machine(firmware, tmp_path, place=(3, -4))
        try:
            board.look_closely()
            host = Talker(board)
            host.make_ready()
            host.order(host.move(80, -60))
            host.finish()
            runs.append(board.edges())
        finally:
            board.stop()
        for path in tmp_path.iterdir():
            path.unlink()
    assert runs[0] == runs[1] != []


def test_an_option_of_the_build(tmp_path: Path) -> None:
    build.need(machine.tools_lacking())
    firmware = machine.build_firmware(tmp_path, "EXTRA=-DFITTED=0")
    board = Machine(firmware, tmp_path)
    try:
        host = Talker(board)
        assert host.greet().capabilities == Capability.SHAPER
        host.configure()
        host.arm()
        host.reference()
        assert host.of(Finished)[-1].outcome is Outcome.REFERENCED
        assert board.places == (37, -58)
    finally:
        board.stop()
