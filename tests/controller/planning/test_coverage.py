"""The proof on examples with known answers, and on real plans against an independent search."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from controller.planning.coverage import Proof, prove_coverage
from tests.controller.planning import oracle
from tests.controller.planning.examples import Example, cube, frames_of, planned
from tests.controller.planning.oracle import Array

PLANNED = [12.0, 14.0, 18.0, 24.0, 35.0, 50.0]


def worst_place(proof: Proof) -> Array:
    return oracle.direction(proof.worst_yaw_deg, proof.worst_pitch_deg)


def test_cube_covers_with_nothing_to_spare() -> None:
    # Six frames of 90 x 90 degrees are the faces of a cube: each a sixth of the sphere, no overlap at all.
    proof = cube(18.0, 18.0).proof()
    assert proof.covered
    assert proof.worst_margin_deg == pytest.approx(0, abs=2e-6)


@pytest.mark.parametrize("missing", range(6))
def test_cube_without_a_face_names_the_face(missing: int) -> None:
    example = cube(18.0, 18.0)
    proof = example.without(missing).proof()
    assert not proof.covered
    middle = oracle.direction(float(example.yaw_deg[missing]), float(example.pitch_deg[missing]))
    assert proof.worst_margin_deg == pytest.approx(-45, abs=1e-3)
    assert (worst_place(proof) @ middle.T).item() > np.cos(np.radians(0.01))


@pytest.mark.parametrize("half_angle_deg", [44.0, 44.9, 44.9999, 45.0001, 45.1, 46.0, 55.0])
def test_cube_of_another_angle(half_angle_deg: float) -> None:
    # The worst direction of a cover is where three faces meet, along (1, 1, 1); of a gap, the middle of a face's edge.
    half = np.radians(half_angle_deg)
    expected = np.degrees(np.arcsin((np.sin(half) - np.cos(half)) / np.sqrt(3)))
    proof = cube(18.0, float(18.0 / np.tan(half))).proof()
    assert proof.covered == (half_angle_deg > 45)
    if proof.covered:
        assert proof.worst_margin_deg == pytest.approx(expected, abs=3e-5)
    else:
        assert half_angle_deg - 45 - 2e-5 <= proof.worst_margin_deg <= 0.9 * (half_angle_deg - 45)


def test_one_frame_never_covers() -> None:
    example = cube(18.0, 6.0)
    single = Example(example.field, np.array([10.0]), np.array([20.0]))
    proof = single.proof()
    assert not proof.covered
    assert proof.worst_margin_deg < -60


def test_frames_given_twice_do_not_hide_a_gap() -> None:
    gap = cube(18.0, 18.0).without(2)
    twice = Example(gap.field, np.tile(gap.yaw_deg, 2), np.tile(gap.pitch_deg, 2))
    assert not twice.proof().covered


def test_frames_given_twice_do_not_open_a_gap() -> None:
    whole = planned(24.0)
    twice = Example(whole.field, np.tile(whole.yaw_deg, 2), np.tile(whole.pitch_deg, 2))
    proof = twice.proof()
    assert proof.covered
    assert proof.worst_margin_deg == pytest.approx(whole.proof().worst_margin_deg, abs=2e-5)


@pytest.mark.long
@pytest.mark.parametrize("focal", PLANNED)
def test_worst_margin_is_the_independent_minimum(focal: float) -> None:
    example = planned(focal)
    proof = example.proof()
    assert proof.covered
    lowest = oracle.lowest_margin_deg(example.planes(), 100_000)
    assert proof.worst_margin_deg == pytest.approx(lowest, abs=1e-3)
    # the search must find nothing lower than the proof, whatever its own precision
    assert lowest > proof.worst_margin_deg - 2e-5
    assert oracle.margins_deg(example.planes(), worst_place(proof))[0] == pytest.approx(proof.worst_margin_deg, abs=2e-5)


@pytest.mark.parametrize("focal", PLANNED)
def test_the_order_of_frames_and_the_yaw_of_the_whole_do_not_matter(focal: float) -> None:
    example = planned(focal)
    shuffled = np.random.default_rng(4).permutation(len(example.yaw_deg))
    turned = Example(example.field, (example.yaw_deg[shuffled] + 77.7) % 360, example.pitch_deg[shuffled])
    assert turned.proof().worst_margin_deg == pytest.approx(example.proof().worst_margin_deg, abs=2e-5)


@pytest.mark.long
@pytest.mark.parametrize("focal", [12.0, 14.0, 18.0, 24.0])
def test_one_frame_removed(focal: float) -> None:
    for missing in range(len(frames_of(focal))):
        spoiled = planned(focal).without(missing)
        proof, planes = spoiled.proof(), spoiled.planes()
        lowest = oracle.lowest_margin_deg(planes, 10_000)
        assert proof.covered == (lowest > 0)
        # the proof names a gap by a direction that no frame contains, near the deepest one
        assert oracle.margins_deg(planes, worst_place(proof))[0] == pytest.approx(proof.worst_margin_deg, abs=2e-5)
        assert lowest - 2e-5 < proof.worst_margin_deg < lowest + 0.01


@pytest.mark.long
@pytest.mark.parametrize("focal", [35.0, 50.0])
def test_any_frame_removed_from_a_longer_plan(focal: float) -> None:
    example = planned(focal)
    for missing in range(0, len(example.yaw_deg), 7):
        spoiled = example.without(missing)
        proof = spoiled.proof()
        at_worst = oracle.margins_deg(spoiled.planes(), worst_place(proof))[0]
        assert at_worst == pytest.approx(proof.worst_margin_deg, abs=2e-5)
        assert proof.covered == (at_worst > 0)


def turns(seed: int, count: int, largest_deg: float) -> Rotation:
    """`count` random turns, roll included, each by less than `largest_deg` and one by nearly that."""
    rng = np.random.default_rng(seed)
    axes = rng.normal(size=(count, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    angles = largest_deg * rng.uniform(size=count) ** 0.25
    return Rotation.from_rotvec(axes * np.radians(angles)[:, None])


@settings(max_examples=40)
@given(st.sampled_from(PLANNED[:-1]), st.integers(0, 2**32 - 1))
def test_pose_errors_below_the_margin_open_no_gap(focal: float, seed: int) -> None:
    example = planned(focal)
    margin_deg = example.proof().worst_margin_deg
    cores, planes = example.turned(turns(seed, len(example.yaw_deg), margin_deg - 2e-5))
    assert prove_coverage(cores).covered
    assert oracle.quick_lowest(planes, oracle.evenly_spread(5000)) > -2e-5


@settings(max_examples=40)
@given(st.sampled_from(PLANNED[:-1]), st.integers(0, 2**32 - 1), st.floats(0, 1))
def test_yaw_and_pitch_errors_below_the_margin_open_no_gap(focal: float, seed: int, share: float) -> None:
    # A yaw error by a and a pitch error by b turn the camera by no more than a + b.
    example = planned(focal)
    margin_deg = example.proof().worst_margin_deg - 2e-5
    signs = np.random.default_rng(seed).choice([-1.0, 1.0], size=(2, len(example.yaw_deg)))
    moved = Example(
        example.field,
        example.yaw_deg + signs[0] * share * margin_deg,
        example.pitch_deg + signs[1] * (1 - share) * margin_deg,
    )
    assert moved.proof().covered


@pytest.mark.parametrize("focal", PLANNED)
def test_errors_above_the_margin_can_open_a_gap(focal: float) -> None:
    """Turn every frame away from the worst place, each across the edge that is nearest to it."""
    example = planned(focal)
    proof, planes = example.proof(), example.planes()
    place = worst_place(proof)[0]
    nearest = planes[np.arange(len(planes)), (planes @ place).argmin(axis=1)]
    axes = np.cross(nearest, place)
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    for share, opened in ((0.98, False), (1.02, True)):
        # turning the normal about n x p moves it toward p, which would increase the margin: turn it back
        cores, moved = example.turned(Rotation.from_rotvec(-axes * np.radians(share * proof.worst_margin_deg)))
        assert (oracle.margins_deg(moved, place[None])[0] < 0) == opened
        assert prove_coverage(cores).covered != opened
