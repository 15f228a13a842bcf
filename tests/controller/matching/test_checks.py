"""Checks of a set's pictures, from values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial.transform import Rotation

from controller.calibration.turning import PictureGeometry
from controller.matching.checks import (
    Compared,
    Joined,
    bracket_step_ev,
    detail_of,
    frames_elsewhere,
    planned_turn,
    sharper,
    soft_frames,
    step_is_off,
)

yaws, pitches = st.floats(-180, 180), st.floats(-85, 85)


def codes(light: NDArray[np.float64]) -> NDArray[np.uint8]:
    """sRGB codes of linear light (IEC 61966-2-1:1999)."""
    light = np.clip(light, 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * coded), dtype=np.uint8)


@given(st.floats(-2, 2))
def test_the_step_of_a_bracket_is_measured(step_ev: float) -> None:
    light = np.random.default_rng(0).uniform(0.02, 0.5, (80, 120))
    measured = bracket_step_ev(codes(light), codes(light * 2**step_ev))
    assert measured == pytest.approx(step_ev, abs=0.1)


def test_black_pictures_say_nothing_of_a_step() -> None:
    assert bracket_step_ev(np.zeros((9, 9), np.uint8), np.full((9, 9), 128, np.uint8)) is None


def test_a_step_may_be_bent_by_the_camera_s_tone_curve_and_not_be_missing() -> None:
    assert not step_is_off(1.3, 2.0)
    assert step_is_off(0.0, 2.0)
    assert step_is_off(-2.0, 2.0)


@given(yaws, pitches, yaws, pitches)
def test_a_planned_turn_takes_one_lens_axis_to_the_other(yaw: float, pitch: float, yaw2: float, pitch2: float) -> None:
    """The angle between two directions by the haversine formula (R. Sinnott, Sky and Telescope 68:159, 1984)."""
    turn = planned_turn((yaw, pitch), (yaw2, pitch2))
    axis = turn.apply([0.0, 0.0, 1.0])
    a, b = math.radians(pitch), math.radians(pitch2)
    h = math.sin((b - a) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(math.radians(yaw2 - yaw) / 2) ** 2
    assert math.acos(max(-1.0, min(1.0, axis[2]))) == pytest.approx(2 * math.asin(min(1.0, math.sqrt(h))), abs=1e-6)


def test_turning_right_and_up_have_the_signs_that_pictures_have() -> None:
    """As in `controller/calibration/turning.py`: right is positive about y, up about x."""
    assert np.degrees(planned_turn((20, 0), (30, 0)).as_rotvec()) == pytest.approx([0, 10, 0])
    assert np.degrees(planned_turn((20, 0), (20, 10)).as_rotvec()) == pytest.approx([10, 0, 0])


def pairs_of(count: int) -> list[tuple[int, int]]:
    """A ring of frames, each with the next two."""
    return [(first, (first + next_one) % count) for first in range(count) for next_one in (1, 2)]


def compared(count: int, detail: dict[int, float]) -> list[Compared]:
    """Some frames show only this share of the detail that the others show."""
    logs = {frame: math.log(share) for frame, share in detail.items()}
    return [Compared(one, other, logs.get(one, 0.0) - logs.get(other, 0.0)) for one, other in pairs_of(count)]


def ring(count: int, off_deg: dict[int, float] | None = None) -> list[Joined]:
    """Some frames point elsewhere."""
    off_deg = off_deg or {}
    joined = []
    for first, second in pairs_of(count):
        planned = planned_turn((first * 360 / count, 0), (second * 360 / count, 0))
        true = (
            Rotation.from_rotvec([math.radians(off_deg.get(first, 0)), 0, 0]).inv()
            * planned
            * Rotation.from_rotvec([math.radians(off_deg.get(second, 0)), 0, 0])
        )
        joined.append(Joined(first, second, true, planned))
    return joined


def test_the_soft_one_is_named_and_not_its_neighbours() -> None:
    assert soft_frames(compared(12, {4: 0.3})) == {4: pytest.approx(0.3)}
    assert soft_frames(compared(12, {4: 0.9})) == {}
    assert soft_frames(compared(3, {1: 0.3})) == {1: pytest.approx(0.3)}  # of three, two agree


def test_the_one_that_points_elsewhere_is_named_and_not_its_neighbours() -> None:
    assert frames_elsewhere(ring(12, off_deg={7: 4.0})) == {7: pytest.approx(4.0, abs=1e-6)}
    assert frames_elsewhere(ring(12, off_deg={2: 3.0, 8: -6.0})).keys() == {2, 8}
    assert frames_elsewhere(ring(12)) == {}


def test_a_focal_length_that_is_a_little_off_blames_no_frame() -> None:
    joined = ring(12)
    longer = [
        Joined(one.first, one.second, Rotation.from_rotvec(one.planned.as_rotvec() * 1.02), one.planned) for one in joined
    ]
    assert frames_elsewhere(longer) == {}


def test_a_picture_that_is_a_little_unsharp_shows_less_detail_of_the_same_things() -> None:
    """A view of a known pattern from two poses; the second is then blurred."""
    random = np.random.default_rng(3)
    sphere = gaussian_filter(random.uniform(0, 255, (900, 1800)), 1.2, mode="wrap")
    sphere = np.clip((sphere - sphere.mean()) * 3 + 128, 1, 255)
    camera = PictureGeometry(500.0, (299.5, 199.5))

    def view(yaw_deg: float) -> NDArray[np.uint8]:
        row, column = np.indices((400, 600)).reshape(2, -1)
        x, y, z = (
            planned_turn((0, 0), (yaw_deg, 0)).apply(camera.rays(np.stack([column, row], axis=-1).astype(np.float64))).T
        )
        across, up = np.degrees(np.arctan2(x, z)) * 5 + 900, 450 + np.degrees(np.arcsin(y)) * 5
        return np.asarray(map_coordinates(sphere, [up, across], order=1, mode="wrap").reshape(400, 600), dtype=np.uint8)

    first, second = view(0.0), view(20.0)
    unsharp = np.asarray(gaussian_filter(second.astype(float), 1.5), dtype=np.uint8)
    planned = planned_turn((0, 0), (20.0, 0))
    same = sharper(detail_of(first), detail_of(second), camera, (600, 400), planned)
    more = sharper(detail_of(first), detail_of(unsharp), camera, (600, 400), planned)
    assert same == pytest.approx(0.0, abs=0.15)
    assert more is not None
    assert more > 0.5
    assert sharper(detail_of(first), detail_of(second), camera, (600, 400), planned_turn((0, 0), (90.0, 0))) is None
