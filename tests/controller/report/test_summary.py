"""The account of a set: complete, missing, confirmed, assumed."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.words.run import THROUGH
from controller.planning.make import make_plan
from controller.planning.request import RegionKind, Request
from controller.report.plan_words import proof_sentence
from controller.report.summary import Summary, summarise
from controller.session.rows import Intent, ShotOutcome, ShotRow
from tests.end_to_end.whole_runs import kit_of, planned_exposures

KIT = kit_of(12.0, exposure={"bracket_ev": [0, 1]})
PLAN = make_plan(KIT, 0.2)
WANTED = planned_exposures(KIT, PLAN.frames)
C, A, U, I = ShotOutcome.CONFIRMED, ShotOutcome.ASSUMED, ShotOutcome.UNCONFIRMED, ShotOutcome.INTERRUPTED  # noqa: E741


def rows(outcomes: Sequence[tuple[tuple[int, int], ShotOutcome | None]]) -> list[ShotRow]:
    return [
        ShotRow(number, Intent(frame, exposure, 1, number, 0.0, 0.0, 0.01), 0, outcome, 1, 1)
        for number, ((frame, exposure), outcome) in enumerate(outcomes, start=1)
    ]


def account(shots: list[ShotRow]) -> Summary:
    return summarise(PLAN, shots, kind="test", seed=3, sentence="Done.", seconds=1.23456)


def test_a_complete_set() -> None:
    summary = account(rows([(place, C) for place in WANTED]))
    assert summary.complete
    assert summary.missing_frames == ()
    assert summary.exposures_planned == summary.exposures_made == summary.exposures_confirmed == len(WANTED)
    assert (summary.exposures_assumed, summary.exposures_unconfirmed, summary.exposures_in_doubt) == (0, 0, 0)
    assert (summary.frames_planned, summary.virtual_seconds) == (len(PLAN.frames), 1.235)
    assert (summary.plan_hash, summary.predicted_seconds) == (PLAN.hash, PLAN.budget.seconds)


def test_an_empty_session() -> None:
    summary = account([])
    assert not summary.complete
    assert summary.exposures_made == 0
    assert summary.missing_frames == tuple(frame.id for frame in PLAN.frames)


@pytest.mark.parametrize("outcome", [None, U, I])
def test_one_exposure_missing_makes_its_frame_missing(outcome: ShotOutcome | None) -> None:
    shots = rows([(place, outcome if place == (3, 1) else C) for place in WANTED])
    summary = account(shots)
    assert not summary.complete
    assert summary.missing_frames == (3,)
    assert summary.exposures_made == len(WANTED) - 1
    assert summary.exposures_unconfirmed == (outcome is U)
    assert summary.exposures_in_doubt == (outcome in {None, I})


def test_a_second_try_makes_good() -> None:
    summary = account(rows([((0, 0), U), *((place, C) for place in WANTED)]))
    assert summary.complete
    assert summary.exposures_made == len(WANTED)
    assert summary.exposures_unconfirmed == 0  # a confirmed exposure no longer lacks anything


def test_twice_made_counts_once() -> None:
    summary = account(rows([(place, C) for place in (*WANTED, *WANTED)]))
    assert summary.exposures_made == summary.exposures_confirmed == len(WANTED)


def test_a_confirmed_exposure_is_not_assumed_as_well() -> None:
    shots = rows([((0, 0), A), ((0, 0), C), ((0, 1), A)])
    summary = account(shots)
    assert (summary.exposures_confirmed, summary.exposures_assumed, summary.exposures_made) == (1, 1, 2)


def test_what_a_run_says_of_itself_decides_nothing() -> None:
    every = rows([(place, C) for place in WANTED])
    said = {"kind": "test", "seed": None, "seconds": 1.0}
    assert summarise(PLAN, every, sentence="Stopped as asked.", **said).complete  # type: ignore[arg-type]
    short = summarise(PLAN, every[1:], sentence=THROUGH, **said)  # type: ignore[arg-type]
    assert (short.complete, short.exit_status) == (False, 1)
    assert "complete" not in short.sentence


def test_what_was_not_planned_does_not_count() -> None:
    assert account(rows([((99, 0), C), ((0, 7), A)])).exposures_made == 0


@given(st.lists(st.tuples(st.sampled_from(WANTED), st.sampled_from([C, A, U, I, None])), max_size=60))
def test_the_numbers_add_up(outcomes: list[tuple[tuple[int, int], ShotOutcome | None]]) -> None:
    summary = account(rows(outcomes))
    confirmed = {place for place, outcome in outcomes if outcome is C}
    assumed = {place for place, outcome in outcomes if outcome is A} - confirmed
    assert (summary.exposures_confirmed, summary.exposures_assumed) == (len(confirmed), len(assumed))
    assert summary.exposures_made == len(confirmed) + len(assumed)
    unmade = set(WANTED) - confirmed - assumed
    assert summary.missing_frames == tuple(sorted({frame for frame, _ in unmade}))
    assert summary.complete is (not unmade and not assumed)
    assert summary.exit_status == bool(unmade)
    lacking = (
        summary.exposures_unconfirmed,
        summary.exposures_in_doubt,
        summary.exposures_suspect,
        summary.exposures_to_retake,
        summary.exposures_not_tried,
    )
    assert sum(lacking) == len(unmade)


def test_the_proof_in_words() -> None:
    assert "Every direction of the sphere" in proof_sentence(PLAN)
    gap = PLAN.proof.model_copy(update={"covered": False, "worst_margin_deg": -1.25})
    sentence = proof_sentence(PLAN.model_copy(update={"proof": gap}))
    assert "The sphere is not covered" in sentence
    assert "1.250°" in sentence


def test_the_proof_of_a_part_speaks_of_that_part() -> None:
    plan = make_plan(KIT, 0.2, Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=30))
    assert "Every direction of the region" in proof_sentence(plan)
    gap = plan.proof.model_copy(update={"covered": False, "worst_margin_deg": -0.5})
    assert "The region is not covered" in proof_sentence(plan.model_copy(update={"proof": gap}))
