"""The options of the build on the firmware's page: each builds, and the board reports what it was built with."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from protocol.messages import Capability, Finished, Outcome
from tests.protocol.board import build
from tests.protocol.board.avr import machine
from tests.protocol.board.avr.machine import FIRMWARE, Machine
from tests.protocol.board.talker import Talker

PAGE = (FIRMWARE / "README.md").read_text(encoding="utf-8")
FITTED = {
    "make EXTRA='-DFITTED=0'": Capability(0),
    "make EXTRA='-DFITTED=\"(FITTED_PAN_SWITCH | FITTED_HALF_PRESS)\"'": Capability.PAN_SWITCH | Capability.HALF_PRESS,
}


def options_of(command: str) -> str:
    found = re.fullmatch(r"make (EXTRA)='(.*)'", command)
    assert found is not None
    return f"{found[1]}={found[2]}"


@pytest.mark.parametrize(("command", "fitted"), FITTED.items())
def test_what_is_fitted(tmp_path: Path, command: str, fitted: Capability) -> None:
    assert f"`{command}`" in PAGE
    build.need(machine.tools_lacking())
    firmware = machine.build_firmware(tmp_path, machine.BAUD, options_of(command))
    board = Machine(machine.load(firmware), firmware, place=(37, -58))
    host = Talker(board)
    assert host.greet().capabilities == fitted | Capability.SHAPER  # which every board with this core has
    host.configure()
    host.arm()
    host.reference()
    assert host.of(Finished)[-1].outcome is Outcome.REFERENCED
    assert board.places == (0 if fitted & Capability.PAN_SWITCH else 37, -58)
    board.stop()


def test_the_supply_threshold(tmp_path: Path) -> None:
    assert "`-DSUPPLY_LOW_VOLTS=20`" in PAGE
    build.need(machine.tools_lacking())
    firmware = machine.build_firmware(tmp_path, machine.BAUD, "EXTRA=-DSUPPLY_LOW_VOLTS=20")
    board = Machine(machine.load(firmware), firmware)
    host = Talker(board)
    host.make_ready()
    board.set_supply(21.0)
    host.run(20)
    assert host.status().cause == 0
    board.set_supply(19.0)
    host.run(20)
    assert host.status().cause.name == "SUPPLY_LOW"
    board.stop()


def test_the_table_of_dividers_is_what_the_registers_give() -> None:
    """ATmega328P data sheet, "USART0", baud rate in double-speed mode: f / (8 (UBRR + 1)), at 16 MHz."""
    rows = re.findall(r"^\| ([\d,]+) \| (\d+) \| ([\d,]+) \| ([+-]?[\d.]+) % \|", PAGE, re.MULTILINE)
    assert len(rows) >= 5
    for asked, divider, made, error in rows:
        baud = int(asked.replace(",", ""))
        register = (machine.F_CPU + 4 * baud) // (8 * baud) - 1
        comes_out = machine.F_CPU / (8 * (register + 1))
        assert int(divider) == register
        assert round(comes_out) == int(made.replace(",", ""))
        assert abs(100 * (comes_out / baud - 1) - float(error)) < 0.06
