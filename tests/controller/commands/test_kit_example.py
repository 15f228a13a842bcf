"""The example kit: the tutorial's, ready to be planned without any optional part."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from controller.commands.kit_new import example_command
from controller.errors import StorageFailed
from controller.guide.pages import HOME
from controller.kit.example import example_text
from tests.controller.commands.shell import Shell


def test_it_is_the_kit_that_the_tutorial_shows() -> None:
    shown = re.search(r"```toml\n(.*?)```", (HOME / "docs/tutorial.md").read_text(encoding="utf-8"), re.DOTALL)
    assert shown
    assert shown[1] == example_text()


def test_it_is_written_and_can_be_planned(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shell = Shell(tmp_path, capsys, monkeypatch)
    said = shell("kit", "example", "--out", "first.toml")
    assert (said.status, "practise" in said.out) == (0, True)
    told = json.loads(shell("kit", "example", "--out", "second.toml", "--json").out)
    assert told["kit"]["lens"]["focal_length_mm"] == 12
    assert shell("plan", "first.toml", "--out", "plan.json").status == 0
    with pytest.raises(StorageFailed, match=r"first\.toml"):
        example_command(tmp_path / "first.toml")
