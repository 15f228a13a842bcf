"""The firmware, built once."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.protocol.board import build
from tests.protocol.board.arm import machine
from tests.protocol.board.arm.machine import Firmware, Machine
from tests.protocol.board.talker import Talker


@pytest.fixture(scope="session")
def firmware(tmp_path_factory: pytest.TempPathFactory) -> Firmware:
    build.need(machine.tools_lacking())
    return machine.build_firmware(tmp_path_factory.mktemp("arm"))


@pytest.fixture
def board(firmware: Firmware, tmp_path: Path) -> Iterator[Machine]:
    board = Machine(firmware, tmp_path)
    board.look_closely()
    try:
        yield board
    finally:
        board.stop()


@pytest.fixture
def host(board: Machine) -> Talker:
    return Talker(board)
