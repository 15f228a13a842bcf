"""A shell for every test that runs commands."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.controller.commands.shell import Shell


@pytest.fixture
def shell(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Shell:
    return Shell(tmp_path, capsys, monkeypatch)
