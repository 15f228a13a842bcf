"""What only some verdicts say: unchecked axes, runs under way, sets not begun."""

from __future__ import annotations

from typing import Any

import pytest

from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import RegionKind, Request
from controller.report.account_words import account_text, headline
from controller.report.summary import summarise
from controller.report.verdict import SetStanding, verdict
from controller.session.rows import Intent, ShotOutcome, ShotRow
from tests.end_to_end.whole_runs import kit_of

WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-40, pitch_to_deg=40, yaw_from_deg=-90, yaw_to_deg=90)
BLIND = {"head": {"pan": {"zero_switch": False}, "tilt": {"zero_switch": False}}}


def plan_of(**tables: Any) -> Plan:
    return make_plan(kit_of(12.0, **tables), 0.3, WINDOW)


def every(plan: Plan, outcome: ShotOutcome = ShotOutcome.CONFIRMED) -> list[ShotRow]:
    return [
        ShotRow(number, Intent(*exposure, 1, number, 0.0, 0.0, 0.01), number, outcome, number, None)
        for number, exposure in enumerate(sorted(plan.exposures), 1)
    ]


@pytest.mark.parametrize("axes", [("pan",), ("tilt",), ("pan", "tilt")])
@pytest.mark.parametrize("outcome", [ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED])
def test_a_switch_that_was_not_passed_keeps_a_set_from_being_complete(
    axes: tuple[str, ...], outcome: ShotOutcome
) -> None:
    plan = plan_of()
    found = verdict(plan, every(plan, outcome), unchecked=axes)
    assert (found.standing, found.exit_status) == (SetStanding.UNCHECKED, 1)
    words = headline(found, plan.kit)
    assert "is complete" not in words
    assert f"Not checked after the last exposures: {' and '.join(axes)}." in words


@pytest.mark.parametrize(
    ("outcome", "standing"), [(ShotOutcome.CONFIRMED, SetStanding.COMPLETE), (ShotOutcome.ASSUMED, SetStanding.ASSUMED)]
)
def test_a_head_without_switches_is_complete_and_says_what_nobody_could_check(
    outcome: ShotOutcome, standing: SetStanding
) -> None:
    plan = plan_of(**BLIND)
    found = verdict(plan, every(plan, outcome), unchecked=("pan", "tilt"))
    assert (found.standing, found.exit_status) == (standing, 0)
    assert headline(found, plan.kit).endswith("No switch to check zero by: pan and tilt.")


def test_one_axis_with_a_switch_and_one_without() -> None:
    plan = plan_of(head={"pan": {"zero_switch": False}})
    found = verdict(plan, every(plan), unchecked=("pan", "tilt"))
    assert (found.standing, found.exit_status) == (SetStanding.UNCHECKED, 1)
    words = headline(found, plan.kit)
    assert words.endswith("Not checked after the last exposures: tilt. No switch to check zero by: pan.")
    assert verdict(plan, every(plan), unchecked=("pan",)).standing is SetStanding.COMPLETE


def test_what_is_missing_weighs_more_than_what_was_not_checked() -> None:
    plan = plan_of()
    assert verdict(plan, every(plan)[1:], unchecked=("tilt",)).standing is SetStanding.INCOMPLETE
    assert verdict(plan, [], unchecked=("tilt",)).standing is SetStanding.NOT_BEGUN


@pytest.mark.parametrize("number", [0, 1, 4])
def test_a_run_under_way_is_said_to_be_so_however_far_it_is(number: int) -> None:
    plan = plan_of()
    summary = summarise(plan, every(plan)[:number], kind="capture", seed=None, sentence="", seconds=1.0, under_way=True)
    assert (summary.verdict, summary.complete, summary.exit_status) == (SetStanding.UNDER_WAY, False, 1)
    said = f"The run is under way: {number} of {len(plan.exposures)} exposures made so far"
    assert summary.headline == f"{said}."
    assert account_text(summary).startswith(f"{said} ({number} confirmed, 0 assumed).")
    assert "How the last run ended" not in account_text(summary)
    assert "issing" not in account_text(summary)


def test_a_set_that_was_not_begun() -> None:
    plan = plan_of()
    summary = summarise(plan, [], kind="capture", seed=None, sentence="Stopped as asked.", seconds=0.0)
    assert (summary.verdict, summary.exit_status) == (SetStanding.NOT_BEGUN, 1)
    assert account_text(summary).startswith("No exposure has been made yet.")
