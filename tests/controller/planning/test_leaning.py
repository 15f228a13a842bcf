"""Plans for heads that lean: the proof is for the poses that the head reaches, compared with cores by their definition.

The poses are recomputed, by scipy's rotations, from the steps to which the program sends the axes.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from controller.errors import InputError
from controller.kit.kit import Kit
from controller.planning import arrangement
from controller.planning.leaning import overlap_left, pitch_limits_deg
from controller.planning.make import make_plan
from controller.planning.plan import Frame, Plan, proof_at, with_proof
from controller.planning.plan_file import load_plan, plan_from, save_plan
from controller.planning.reached_poses import levelled_poses, poses_of
from controller.planning.request import Arrangement, RegionKind, Request
from controller.program.build import build_program
from controller.program.program import ExposeStep, MoveStep
from controller.report.shot_proof import prove_shot
from controller.report.summary import summarise
from controller.session.rows import Intent, ShotOutcome, ShotRow
from tests.controller.kit.tables import kit_with
from tests.controller.planning.definition import holding_at
from tests.controller.planning.oracle import Array, evenly_spread
from tests.controller.program.test_kinematics import on_a_base, rotation

BAND = Request(region=RegionKind.BAND, pitch_from_deg=-35.0, pitch_to_deg=50.0)
WINDOW = Request(region=RegionKind.WINDOW, pitch_from_deg=-20.0, pitch_to_deg=70.0, yaw_from_deg=340.0, yaw_to_deg=60.0)
REQUESTS = [
    Request(),
    BAND,
    WINDOW,
    Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=15.0),
    Request(nadir_by_hand=True),
]


def leaning(lean_deg: float, toward_deg: float = 70.0, **changes: Any) -> Kit:
    dotted = {name.replace("__", "."): value for name, value in changes.items()}
    return kit_with(
        {"head.lean_deg": lean_deg, "head.lean_toward_deg": toward_deg, "lens.focal_length_mm": 14.0, **dotted}
    )


def cameras(plan: Plan) -> Rotation:
    """The camera's rotation for each frame by the steps of the program; by hand as planned."""
    head, at = plan.kit.head, (0.0, 0.0)
    turned = {frame.id: rotation(frame.yaw_deg, frame.pitch_deg, 0.0) for frame in plan.frames if frame.by_hand}
    by_hand = set(turned)
    for step in build_program(plan.kit, plan.frames).steps:
        if isinstance(step, MoveStep):
            at = (step.pan_steps / head.pan.steps_per_degree, step.tilt_steps / head.tilt.steps_per_degree)
        elif isinstance(step, ExposeStep) and step.frame not in by_hand:
            turned[step.frame] = on_a_base(*at, head.lean_deg, head.lean_toward_deg)
    return Rotation.concatenate([turned[frame.id] for frame in plan.frames])


def holes(plan: Plan, overlap: float, directions: Array) -> int:
    """How many directions of the region are in no core of that overlap; half a step may change this."""
    directions = directions[plan.region.bounds().holds(directions)]
    head = plan.kit.head
    steps_rad = math.radians(0.5 * math.hypot(1 / head.pan.steps_per_degree, 1 / head.tilt.steps_per_degree))
    return int((holding_at(plan.kit.field(overlap), cameras(plan), directions, -3 * steps_rad) == 0).sum())


@settings(max_examples=5)
@given(
    st.sampled_from([1.0, 2.0, 5.0, 8.0]),
    st.floats(-180, 180),
    st.sampled_from(REQUESTS),
    st.sampled_from([12.0, 16.0, 21.0]),
)
@example(5.0, 33.0, WINDOW, -14.0)
def test_no_hole_at_the_poses_that_are_reached(lean: float, toward: float, request: Request, focal: float) -> None:
    changes = {"lens__focal_length_mm": abs(focal), "camera__offset_up_mm": 0.0 if focal > 0 else 3.0}
    plan = make_plan(leaning(lean, toward, **changes), 0.3, request)
    assert plan.proof.covered
    assert plan.links.connected
    assert holes(plan, 0.3, evenly_spread(12_000)) == 0


@pytest.mark.parametrize("lean", [2.0, 5.0])
def test_the_overlap_asked_for_is_the_overlap_had(lean: float) -> None:
    """Frames planned for a level head would share less, and this shows it: they are the frames of a level head."""
    level = make_plan(leaning(0.0, lens__focal_length_mm=24.0), 0.3)
    kit = leaning(lean, lens__focal_length_mm=24.0)
    told = level.model_copy(update={"kit": kit})
    assert overlap_left(kit, 0.3, poses_of(kit.head, level.frames), level.region.bounds()) < 0.299
    assert holes(told, 0.3, evenly_spread(30_000)) > 0
    assert holes(make_plan(kit, 0.3), 0.3, evenly_spread(30_000)) == 0


@pytest.mark.parametrize("toward", [0.0, 133.0])
def test_a_frame_at_a_pole_looks_straight_up(toward: float) -> None:
    plan = make_plan(leaning(5.0, toward, lens__focal_length_mm=24.0), 0.3)
    poles = [number for number, frame in enumerate(plan.frames) if abs(frame.pitch_deg) == 90]
    assert poles
    ahead = cameras(plan)[poles].apply([1.0, 0.0, 0.0])
    assert np.degrees(np.hypot(ahead[:, 0], ahead[:, 1])).max() < 0.01


def test_a_direction_to_lean_to_means_nothing_to_a_level_head() -> None:
    one, other = (make_plan(leaning(0.0, toward), 0.3) for toward in (0.0, 70.0))
    assert (one.frames, one.proof, one.links) == (other.frames, other.proof, other.links)
    assert poses_of(one.kit.head, one.frames).roll_deg is None


