"""The core and the firmware of each target, built once for all tests here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from ctypes import CDLL
from pathlib import Path

import pytest

from tests.protocol.board import build
from tests.protocol.board.arm import machine as arm
from tests.protocol.board.avr import machine as avr
from tests.protocol.board.core import Core, load
from tests.protocol.board.pins import Target
from tests.protocol.board.talker import Talker


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> CDLL:
    build.need(build.native_tools_lacking())
    return load(build.build_library(tmp_path_factory.mktemp("core")))


@pytest.fixture
def core(library: CDLL) -> Core:
    return Core(library)


@pytest.fixture
def talker(core: Core) -> Talker:
    return Talker(core)


@pytest.fixture(scope="session")
def simulated_avr(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], avr.Machine]:
    build.need(avr.tools_lacking())
    firmware = avr.build_firmware(tmp_path_factory.mktemp("avr"))
    library = avr.load(firmware)
    return lambda _: avr.Machine(library, firmware)


@pytest.fixture(scope="session")
def emulated_arm(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], arm.Machine]:
    build.need(arm.tools_lacking())
    firmware = arm.build_firmware(tmp_path_factory.mktemp("arm"))
    return lambda folder: arm.Machine(firmware, folder)


@pytest.fixture(params=["simulated_avr", "emulated_arm"], ids=["avr", "arm"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Target]:
    """The firmware on each target; no byte is lost and no simulator reports an error, whatever a test does."""
    board = request.getfixturevalue(request.param)(tmp_path)
    try:
        yield board
        if isinstance(board, avr.Machine):
            assert (board.overruns, board.complaints) == (0, 0)
    finally:
        board.stop()
