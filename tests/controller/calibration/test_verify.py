"""Pose accuracy and repeatability, and the order of the visits."""

from __future__ import annotations

import math
from collections import Counter
from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.verify import (
    LEAST_POSES,
    distinct,
    from_visits,
    normal_repeatability,
    pose_figures,
    visiting_order,
)
from tests.controller.calibration.given import readings

POINTS = np.array([[0.1, 0, 0], [-0.1, 0.1, 0], [0, -0.1, 0.1], [0.05, 0, -0.1], [-0.05, 0, 0]])


def visits(seed: int, scatter: float = 0.02, off: float = 0.0, times: int = 6) -> Readings:
    rng = np.random.default_rng(seed)
    targets = np.repeat([[10.0, 0.0], [100.0, 60.0], [359.9, -30.0]], times, axis=0)
    miss = rng.normal(0, scatter, targets.shape) + np.array([off, 0.0])
    cos = np.cos(np.radians(targets[:, 1]))
    yaw = (targets[:, 0] + miss[:, 0] / cos) % 360
    return readings(
        target_yaw_deg=targets[:, 0], target_pitch_deg=targets[:, 1], yaw_deg=yaw, pitch_deg=targets[:, 1] + miss[:, 1]
    )


def test_the_formulas_of_iso_9283() -> None:
    """Points invented for this check (no free published example): middle 0, mean distance .1089292, S .0376567."""
    assert pose_figures(POINTS) == pytest.approx((0, 0.2218995), abs=5e-8)
    assert pose_figures(POINTS - [0.02, 0, 0])[0] == pytest.approx(0.02)


@given(st.integers(0, 2**32 - 1), st.floats(0, 0.5), st.floats(0.1, 3))
def test_scale_and_shift(seed: int, off: float, scale: float) -> None:
    plain, moved = from_visits(visits(seed)), from_visits(visits(seed, off=off))
    assert moved.repeatability.value == pytest.approx(plain.repeatability.value, rel=1e-6)
    assert moved.pooled.value == pytest.approx(plain.pooled.value, rel=1e-6)
    assert abs(moved.accuracy.value - plain.accuracy.value) <= off + 1e-9
    wider = from_visits(visits(seed, scatter=0.02 * scale))
    assert wider.pooled.interval == pytest.approx([scale * end for end in plain.pooled.interval], rel=1e-6)
    assert wider.worst.value == pytest.approx(scale * plain.worst.value, rel=1e-6)


def test_yaw_counts_by_its_angle_on_the_sky_and_across_the_zero() -> None:
    found = from_visits(visits(1, scatter=0.0, off=0.1))
    assert [pose.accuracy_deg for pose in found.poses] == pytest.approx([0.1] * 3)
    assert found.repeatability.value == pytest.approx(0, abs=1e-9)
    assert found.returned.value == pytest.approx(0, abs=1e-9)


def test_the_return_to_the_first_pose() -> None:
    given_ = visits(1)
    yaw, pitch = given_.numbers["yaw_deg"], given_.numbers["pitch_deg"]
    found = from_visits(given_)  # lines 1 and 6 are the first and the last visit of the first pose, on the horizon
    assert found.returned.value == pytest.approx(math.hypot(yaw[5] - yaw[0], pitch[5] - pitch[0]))
    assert found.returned.low <= found.returned.value <= found.returned.high


def test_a_visit_that_went_astray_is_named_and_not_passed_over() -> None:
    given_ = visits(1)
    given_.numbers["yaw_deg"][5] += 0.4
    with pytest.raises(ReadingsRefused, match=r"readings\.csv line 7: this visit is 0\.\d+° off the others"):
        from_visits(given_)


