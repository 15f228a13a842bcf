"""A test whose tool is missing is skipped with the reason; on CI it fails."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.protocol.board import build
from tests.protocol.board.arm import machine as arm
from tests.protocol.board.avr import machine as avr

CHECKS = (build.native_tools_lacking, avr.tools_lacking, arm.tools_lacking)


@pytest.mark.parametrize("lacking", CHECKS)
def test_a_user_is_told_what_to_install(
    lacking: Callable[[], str | None], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match=r"^(cc|make) not found: install .* to test the firmware$"):
        build.need(lacking())


@pytest.mark.parametrize("lacking", CHECKS)
@pytest.mark.parametrize("value", ["true", "1"])
def test_on_ci_nothing_is_left_out(
    lacking: Callable[[], str | None], value: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setenv("CI", value)
    with pytest.raises(pytest.fail.Exception, match=r"not found: install .*; on CI nothing is left out"):
        build.need(lacking())


def test_what_lacks_nothing_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    build.need(None)


def test_a_compiler_without_its_headers_is_noticed(tmp_path: Path) -> None:
    build.need(build.native_tools_lacking())
    assert not build.has_header("cc", header="no/such/header.h")
    (tmp_path / "mine.h").write_text("", encoding="utf-8")
    assert build.has_header("cc", "-isystem", str(tmp_path), header="mine.h")
