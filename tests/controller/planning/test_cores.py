"""Cores on the sphere: solid angle, corners, edges, margins."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import dblquad

from controller.optics.field import make_field
from controller.optics.projection import LAWS, Projection
from controller.planning.cores import cores_at
from tests.controller.planning import oracle
from tests.controller.planning.examples import Example, field_of, row_bands

ZERO = np.array([0.0])


@pytest.mark.parametrize(
    ("focal", "size_mm", "expected", "within"),
    [  # 4 asin(sin(a/2) sin(b/2)) for full angles a, b; a cube's face is a sixth of the sphere
        (24.0, (36.0, 24.0), 1.086629, 1e-6),
        (50.0, (36.0, 24.0), 0.316523, 1e-6),
        (18.0, (36.0, 36.0), 2 * np.pi / 3, 1e-12),
    ],
)
def test_solid_angle(focal: float, size_mm: tuple[float, float], expected: float, within: float) -> None:
    field = field_of(focal, size_mm, overlap=0.0)
    found = oracle.solid_angle_sr(field.core_half_width_rad, field.core_half_height_rad)
    assert found == pytest.approx(expected, abs=within)
    x, y = size_mm[0] / 2 / focal, size_mm[1] / 2 / focal
    integral, _ = dblquad(lambda v, u: (1 + u * u + v * v) ** -1.5, -x, x, -y, y, epsabs=1e-10)
    assert found == pytest.approx(integral, abs=1e-9)


@pytest.mark.parametrize("focal", [12.0, 24.0, 50.0])
def test_solid_angle_by_counting_directions(focal: float) -> None:
    field = field_of(focal)
    inside = cores_at(field, ZERO, ZERO).best_margin_rad(oracle.evenly_spread(400_000)) > 0
    assert inside.mean() * 4 * np.pi == pytest.approx(
        oracle.solid_angle_sr(field.core_half_width_rad, field.core_half_height_rad), rel=5e-3
    )


# Yaw half-width covered at a latitude by a frame pitched p, X = half the width over f: asin(X sin(lat) sin p / (cos(lat)
# sqrt(1 + X^2 cos^2 p))) + atan(X cos p); 24 mm landscape, X = 0.75. Derived and checked against the rotated corner rays
# outside this program.
HALF_WIDTHS = [
    (30, 43.8700, 50.6014),
    (30, 23.5782, 40.8934),
    (30, 2.8520, 33.9022),
    (60, 55.9923, 84.8959),
    (60, 43.8538, 56.3100),
    (60, 27.2306, 38.7940),
    (0, 21.8014, 36.8699),
]


@pytest.mark.parametrize(("pitch", "latitude", "half_width"), HALF_WIDTHS)
@pytest.mark.parametrize("side", [1, -1])
def test_yaw_half_width_at_a_latitude(pitch: float, latitude: float, half_width: float, side: int) -> None:
    cores = cores_at(field_of(24, (36, 24), overlap=0.0), np.array([100.0]), np.array([float(pitch)]))
    at_edge = cores.margin_rad(oracle.direction(100 + side * half_width, latitude))
    assert np.degrees(at_edge[0, 0]) == pytest.approx(0, abs=2e-4)
    beyond = cores.margin_rad(oracle.direction(100 + side * (half_width + 1), latitude))
    assert np.degrees(beyond[0, 0]) < -0.1


@pytest.mark.parametrize(("pitch", "latitude", "half_width"), [HALF_WIDTHS[1], HALF_WIDTHS[4]])
def test_a_row_begins_where_its_frames_meet(pitch: float, latitude: float, half_width: float) -> None:
    field = field_of(24, (36, 24), overlap=0.0)
    low, high = row_bands(field, 180 / half_width, np.radians([pitch]), 0.0)
    assert np.degrees(low) == pytest.approx(latitude, abs=2e-4)
    assert high > low


def test_corner_and_top_edge() -> None:
    # 24 mm landscape: corner rays at pitch 0 -> (36.8699, 21.8014); top edge's middle 26.5651 above the axis
    field = field_of(24, (36, 24), overlap=0.0)
    cores = cores_at(field, ZERO, ZERO)
    corner, top = oracle.direction(36.8699, 21.8014), oracle.direction(0, 26.5651)
    assert np.degrees(cores.margin_rad(corner)[0, 0]) == pytest.approx(0, abs=1e-4)
    assert np.degrees(cores.margin_rad(top)[0, 0]) == pytest.approx(0, abs=1e-4)
    assert cores.reach_rad[0] == pytest.approx(float(np.arccos(corner[0, 0])), abs=2e-6)


@given(
    st.floats(5, 200),
    st.floats(0, 0.9),
    st.floats(0, 360),
    st.floats(-90, 90),
    st.floats(0, 360),
    st.floats(-90, 90),
)
def test_margin_agrees_with_the_oracle(
    focal: float, overlap: float, yaw: float, pitch: float, to_yaw: float, to_pitch: float
) -> None:
    example = Example(field_of(focal, overlap=overlap), np.array([yaw]), np.array([pitch]))
    towards = oracle.direction(to_yaw, to_pitch)
    ours = np.degrees(example.cores().margin_rad(towards)[0, 0])
    # asin is steep at 90 degrees, where half of the digits are lost
    assert ours == pytest.approx(oracle.margins_deg(example.planes(), towards)[0], abs=1e-5)


@given(st.integers(0, 2**32 - 1), st.floats(0, 20))
def test_margin_never_changes_faster_than_the_direction(seed: int, angle_deg: float) -> None:
    rng = np.random.default_rng(seed)
    cores = cores_at(field_of(24), rng.uniform(0, 360, 8), rng.uniform(-90, 90, 8))
    start, aside = rng.normal(size=(2, 3))
    start /= np.linalg.norm(start)
    aside -= (aside @ start) * start
    aside /= np.linalg.norm(aside)
    angle = np.radians(angle_deg)
    both = np.stack([start, np.cos(angle) * start + np.sin(angle) * aside])
    before, after = cores.margin_rad(both)
    assert np.all(np.abs(after - before) <= angle + 1e-7)
    best = cores.best_margin_rad(both)
    np.testing.assert_array_equal(best, [before.max(), after.max()])


def test_chosen_frames_only() -> None:
    cores = cores_at(field_of(24), np.array([0.0, 90, 180]), np.zeros(3))
    towards = oracle.evenly_spread(50)
    np.testing.assert_array_equal(cores.margin_rad(towards, np.array([2, 0])), cores.margin_rad(towards)[:, [2, 0]])


@pytest.mark.parametrize("projection", list(Projection))
@given(st.integers(0, 10_000), st.floats(0.0, 0.6), st.floats(9, 30), st.floats(-3, 3), st.floats(-5, 5))
@settings(max_examples=40)
def test_a_core_holds_what_its_definition_holds(
    projection: Projection, seed: int, overlap: float, focal: float, right_mm: float, up_mm: float
) -> None:
    """x| <= r(a) on every side and within the image circle, in the picture of the definition; never more."""
    field = make_field(
        projection=projection,
        focal_length_mm=focal,
        size_mm=(24, 36),
        pixels=(4000, 6000),
        overlap=overlap,
        offset_mm=(right_mm, up_mm),
        circle_mm=None if seed % 2 else 30.0,
    )
    random = np.random.default_rng(seed)
    towards = random.normal(size=(2000, 3))
    towards /= np.linalg.norm(towards, axis=1, keepdims=True)
    margins = cores_at(field, ZERO, ZERO).margin_rad(towards)[:, 0]
    law = LAWS[projection]
    for direction, margin in zip(towards, margins, strict=True):
        theta = float(np.arccos(np.clip(direction[0], -1, 1)))
        limit = np.pi / 2 if projection in {Projection.RECTILINEAR, Projection.ORTHOGRAPHIC} else np.pi
        if field.circle_rad is not None:
            limit = min(limit, field.circle_rad)
        inside = theta < limit
        if inside:
            radius, across = law.radius(theta), np.hypot(direction[1], direction[2])
            x, y = radius * direction[1] / across, radius * direction[2] / across
            core = field.core
            inside = -law.radius(core.left) <= x <= law.radius(core.right)
            inside = inside and -law.radius(core.bottom) <= y <= law.radius(core.top)
        assert inside or margin <= 1e-7
        assert margin > -np.radians(0.15) or not inside  # curved edges may lose a sliver


@pytest.mark.parametrize("projection", list(Projection))
def test_a_margin_never_changes_faster_than_the_direction(projection: Projection) -> None:
    field = make_field(projection=projection, focal_length_mm=14, size_mm=(24, 36), pixels=(4000, 6000), overlap=0.3)
    cores = cores_at(field, ZERO, np.array([20.0]))
    random = np.random.default_rng(1)
    one = random.normal(size=(4000, 3))
    one /= np.linalg.norm(one, axis=1, keepdims=True)
    other = one + 0.05 * random.normal(size=one.shape)
    other /= np.linalg.norm(other, axis=1, keepdims=True)
    apart = np.arccos(np.clip((one * other).sum(axis=1), -1, 1))
    change = np.abs(cores.margin_rad(one) - cores.margin_rad(other))[:, 0]
    assert (change <= apart + 1e-9).all()
