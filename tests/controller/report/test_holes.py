"""Holes, and the proof for the frames that were shot, compared with the picture plane of a rectilinear lens."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from controller.planning.directions import Array
from controller.planning.make import make_plan
from controller.planning.plan import Frame, Plan
from controller.planning.request import RegionKind, Request
from controller.report.account_words import shot_proof_sentence
from controller.report.holes_picture import holes, split
from controller.report.shot_proof import prove_shot
from controller.report.sphere_picture import _grid, pole_picture, sphere_picture
from controller.report.summary import Summary, summarise
from controller.session.rows import Intent, ShotOutcome, ShotRow
from tests.end_to_end.whole_runs import direction, kit_of

PLAN = make_plan(kit_of(24.0), 0.3)
FIELD = PLAN.kit.field(PLAN.overlap)
GRID = _grid()[::6, ::6]
NEARLY = math.radians(0.01)


def bare_by(frames: list[Frame], directions: Array, more_rad: float) -> NDArray[np.bool_]:
    """Which directions no core contains: a core is a rectangle of the picture plane, enlarged by `more_rad`."""
    wide, high = (math.tan(half + more_rad) for half in (FIELD.core_half_width_rad, FIELD.core_half_height_rad))
    bare = np.ones(len(directions), dtype=bool)
    for frame in frames:
        # Into the camera's axes (forward, right, up): yaw grows to the right, pitch upward.
        turn = Rotation.from_euler("ZY", [frame.yaw_deg, -frame.pitch_deg], degrees=True).inv()
        forward, right, up = turn.apply(directions).T
        with np.errstate(divide="ignore", invalid="ignore"):
            bare &= ~((forward > 0) & (np.abs(right / forward) <= wide) & (np.abs(up / forward) <= high))
    return bare


ids = st.sets(st.sampled_from([frame.id for frame in PLAN.frames]), min_size=1)


@settings(max_examples=25)
@given(ids)
def test_what_is_drawn_as_a_hole_is_in_no_core_and_the_proof_says_the_same(missing: set[int]) -> None:
    there, lacking = split(PLAN, missing)
    assert {frame.id for frame in lacking} == missing
    drawn, directions = holes(PLAN, FIELD, there, GRID).ravel(), GRID.reshape(-1, 3)
    assert not (bare_by(there, directions, NEARLY) & ~drawn).any()  # directions outside even larger cores are drawn
    assert not (drawn & ~bare_by(there, directions, -NEARLY)).any()  # and none inside smaller ones
    proof = prove_shot(PLAN, missing)
    if drawn.any():
        assert not proof.covered
    if not proof.covered and there:
        assert proof.worst_margin_deg is not None
        assert proof.worst_yaw_deg is not None
        assert proof.worst_pitch_deg is not None
        place = np.array([direction(proof.worst_yaw_deg, proof.worst_pitch_deg)])
        assert bare_by(there, place, -NEARLY)[0]
        assert drawn.any() or proof.worst_margin_deg > -3.0  # a hole between two points of this grid


def test_a_frame_that_the_others_make_up_for_leaves_no_hole_and_is_missing_all_the_same() -> None:
    twin = PLAN.frames[3].model_copy(update={"id": 999})
    plan = PLAN.model_copy(update={"frames": (*PLAN.frames, twin)}).sealed()
    summary = summary_of(plan, {3})
    assert (summary.covered, summary.linked, summary.missing_frames, summary.exit_status) == (True, True, (3,), 1)
    assert summary.worst_margin_deg == pytest.approx(plan.proof.worst_margin_deg, abs=1e-3)
    assert "Even without the missing frames" in shot_proof_sentence(plan, summary)


def test_two_arcs_of_a_row_are_not_linked() -> None:
    row = make_plan(kit_of(24.0), 0.3, Request(region=RegionKind.SINGLE_ROW))
    ids = [frame.id for frame in sorted(row.frames, key=lambda frame: frame.yaw_deg)]
    one, two = (summary_of(row, missing) for missing in ({ids[0]}, {ids[0], ids[len(ids) // 2]}))
    assert (one.linked, two.linked) == (True, False)
    assert "do not all overlap" in shot_proof_sentence(row, two)
    assert "do not all overlap" not in shot_proof_sentence(row, one)


def test_nothing_shot_covers_nothing() -> None:
    summary = summary_of(PLAN, {frame.id for frame in PLAN.frames})
    assert (summary.covered, summary.worst_margin_deg, summary.card_megabytes) == (False, None, 0)
    assert "nothing is covered" in shot_proof_sentence(PLAN, summary)


@pytest.mark.parametrize("picture", [sphere_picture, pole_picture])
@pytest.mark.parametrize(
    "missing", [set(), {4, 12, 29}, {frame.id for frame in PLAN.frames}], ids=["none", "some", "all"]
)
def test_the_pictures_tell_missing_frames_from_others_without_colour(
    picture: Callable[[Plan, Collection[int]], Figure], missing: set[int]
) -> None:
    figure = picture(PLAN, missing)
    labels = {text.get_text() for legend in figure.legends for text in legend.get_texts()}
    assert ("hole: in no core" in labels) is ("missing frame" in labels) is bool(missing)
    boxed = {
        text.get_text()
        for axes in figure.axes
        for text in axes.texts
        if (box := text.get_bbox_patch()) is not None
        and text.get_color() == "#000000"
        and box.get_facecolor()[:3] == (1, 1, 1)
    }
    seen = {
        str(frame.id)
        for frame in PLAN.frames
        if frame.id in missing and (picture is sphere_picture or abs(frame.pitch_deg) >= 15)
    }
    assert boxed == seen


def shots_of(plan: Plan, missing: Collection[int]) -> list[ShotRow]:
    """Every exposure confirmed except those of the missing frames."""
    made = [frame.id for frame in plan.frames if frame.id not in missing]
    return [
        ShotRow(number, Intent(frame, 0, 1, number, 0.0, 0.0, 0.01), number, ShotOutcome.CONFIRMED, number, None)
        for number, frame in enumerate(made, 1)
    ]


def summary_of(plan: Plan, missing: Collection[int]) -> Summary:
    return summarise(plan, shots_of(plan, missing), kind="capture", seed=None, sentence="", seconds=1.0)
