"""Shells for every test of the commands."""

from __future__ import annotations

import pytest

from tests.controller.commands.shell import Shell
from tests.controller.commands.shot_card import card_at, session_at


@pytest.fixture
def planned(shell: Shell) -> Shell:
    assert shell("plan", "kit.toml", "--out", "plan.json").status == 0
    return shell


@pytest.fixture
def ready(shell: Shell) -> Shell:
    session_at(shell.folder / "s.sqlite")
    card_at(shell.folder / "card")
    return shell
