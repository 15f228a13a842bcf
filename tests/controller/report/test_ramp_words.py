"""Sentences about how the camera swings, and about shaped ramps: each says what the plan, the kit and the session say."""

from __future__ import annotations

from itertools import product
from pathlib import Path
from typing import Any

import pytest

from controller.amounts import duration
from controller.kit.kit import Head, Kit
from controller.kit.provenance import Source
from controller.planning.make import make_plan
from controller.planning.plan import Plan
from controller.planning.request import RegionKind, Request
from controller.program.build import axis_settings
from controller.report.ramp_words import (
    RESTS_ON,
    WORTH_S,
    damping_words,
    ramps_sentence,
    saving_sentences,
    swing_keys,
    swing_words,
)
from controller.report.summary import account_of
from controller.session.session import Session
from tests.end_to_end.whole_runs import kit_of, run, world_of

SOFT: dict[str, Any] = {"ring_hz": 5.0, "ring_damping": 0.03}
ROW = Request(RegionKind.SINGLE_ROW)


def plan_of(**tables: Any) -> Plan:
    return make_plan(kit_of(35.0, **tables), 0.3, ROW)


def with_source(plan: Plan, source: Source) -> Plan:
    """The same plan, with what is known of the swing from this source."""
    kit: Kit = plan.kit.model_copy(
        update={"sources": plan.kit.sources | dict.fromkeys(swing_keys(plan.kit.head), source)}
    )
    return plan.model_copy(update={"kit": kit})


def with_unshaped(plan: Plan, seconds: float | None) -> Plan:
    return plan.model_copy(update={"budget": plan.budget.model_copy(update={"unshaped_seconds": seconds})})


SHAPED = plan_of(head=SOFT)


@pytest.mark.parametrize("source", Source)
def test_what_is_saved_is_the_plans_own_difference_and_says_what_it_rests_on(source: Source) -> None:
    plan = with_source(SHAPED, source)
    (sentence,) = saving_sentences(plan)
    assert plan.budget.unshaped_seconds is not None
    plain_s = plan.budget.unshaped_seconds
    saved_s = plain_s - plan.budget.seconds
    assert saved_s > WORTH_S
    assert sentence == (
        f"Shaped ramps save {duration(saved_s)} of {duration(plain_s)}, if the camera swings at 5 Hz within 10 % "
        f"({RESTS_ON[source]})."
    )
    assert ("calibrate settle" in sentence) == (source is Source.EXAMPLE)


@pytest.mark.parametrize("less_s", [-5.0, 0.0, WORTH_S - 0.01])
def test_little_is_not_called_a_saving(less_s: float) -> None:
    assert saving_sentences(with_unshaped(SHAPED, SHAPED.budget.seconds + less_s)) == []


def test_an_older_plan_and_a_stated_wait_say_nothing() -> None:
    assert saving_sentences(with_unshaped(SHAPED, None)) == []
    assert saving_sentences(plan_of(head=SOFT | {"settle_ms": 500.0})) == []


def test_a_board_that_cannot_shape_hears_what_it_misses() -> None:
    (sentence,) = saving_sentences(plan_of(head=SOFT, board={"shapes_ramps": False}))
    assert sentence.startswith("A board that shapes its ramps would save about ")
    stiff = {"ring_hz": 40.0, "ring_damping": 0.1}
    assert saving_sentences(plan_of(head=stiff, board={"shapes_ramps": False})) == []


TABLE = ((-90.0, 9.0), (90.0, 7.0))


@pytest.mark.parametrize(
    ("tables", "words", "keys"),
    [
        ({}, "8 Hz", ["head.ring_hz", "head.ring_damping"]),
        ({"pan": {"ring_hz": 8.0}}, "8 Hz", ["head.pan.ring_hz", "head.ring_damping", "head.ring_hz"]),
        ({"tilt": {"ring_hz": 6.5}}, "8 Hz (pan) and 6.5 Hz (tilt)",
         ["head.ring_hz", "head.ring_damping", "head.tilt.ring_hz"]),
        ({"second_ring_hz": 14.0}, "8 Hz and 14 Hz", ["head.ring_hz", "head.ring_damping", "head.second_ring_hz"]),
        ({"tilt": {"ring_over_pitch": TABLE, "ring_hz": 3.0}, "second_ring_hz": 14.0},
         "8 Hz (pan), 7 to 9 Hz (tilt) and 14 Hz",
         ["head.ring_hz", "head.ring_damping", "head.tilt.ring_over_pitch", "head.second_ring_hz"]),
    ],
)  # fmt: skip
def test_each_vibration_that_counts_is_named_and_no_other(tables: dict[str, Any], words: str, keys: list[str]) -> None:
    head = Head.model_validate({"ring_hz": 8.0} | tables)
    assert swing_words(head) == words
    assert swing_keys(head) == keys


def test_damping_differs_by_axis_only_if_the_kit_says_so() -> None:
    assert damping_words(Head(ring_damping=0.04)) == "0.04"
    assert damping_words(Head.model_validate({"tilt": {"ring_damping": 0.02}})) == "0.05 (pan), 0.02 (tilt)"


@pytest.mark.parametrize(("states", "board", "settle"), [*product([True, False], [True, False], [None, 300.0])])
def test_ramps_are_called_shaped_only_if_they_were(states: bool, board: bool, settle: float | None) -> None:
    head = SOFT if settle is None else SOFT | {"settle_ms": settle}
    plan = plan_of(head=head, board={"shapes_ramps": states})
    assert ramps_sentence(plan, shaped=None) == ""
    sentence = ramps_sentence(plan, shaped=board)
    pan, tilt = axis_settings(plan.kit, plan.frames)
    were = board and states and settle is None
    assert sentence.startswith("Ramps were shaped, ") == were
    assert ("because the board cannot" in sentence) == (settle is None and not (board and states))
    for name, setting in (("pan", pan), ("tilt", tilt)):
        shaper = setting.shaper
        told = f"{name} in {len(shaper.impulses)} parts, which makes a move {shaper.duration_ms / 1000:.2f} s longer"
        assert (told in sentence.lower()) == (were and bool(shaper.impulses))


@pytest.mark.parametrize("can", [True, False])
def test_a_session_notes_what_its_board_can_do(can: bool, tmp_path: Path) -> None:
    world = world_of(SHAPED.kit, SHAPED.frames)
    world.rig.board._shapes = can
    run(world, tmp_path)
    with Session.open(tmp_path / "session.sqlite") as session:
        assert session.about()["board_shapes"] == ("yes" if can else "no")
        assert account_of(session, SHAPED).ramps_shaped is can
    with Session.create(tmp_path / "none.sqlite", {"kind": "test"}, durable=False) as session:
        assert account_of(session, SHAPED).ramps_shaped is None