def test_a_limit_of_the_tilt_leaves_less_to_a_head_that_leans() -> None:
    changes: dict[str, Any] = {"head__tilt__min_deg": -50.0, "lens__focal_length_mm": 12.0}
    level, plan = (make_plan(leaning(lean, **changes), 0.3) for lean in (0.0, 5.0))
    assert pitch_limits_deg(plan.kit.head) == (-45.0, 90.0)
    assert plan.region.unreachable_sr > level.region.unreachable_sr
    assert holes(plan, 0.3, evenly_spread(12_000)) == 0
    with pytest.raises(InputError, match="do not allow a row"):
        make_plan(leaning(5.0, **changes), 0.3, Request(region=RegionKind.SINGLE_ROW, row_pitch_deg=-48.0))


def as_it_was(lean: float) -> Plan:
    """A plan for a head that leans, by a version that proved for a level head."""
    level = make_plan(leaning(0.0, lens__focal_length_mm=24.0), 0.3)
    zenith = [Frame(**(f.model_dump() | {"yaw_deg": 160.0})) if f.pitch_deg == 90 else f for f in level.frames]
    plan = level.model_copy(update={"kit": leaning(lean, lens__focal_length_mm=24.0), "frames": tuple(zenith)})
    return with_proof(plan, proof_at(plan, levelled_poses(plan.frames))).sealed()


def test_an_old_plan_that_no_longer_holds_says_so_in_one_sentence(tmp_path: Path) -> None:
    path, plan = tmp_path / "plan.json", as_it_was(5.0)
    save_plan(plan, path)
    with pytest.raises(InputError) as caught:
        load_plan(path)
    (sentence,) = caught.value.sentences
    assert "the head leans by 5.00°, and the poses that it reaches share 0.2" in sentence
    assert "not 0.30 (the frame at the zenith is 5.0° off); plan again." in sentence
    begun = plan_from(path.read_text(encoding="utf-8"), str(path), begun=True)
    assert begun.hash == plan.hash
    assert not begun.proof.covered
    assert begun.proof.worst_margin_deg < 0
    assert not prove_shot(begun, ()).covered


def test_a_whole_set_of_an_old_plan_says_what_is_less_than_asked() -> None:
    plan = as_it_was(5.0)
    begun = plan_from(plan.model_dump_json(), "session", begun=True)
    intents = [Intent(*one, 1, number, 0.0, 0.0, 0.01) for number, one in enumerate(sorted(plan.exposures), start=1)]
    shots = [ShotRow(one.command_id, one, 0, ShotOutcome.CONFIRMED, 1, 1) for one in intents]
    found = summarise(begun, shots, kind="capture", seed=None, sentence="", seconds=0.0)
    less = "But the head leans by 5.00°, and the poses that it reaches share 0.2"
    assert found.headline.startswith(f"The set is complete. {less}")
    assert not found.covered
    without = summarise(begun, shots[1:], kind="capture", seed=None, sentence="", seconds=0.0)
    assert without.headline == "The set is not complete."


def test_an_old_plan_that_still_holds_is_read_with_its_true_proof(tmp_path: Path) -> None:
    path, plan = tmp_path / "plan.json", as_it_was(0.3)
    save_plan(plan, path)
    read = load_plan(path)
    assert read.proof.covered
    assert read.proof.worst_margin_deg < plan.proof.worst_margin_deg - 0.001
    save_plan(read, path, replace=True)
    assert load_plan(path) == read


def test_a_proof_of_neither_kind_is_refused(tmp_path: Path) -> None:
    path, plan = tmp_path / "plan.json", as_it_was(5.0)
    proof = plan.proof.model_copy(update={"worst_margin_deg": plan.proof.worst_margin_deg + 0.01})
    save_plan(plan.model_copy(update={"proof": proof}).sealed(), path)
    for begun in (False, True):
        with pytest.raises(InputError, match="its proof fails"):
            plan_from(path.read_text(encoding="utf-8"), str(path), begun=begun)
    assert json.loads(path.read_text(encoding="utf-8"))["proof"]["covered"]


def test_what_cannot_be_covered_is_refused_with_what_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """If more margin does not help; here because none is tried."""
    monkeypatch.setattr(arrangement, "LEANING_ROUNDS", 1)
    with pytest.raises(InputError, match=r"leans by 5\.00°, and the poses that it reaches share 0\.2\d\d .* not 0\.30"):
        make_plan(leaning(5.0, lens__focal_length_mm=24.0), 0.3)


def test_free_poses_are_proved_as_they_are_reached() -> None:
    request = Request(arrangement=Arrangement.FEWEST, effort_s=0.5)
    kit = leaning(2.0, lens__focal_length_mm=12.0)
    plan = make_plan(kit, 0.3, request)
    assert len(plan.frames) <= len(make_plan(kit, 0.3).frames)
    assert holes(plan, 0.3, evenly_spread(12_000)) == 0


@pytest.mark.parametrize("lean", [0.0, 4.0])
def test_a_nadir_by_hand_counts_as_far_as_its_nearest_edge(lean: float) -> None:
    """For a picture off the lens's axis, the nearest edge decides how far down the head must go."""
    kit = leaning(lean, lens__focal_length_mm=20.0, camera__offset_up_mm=4.0, camera__offset_right_mm=2.0)
    plan = make_plan(kit, 0.3, Request(nadir_by_hand=True))
    assert plan.proof.covered
    assert holes(plan, 0.3, evenly_spread(12_000)) == 0
