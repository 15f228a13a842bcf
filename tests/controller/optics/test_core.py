"""The core of a frame: two cores that just touch share exactly the requested overlap."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from controller.optics.field import make_field, shared_part
from controller.optics.projection import LAWS, Projection, off_axis_angle

PROJECTIONS = st.sampled_from(sorted(LAWS))
FOCALS = st.floats(4, 400)
OVERLAPS = st.floats(0, 0.9)
# Half the picture as a share of the projection's largest radius (of ten focal lengths if that is infinite).
SHARES = st.floats(0.01, 0.999)


def edge_of(projection: Projection, focal: float, share: float) -> float:
    return share * focal * min(LAWS[projection].largest_radius, 10.0)


def core_half_angle(projection: Projection, focal: float, edge: float, overlap: float) -> float:
    """Of a picture that ends `edge` from its centre on both sides."""
    size = (2 * edge, 2 * edge)
    field = make_field(projection=projection, focal_length_mm=focal, size_mm=size, pixels=(100, 100), overlap=overlap)
    assert field.core_half_width_rad == field.core_half_height_rad
    return field.core_half_width_rad


@given(PROJECTIONS, FOCALS, SHARES, OVERLAPS)
def test_touching_cores_share_the_overlap(projection: Projection, focal: float, share: float, overlap: float) -> None:
    edge = edge_of(projection, focal, share)
    step = 2 * core_half_angle(projection, focal, edge, overlap)
    assert shared_part(projection, focal, edge, step) == pytest.approx(overlap, abs=1e-9)


@given(FOCALS, SHARES, OVERLAPS)
def test_rectilinear_formula(focal: float, share: float, overlap: float) -> None:
    edge = edge_of(Projection.RECTILINEAR, focal, share)
    e = math.atan(edge / focal)
    expected = (e + math.atan((1 - 2 * overlap) * math.tan(e))) / 2
    assert core_half_angle(Projection.RECTILINEAR, focal, edge, overlap) == pytest.approx(expected, rel=1e-12)


@given(PROJECTIONS, FOCALS, SHARES, OVERLAPS, st.floats(1e-6, 0.5))
def test_more_overlap_means_a_smaller_core(
    projection: Projection, focal: float, share: float, overlap: float, more: float
) -> None:
    assume(overlap + more <= 0.9)
    edge = edge_of(projection, focal, share)
    larger = core_half_angle(projection, focal, edge, overlap)
    smaller = core_half_angle(projection, focal, edge, overlap + more)
    assert 0 < smaller < larger <= off_axis_angle(projection, focal, edge)


@given(PROJECTIONS, FOCALS, SHARES)
def test_without_overlap_the_core_is_the_frame(projection: Projection, focal: float, share: float) -> None:
    edge = edge_of(projection, focal, share)
    assert core_half_angle(projection, focal, edge, 0) == pytest.approx(off_axis_angle(projection, focal, edge))


@given(PROJECTIONS, FOCALS, SHARES, st.floats(0, 2), st.floats(1e-6, 1))
def test_a_longer_step_shares_less(projection: Projection, focal: float, share: float, part: float, more: float) -> None:
    edge = edge_of(projection, focal, share)
    half = off_axis_angle(projection, focal, edge)
    nearer = shared_part(projection, focal, edge, part * half)
    farther = shared_part(projection, focal, edge, (part + more) * half)
    assert 0 <= farther <= nearer <= 1 + 1e-12
    if nearer > 1e-9:
        assert farther < nearer


@pytest.mark.parametrize("projection", sorted(LAWS))
def test_ends_of_the_shared_part(projection: Projection) -> None:
    half = off_axis_angle(projection, 24.0, 18.0)
    assert shared_part(projection, 24.0, 18.0, 0.0) == pytest.approx(1)
    assert shared_part(projection, 24.0, 18.0, 2 * half) == 0
    assert shared_part(projection, 24.0, 18.0, 2.5 * half) == 0


def test_core_lies_inside_a_field_on_both_sides() -> None:
    field = make_field(
        projection=Projection.RECTILINEAR, focal_length_mm=24, size_mm=(24, 36), pixels=(4000, 6000), overlap=0.3
    )
    assert (field.whole.left, field.whole.right) == (math.atan(0.5), math.atan(0.5))
    assert (field.whole.bottom, field.whole.top) == (math.atan(0.75), math.atan(0.75))
    assert field.core_half_width_rad == core_half_angle(Projection.RECTILINEAR, 24, 12, 0.3)
    assert field.core_half_height_rad == core_half_angle(Projection.RECTILINEAR, 24, 18, 0.3)


def test_single_row_with_70_mm_upright() -> None:
    # Common practice, no source: 70 mm upright on 36 x 24 mm, set by eye for about 30 %, ends on a 15 degree
    # click stop. Exactly 30 % needs 13.65 degrees; 15 degrees leaves 23.1 % of the picture's width.
    step_deg = math.degrees(2 * core_half_angle(Projection.RECTILINEAR, 70, 12, 0.3))
    assert step_deg == pytest.approx(13.65, abs=0.005)
    assert 13 < 360 / math.ceil(360 / step_deg) <= 13.65  # a whole number of frames in the turn
    at_click_stop = shared_part(Projection.RECTILINEAR, 70, 12, math.radians(15))
    assert 0.20 < at_click_stop < 0.30
    assert at_click_stop == pytest.approx(0.231, abs=5e-4)
