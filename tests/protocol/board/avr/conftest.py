"""Firmware and harness, built once."""

from __future__ import annotations

from collections.abc import Iterator
from ctypes import CDLL

import pytest

from tests.protocol.board import build
from tests.protocol.board.avr import machine
from tests.protocol.board.avr.machine import Firmware, Machine
from tests.protocol.board.talker import Talker


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Firmware:
    lacking = machine.missing()
    if lacking is not None:
        build.give_up(lacking)
    return machine.build_firmware(tmp_path_factory.mktemp("avr"))


@pytest.fixture(scope="session")
def harness(firmware: Firmware) -> CDLL:
    return machine.load(firmware)


@pytest.fixture
def board(harness: CDLL, firmware: Firmware) -> Iterator[Machine]:
    board = Machine(harness, firmware)
    yield board
    assert board.overruns == 0
    assert board.complaints == 0
    board.stop()


@pytest.fixture
def host(board: Machine) -> Talker:
    return Talker(board)
