"""Depth of field, compared with similar triangles at the aperture."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from controller.optics.depth import hyperfocal_mm, sharp_mm

FOCAL_MM = st.floats(4, 1200)
F_NUMBERS = st.floats(0.95, 64)
CIRCLES_MM = st.floats(0.001, 0.06)


def blur_mm(at_mm: float, focus_mm: float, focal_mm: float, f_number: float) -> float:
    """Width of a point's image on the sensor: thin lens, 1/f = 1/s + 1/s', and the cone through an aperture f/N."""

    def image_mm(distance_mm: float) -> float:
        return 1 / (1 / focal_mm - (0 if math.isinf(distance_mm) else 1 / distance_mm))

    sensor_mm, point_mm = image_mm(focus_mm), image_mm(at_mm)
    return focal_mm / f_number * abs(sensor_mm - point_mm) / point_mm


@given(FOCAL_MM, F_NUMBERS, CIRCLES_MM)
def test_at_the_hyperfocal_distance_infinity_and_half_of_it_are_just_sharp(
    focal_mm: float, f_number: float, circle_mm: float
) -> None:
    beyond_mm = hyperfocal_mm(focal_mm, f_number, circle_mm)
    near_mm, far_mm = sharp_mm(beyond_mm, focal_mm, f_number, circle_mm)
    assert math.isinf(far_mm)
    assert near_mm == pytest.approx(beyond_mm / 2, rel=1e-9)
    assume(near_mm > 1.001 * focal_mm)
    for at_mm in (math.inf, near_mm):
        assert blur_mm(at_mm, beyond_mm, focal_mm, f_number) == pytest.approx(circle_mm, rel=1e-6)


@given(FOCAL_MM, F_NUMBERS, CIRCLES_MM, st.floats(0.05, 20))
def test_the_limits_are_where_the_blur_is_the_circle(
    focal_mm: float, f_number: float, circle_mm: float, share: float
) -> None:
    beyond_mm = hyperfocal_mm(focal_mm, f_number, circle_mm)
    focus_mm = share * beyond_mm
    assume(focus_mm > 2 * focal_mm)
    near_mm, far_mm = sharp_mm(focus_mm, focal_mm, f_number, circle_mm)
    assert near_mm < focus_mm < far_mm
    assert math.isinf(far_mm) is (focus_mm >= beyond_mm)
    assert blur_mm(near_mm, focus_mm, focal_mm, f_number) == pytest.approx(circle_mm, rel=1e-6)
    if math.isinf(far_mm):
        assert blur_mm(math.inf, focus_mm, focal_mm, f_number) <= circle_mm * (1 + 1e-9)
    else:
        assert blur_mm(far_mm, focus_mm, focal_mm, f_number) == pytest.approx(circle_mm, rel=1e-4)


@given(FOCAL_MM, F_NUMBERS, CIRCLES_MM)
def test_focused_at_infinity(focal_mm: float, f_number: float, circle_mm: float) -> None:
    near_mm, far_mm = sharp_mm(math.inf, focal_mm, f_number, circle_mm)
    assert math.isinf(far_mm)
    assert blur_mm(near_mm, math.inf, focal_mm, f_number) == pytest.approx(circle_mm, rel=1e-9)
    far_away = 1e6 * hyperfocal_mm(focal_mm, f_number, circle_mm)
    assert near_mm == pytest.approx(sharp_mm(far_away, focal_mm, f_number, circle_mm)[0], rel=1e-5)


def test_a_worked_example() -> None:
    """50 mm at f/8 with 0.03 mm: 2500 / 0.24 + 50 = 10,467 mm (arithmetic)."""
    assert hyperfocal_mm(50, 8, 0.03) == pytest.approx(10_466.667, abs=0.001)
