"""The core passes every rule of `fullturn board check`, one after the other and again."""

from __future__ import annotations

from ctypes import CDLL

import pytest

from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import Talk
from tests.protocol.board.core import Core
from tests.protocol.board.port import MachinePort


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_core_keeps(rule: Rule, core: Core) -> None:
    wait_verdict(Talk(MachinePort(core)), rule)


def test_the_rules_hold_one_after_the_other_and_again(core: Core) -> None:
    talk = Talk(MachinePort(core))
    for rule in (*RULES, *RULES):
        wait_verdict(talk, rule)


def test_the_rules_hold_without_flags_and_sync_contact(library: CDLL) -> None:
    talk = Talk(MachinePort(Core(library, fitted=0, camera_ms=None)))
    for rule in RULES:
        wait_verdict(talk, rule)
