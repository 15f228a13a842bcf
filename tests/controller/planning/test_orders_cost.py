"""What an order costs: the time between two overlapping frames never exceeds the whole run."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.planning.budget import cost
from controller.planning.links import find_links
from controller.planning.make import make_plan
from controller.planning.motion import mover_of
from controller.planning.order import Order
from controller.planning.plan import Plan
from controller.planning.request import Arrangement, RegionKind, Request
from controller.program.build import build_program, step_ends_ns
from controller.program.program import ExposeStep
from controller.report.plan_words import plan_text
from tests.controller.planning.counted import looks
from tests.end_to_end.whole_runs import kit_of

REGIONS = {
    "sphere": Request(),
    "by hand": Request(nadir_by_hand=True),
    "band": Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=30),
    "window": Request(RegionKind.WINDOW, 0, 40, yaw_from_deg=350, yaw_to_deg=80),
    "row": Request(region=RegionKind.SINGLE_ROW),
}


@cache
def plan_of(region: str, arrangement: Arrangement, order: Order) -> Plan:
    return make_plan(kit_of(14.0), 0.3, replace(REGIONS[region], arrangement=arrangement, order=order), looks(40))


@settings(max_examples=15, deadline=None)
@given(
    region=st.sampled_from(sorted(REGIONS)),
    arrangement=st.sampled_from(list(Arrangement)),
    order=st.sampled_from(list(Order)),
    ready_ms=st.sampled_from([0.0, 300.0, 4000.0]),
    bracket=st.sampled_from([(0.0,), (-2.0, 0.0, 2.0)]),
    shutter_s=st.sampled_from([0.01, 2.0]),
)
def test_overlapping_frames_are_never_further_apart_than_the_run_is_long(
    region: str, arrangement: Arrangement, order: Order, ready_ms: float, bracket: tuple[float, ...], shutter_s: float
) -> None:
    plan = plan_of(region, arrangement, order)
    kit = kit_of(14.0, exposure={"ready_ms": ready_ms, "bracket_ev": list(bracket), "shutter_seconds": shutter_s})
    field = kit.field(plan.overlap)
    links = find_links(field, np.array([f.yaw_deg for f in plan.frames]), np.array([f.pitch_deg for f in plan.frames]))
    budget = cost(kit, field, plan.region, plan.frames, links, order, mover_of(kit, plan.frames))
    assert set(budget.orders) == set(Order)
    for one in budget.orders.values():
        assert 0 < one.neighbours_apart_seconds <= one.seconds
    program = build_program(kit, plan.frames)
    ends = step_ends_ns(program.steps, kit.board.baud)
    assert ends == sorted(ends)
    assert ends[-1] < program.expected_ns
    assert sum(step.expected_ns for step in program.steps if isinstance(step, ExposeStep)) <= ends[-1]


def lines_of(plan: Plan) -> list[str]:
    return plan_text(plan, {}, (), Path("plan.json")).splitlines()


@pytest.mark.parametrize(
    ("order", "words"),
    [(Order.QUICKEST, "Quickest order: "), (Order.ROWS, "By rows: "), (Order.COLUMNS, "By columns: ")],
)
def test_the_sentences_name_run_and_gap(order: Order, words: str) -> None:
    lines = [line for line in lines_of(make_plan(kit_of(18.0), 0.3, Request(order=order))) if "longest gap" in line]
    assert all("; longest gap between overlapping frames " in line for line in lines)
    assert len(lines) == len(Order)
    (chosen,) = [line for line in lines if line.endswith("This is the plan's order.")]
    assert chosen.startswith(words)
