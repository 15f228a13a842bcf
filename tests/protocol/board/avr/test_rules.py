"""The firmware on its controller passes every rule of `fullturn board check`."""

from __future__ import annotations

import pytest

from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import Talk
from tests.protocol.board.avr.machine import Machine
from tests.protocol.board.port import MachinePort


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_firmware_keeps(rule: Rule, board: Machine) -> None:
    wait_verdict(Talk(MachinePort(board)), rule)
