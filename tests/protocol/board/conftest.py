"""The core, built once for all tests here."""

from __future__ import annotations

from ctypes import CDLL

import pytest

from tests.protocol.board import build
from tests.protocol.board.core import Core, load
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
