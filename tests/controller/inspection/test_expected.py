"""What a session expects of its pictures: lens, poses with their uncertainty, and neighbours."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.inspection.expected import (
    BY_HAND_DEG,
    axis_sd_deg,
    circle_px,
    fits_camera,
    head_frames,
    lens_of,
    neighbours,
    views_of,
)
from controller.inspection.lens_model import see
from controller.kit.kit import Axis
from controller.matching.table import MatchLine, MatchVerdict
from controller.planning.plan import Frame, Plan
from controller.planning.request import RegionKind, Request
from tests.controller.inspection.inspected_sets import plan_of
from tests.end_to_end.whole_runs import kit_of

BAND = Request(region=RegionKind.BAND, pitch_from_deg=-20, pitch_to_deg=20)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of(24.0, BAND)


@lru_cache
def loose_plan() -> Plan:
    """Of a head whose program takes up no play."""
    return plan_of(24.0, BAND, head={"pan": {"backlash_deg": 0.0}, "tilt": {"backlash_deg": 0.0}})


def line(frame: Frame, pan_deg: float | None, tilt_deg: float | None = 0.0) -> MatchLine:
    found = MatchLine(MatchVerdict.SURE, "A.JPG", frame=frame.id, exposure=0, use=True)
    found.yaw_deg, found.pitch_deg, found.roll_deg = frame.yaw_deg + 0.5, frame.pitch_deg, 0.25
    found.pan_deg, found.tilt_deg = pan_deg, tilt_deg
    return found


@given(st.integers(600, 9000), st.sampled_from(["portrait", "landscape"]), st.floats(8, 200))
def test_the_lens_sees_the_edges_of_the_sensor_at_the_kit_s_angles(long_px: int, mounted: str, focal_mm: float) -> None:
    """By the sensor of 36 x 24 mm and the focal length alone: tan of half the angle is half the width over it."""
    kit = kit_of(focal_mm, camera={"mounted": mounted})
    size = (long_px * 2 // 3, long_px) if mounted == "portrait" else (long_px, long_px * 2 // 3)
    lens = lens_of(kit, size)
    edges = np.array([(-0.5, (size[1] - 1) / 2), (size[0] - 0.5, (size[1] - 1) / 2)])
    rays = see(lens, edges).rays
    half = math.atan((12 if mounted == "portrait" else 18) / focal_mm)
    assert np.allclose(np.arctan2(rays[:, 0], rays[:, 2]), [-half, half], atol=1e-4)
    assert fits_camera(kit, size)
    assert not fits_camera(kit, size[::-1])
    assert circle_px(kit, size) is None


def test_the_image_circle_is_as_wide_as_the_kit_says() -> None:
    kit = kit_of(8.0, lens={"projection": "equidistant", "image_circle_mm": 23.0})
    radius = circle_px(kit, (1000, 1500))
    assert radius == pytest.approx(0.99 * 11.5 * 1000 / 24, rel=1e-3)


@given(st.floats(1, 200), st.sampled_from([1, 8, 16, 64, 256]), st.floats(0, 0.5))
def test_an_axis_is_never_surer_than_its_steps(gear: float, microsteps: int, wobble_deg: float) -> None:
    """What the gear adds once per turn is a term of the adjustment, not scatter of single frames."""
    axis = Axis(gear_ratio=gear, microsteps=microsteps, eccentricity_deg=wobble_deg)
    assert axis_sd_deg(axis) >= 0.5 / axis.steps_per_degree / math.sqrt(3)
    assert axis_sd_deg(axis) == axis_sd_deg(axis.model_copy(update={"eccentricity_deg": 0.0}))


def test_a_frame_is_where_its_line_says_and_as_planned_without_one(plan: Plan) -> None:
    first, second = plan.frames[:2]
    here, there = head_frames(plan, {first.id: line(first, 12.0)}, plan.frames)[:2]
    assert (here.yaw_deg, here.roll_deg, here.pan_deg) == (first.yaw_deg + 0.5, 0.25, 12.0)
    assert (there.yaw_deg, there.pitch_deg) == pytest.approx((second.yaw_deg, second.pitch_deg), abs=1e-6)


def test_a_pose_that_a_person_held_is_hardly_known(plan: Plan) -> None:
    by_hand = plan.frames[0].model_copy(update={"by_hand": True})
    changed = plan.model_copy(update={"frames": [by_hand, *plan.frames[1:]]})
    first, second = head_frames(changed, {by_hand.id: line(by_hand, None)}, changed.frames)[:2]
    assert first.yaw_sd_deg == first.pitch_sd_deg == first.roll_sd_deg == BY_HAND_DEG
    assert second.yaw_sd_deg < 0.1


@given(st.lists(st.integers(-40, 40), min_size=3, max_size=8))
def test_the_side_of_approach_is_that_from_which_the_axis_came(pans: list[int]) -> None:
    """A frame at the same angle was approached as the one before; the first one's side is unknown."""
    plan = loose_plan()
    lines = {frame.id: line(frame, float(pan)) for frame, pan in zip(plan.frames, pans, strict=False)}
    found = [each.pan_from for each in head_frames(plan, lines, plan.frames)][: len(lines)]
    due = [0]
    for before, pan in pairwise(pans[: len(lines)]):
        due.append((pan > before) - (pan < before) or due[-1])
    assert found == due


def test_each_frame_of_a_single_row_has_the_two_beside_it(plan: Plan) -> None:
    row = [frame for frame in plan.frames if frame.row == plan.frames[0].row]
    single = plan.model_copy(update={"frames": row})
    pairs = neighbours(single, head_frames(single, {}, row))
    beside = {frozenset((place, (place + 1) % len(row))) for place in range(len(row))}
    assert beside <= {frozenset(pair) for pair in pairs}
    assert all(first < second for first, second in pairs)


def test_repeats_are_compared_with_the_first_pass_alone(plan: Plan) -> None:
    count = len(plan.frames)
    again = [
        frame.model_copy(update={"id": frame.id + 1000, "repeats": frame.id, "pass_number": 2}) for frame in plan.frames
    ]
    both = plan.model_copy(update={"frames": [*plan.frames, *again]})
    once = {frozenset(pair) for pair in neighbours(plan, head_frames(plan, {}, plan.frames))}
    pairs = {frozenset(pair) for pair in neighbours(both, head_frames(both, {}, both.frames))}
    assert {pair for pair in pairs if max(pair) < count} == once
    later = {(min(pair), max(pair) - count) for pair in pairs if max(pair) >= count}
    assert later == {(place, place) for place in range(count)} | {
        each for pair in once for each in (tuple(sorted(pair)), tuple(sorted(pair, reverse=True)))
    }


def test_views_look_where_the_frames_do(plan: Plan) -> None:
    told = head_frames(plan, {}, plan.frames)
    for view, frame in zip(views_of(told, lens_of(plan.kit, (600, 900)), (600, 900), None), told, strict=True):
        right, down, forward = view.axes
        assert math.degrees(math.asin(np.clip(forward @ np.array([0, 0, 1]), -1, 1))) == pytest.approx(frame.pitch_deg)
        assert np.allclose(np.cross(right, down), forward) or np.allclose(np.cross(right, down), -forward)
        assert view.u_aim_rad > math.radians(0.4)