@given(st.floats(0.01, 1.0), st.floats(0.0, 1.0))
def test_the_repeatability_of_normal_misses(large: float, share: float) -> None:
    """By Rayleigh if both angles scatter alike, by the half-normal if one does; between them by integration."""
    small = share * large
    angle = np.linspace(0, 2 * math.pi, 20_001)[:-1]
    # E|d| = sqrt(pi / 2) times the mean over all directions of the standard deviation toward them.
    mean = math.sqrt(math.pi / 2) * float(np.mean(np.hypot(large * np.cos(angle), small * np.sin(angle))))
    expected = mean + 3 * math.sqrt(large**2 + small**2 - mean**2)
    assert normal_repeatability(np.diag([small**2, large**2])) == pytest.approx(expected, rel=1e-6)


def test_the_ends_of_it_have_closed_forms() -> None:
    rayleigh = math.sqrt(math.pi / 2) + 3 * math.sqrt(2 - math.pi / 2)
    half_normal = math.sqrt(2 / math.pi) + 3 * math.sqrt(1 - 2 / math.pi)
    assert normal_repeatability(np.eye(2)) == pytest.approx(rayleigh)
    assert normal_repeatability(np.diag([0.0, 1.0])) == pytest.approx(half_normal)


def test_refused() -> None:
    with pytest.raises(ReadingsRefused, match="visited 2 times"):
        from_visits(visits(1, times=2))
    given_ = visits(1)
    given_.numbers["pitch_deg"][7] *= math.pi / 180
    with pytest.raises(ReadingsRefused, match=r"readings\.csv line 9: the pose was missed by"):
        from_visits(given_)


@given(st.integers(1, 8), st.integers(3, 10), st.integers(0, 1000))
def test_the_order_of_visits(poses: int, times: int, seed: int) -> None:
    wanted = [(30.0 * number, 5.0 * number) for number in range(poses)]
    order = visiting_order(wanted, times, seed)
    assert order == visiting_order(wanted, times, seed)
    assert order[0] == order[-1]
    counts = Counter((yaw, pitch) for yaw, pitch, _ in order[:-1])
    assert counts == dict.fromkeys(wanted, times)
    assert {side for _, _, side in order} == {1, -1}


def test_the_order_is_random() -> None:
    wanted = [(30.0 * number, 0.0) for number in range(8)]
    assert len({tuple(visiting_order(wanted, 5, seed)) for seed in range(10)}) == 10


@given(
    poses=st.lists(st.tuples(st.floats(0, 360), st.floats(-90, 90)), min_size=1, max_size=4),
    visits=st.integers(3, 5),
    scale=st.sampled_from([0.0, 1e-9, 0.01]),
)
def test_only_distinct_poses_are_a_proof(poses: list[tuple[float, float]], visits: int, scale: float) -> None:
    """Neither one pose repeated, nor one direction under several names (any yaw at the zenith, 0 and 360)."""
    order = visiting_order(poses, visits, seed=1)
    noise = np.random.default_rng(2).normal(0, 1, (len(order), 2)) * scale
    yaw, pitch = (np.array([each[axis] for each in order]) for axis in (0, 1))
    columns = {
        "target_yaw_deg": yaw,
        "target_pitch_deg": pitch,
        "yaw_deg": yaw + noise[:, 0],
        "pitch_deg": pitch + noise[:, 1],
    }
    few = distinct(poses) < LEAST_POSES
    visited = Readings("r", tuple(range(len(order))), columns, {})
    if few:
        with pytest.raises(ReadingsRefused, match="distinct"):
            from_visits(visited)
        return
    with suppress(ReadingsRefused):  # for another reason, such as visits that are too much alike
        result = from_visits(visited)
        assert np.isfinite([result.worst.value, result.worst.low, result.worst.high]).all()


def test_directions_are_told_apart_on_the_sky() -> None:
    assert distinct([(0, 90), (90, 90), (180, 90)]) == 1
    assert distinct([(0, 0), (360, 0), (-360, 0), (1, 0)]) == 1
    assert distinct([(0, 0), (11, 0), (180, 60), (180, -60)]) == 4
    assert distinct([]) == 0
