"""The battery: the simulated board keeps every rule, and boards that break one are found out."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.commands.stand_in import rig_spec
from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import RuleBroken, Talk
from protocol.framing import LEAD
from protocol.messages import Accepted, Status, Stop
from protocol.units import Steps
from sim.board import Board
from sim.rig import Rig
from sim.virtual_port import VirtualPort
from tests.bench.figures import full_frame_kit


def bench() -> tuple[Rig, Talk]:
    rig = Rig(rig_spec(full_frame_kit(24), 1))
    return rig, Talk(VirtualPort(rig))


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_simulated_board_keeps(rule: Rule) -> None:
    _, talk = bench()
    wait_verdict(talk, rule)


def test_the_rules_hold_one_after_the_other_and_again() -> None:
    _, talk = bench()
    for rule in (*RULES, *RULES):
        wait_verdict(talk, rule)


def test_names_are_unique_and_say_what_they_demand() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    assert all(rule.demands.endswith(".") for rule in RULES)


def deaf_to_stale_ids(board: Board) -> None:
    board._judge_command = lambda *_: Accepted()  # type: ignore[method-assign]


def without_patience_limit(board: Board) -> None:
    original = board._arm

    def arm(now_ns: int, command: Any) -> None:
        original(now_ns, command)
        board._silence_ns = 10**15

    board._arm = arm  # type: ignore[method-assign,assignment]


def that_moves_on(board: Board) -> None:
    original = board._status

    def status(now_ns: int) -> Status:
        found = original(now_ns)
        return replace(found, pan_steps=Steps(found.pan_steps + 1))

    board._status = status  # type: ignore[method-assign]


def that_forgets_to_disarm(board: Board) -> None:
    original = board._judge

    def judge(now_ns: int, request: Any) -> Any:
        return Accepted() if isinstance(request, Stop) else original(now_ns, request)

    board._judge = judge  # type: ignore[method-assign]


def that_needs_no_lead(board: Board) -> None:
    original = board.receive

    def receive(now_ns: int, data: bytes) -> None:
        original(now_ns, data.replace(b"\0", LEAD))

    board.receive = receive  # type: ignore[method-assign]


@pytest.mark.parametrize(
    ("spoil", "found_by"),
    [
        (deaf_to_stale_ids, "command-id"),
        (without_patience_limit, "silence"),
        (that_moves_on, "move"),
        (that_forgets_to_disarm, "stop"),
        (that_needs_no_lead, "no-frame"),
    ],
)
def test_a_board_that_breaks_a_rule_is_found_out(spoil: Callable[[Board], None], found_by: str) -> None:
    rig, talk = bench()
    spoil(rig.board)
    with pytest.raises(RuleBroken) as caught:
        wait_verdict(talk, next(rule for rule in RULES if rule.name == found_by))
    assert ">" in str(caught.value)  # the bytes are shown
