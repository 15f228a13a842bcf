"""A folder with a kit in it, in which commands are run like the console script."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from controller.cli.main import main
from tests.heads import head_text

HEADLESS = """
[camera]
sensor_width_mm = 36.0
sensor_height_mm = 24.0
pixels_wide = 6000
pixels_high = 4000
[lens]
focal_length_mm = 12.0
[exposure]
bracket_ev = [-1, 1]
"""
KIT = HEADLESS.replace("[exposure]", head_text() + "[exposure]")


class Told(NamedTuple):
    """The result of a command."""

    status: int
    out: str
    err: str


class Shell:
    """A folder with a kit in it, in which commands are run."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self._capsys, self._monkeypatch = folder, capsys, monkeypatch
        monkeypatch.chdir(folder)
        self.write("kit.toml", KIT)

    def write(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        return path

    def __call__(self, *words: str) -> Told:
        """Run `fullturn` with these words, like the console script."""
        self._monkeypatch.setattr(sys, "argv", ["fullturn", *words])
        self._capsys.readouterr()
        status = 0
        try:
            main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0
        told = self._capsys.readouterr()
        return Told(status, told.out, told.err)

    def files(self) -> set[str]:
        return {str(path.relative_to(self.folder)) for path in self.folder.rglob("*")}


def refuses(shell: Shell, status: int, *words: str) -> list[str]:
    """Check that the command fails with sentences on stderr only, and writes nothing; return the sentences."""
    before = {name: (shell.folder / name).stat().st_mtime_ns for name in shell.files()}
    told = shell(*words)
    assert told.status == status, told
    assert told.out == ""
    assert "Traceback" not in told.err
    assert {name: (shell.folder / name).stat().st_mtime_ns for name in shell.files()} == before
    return told.err.splitlines()
