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
    build.need(machine.tools_lacking())
    return machine.build_firmware(tmp_path_factory.mktemp("avr"))


@pytest.fixture(scope="session")
def harness(firmware: Firmware) -> CDLL:
    return machine.load(firmware)


def run_clean(board: Machine) -> Iterator[Machine]:
    """No byte is lost and the simulator reports no error, whatever a test does."""
    yield board
    assert board.overruns == 0
    assert board.complaints == 0
    board.stop()


@pytest.fixture
def board(harness: CDLL, firmware: Firmware) -> Iterator[Machine]:
    yield from run_clean(Machine(harness, firmware))


@pytest.fixture
def watched(harness: CDLL, firmware: Firmware) -> Iterator[Machine]:
    """The same, with lock-outs measured."""
    yield from run_clean(Machine(harness, firmware, watching=True))


@pytest.fixture
def host(board: Machine) -> Talker:
    return Talker(board)
