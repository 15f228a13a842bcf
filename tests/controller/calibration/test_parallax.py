"""The no-parallax point: published principle, closed form against rays drawn in the plane, and correct uncertainties."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.calibration.known_lens import LensGiven
from controller.calibration.parallax import (
    UNMEASURED_OFFSET_MM,
    Marks,
    Scene,
    TypedShift,
    far_enough_mm,
    far_mark_words,
    offset_from_typed_mm,
    offset_from_views_mm,
    offset_mm,
    offset_that_costs_mm,
    shift_px,
    sideways_mm,
)
from controller.calibration.parallax_finding import typed_finding
from controller.calibration.readings import ReadingsRefused
from controller.errors import InputError

FOCAL_PX = 24 / 5.9 * 1000
OFFSETS = st.floats(-80, 80)
NEARS = st.floats(400, 3000)
RATIOS = st.floats(1.5, 50)
ANGLES = st.floats(2, 40)

# Offset mm, angle, shift px: near mark at 1 m, far one at 10 m, 24 mm lens, pixels of 5.9 um. Principle: R. Littlefield,
# Theory of the "No-Parallax" Point in Panorama Photography, 2006; figures from rays drawn in the plane.
TABLE = [
    (1, 10, 0.6562),
    (1, 25, 1.8859),
    (5, 25, 9.4757),
    (5, 30, 12.2813),
    (20, 25, 38.6082),
    (-7.5, 25, -13.9998),
    (60, 30, 158.4393),
]


def seen_px(distance_mm: float, angle_rad: float, offset: float, focal_px: float) -> float:
    """Where a rectilinear lens shows a mark: drawn in the plane, forward and to the right."""
    forward, right = distance_mm * math.cos(angle_rad) - offset, distance_mm * math.sin(angle_rad)
    return focal_px * right / forward


@pytest.mark.parametrize(("offset", "angle_deg", "shift"), TABLE)
def test_shift_of_the_table_and_back(offset: float, angle_deg: float, shift: float) -> None:
    assert shift_px(offset, FOCAL_PX, 1000, 10_000, angle_deg) == pytest.approx(shift, abs=5e-5)
    exact = shift_px(offset, FOCAL_PX, 1000, 10_000, angle_deg)
    assert offset_mm(exact, FOCAL_PX, 1000, 10_000, angle_deg) == pytest.approx(offset, abs=1e-10)


def test_a_far_mark_without_end() -> None:
    assert shift_px(5, FOCAL_PX, 1000, math.inf, 25) == pytest.approx(10.52274, abs=5e-6)
    assert offset_mm(10.522735594204493, FOCAL_PX, 1000, math.inf, 25) == pytest.approx(5)


@pytest.mark.parametrize(("focal_px", "words"), [(2000, "200 m away or more"), (8333.3, "840 m away or more")])
def test_a_far_mark_hides_an_offset_that_was_never_measured(focal_px: float, words: str) -> None:
    """Against something without end it shifts by less than a pixel, at 30 degrees too."""
    far_mm = far_enough_mm(focal_px)
    assert 0.1 < abs(shift_px(UNMEASURED_OFFSET_MM, focal_px, far_mm, math.inf, 30)) < 1
    assert sideways_mm(1.0, 0.0, focal_px, far_mm) == pytest.approx(-UNMEASURED_OFFSET_MM / 2)  # a pixel is so wide there
    assert far_mark_words(focal_px) == words


def test_without_a_lens_a_far_mark_has_no_distance() -> None:
    assert far_mark_words(None) == "as far away as you can see it clearly"


def test_the_form_for_small_offsets_would_not_do() -> None:
    """About 6 % wrong at 60 mm: why the exact form is used."""
    k = 158.4393 / (FOCAL_PX * math.sin(math.radians(30)))
    small = k * math.cos(math.radians(30)) ** 2 * 1000 * 10_000 / 9000
    assert small / 60 == pytest.approx(1.08, abs=0.03)
    assert offset_mm(158.4393, FOCAL_PX, 1000, 10_000, 30) == pytest.approx(60, abs=1e-4)


@given(OFFSETS, NEARS, RATIOS, ANGLES, st.sampled_from([-1, 1]))
def test_the_closed_form_undoes_rays(offset: float, near: float, ratio: float, angle: float, side: int) -> None:
    angle_rad = math.radians(angle) * side
    shift = seen_px(near, angle_rad, offset, 3000) - seen_px(near * ratio, angle_rad, offset, 3000)
    assert offset_mm(shift, 3000, near, near * ratio, side * angle) == pytest.approx(offset, abs=1e-8)


@given(OFFSETS, NEARS, RATIOS, st.floats(-20, 20), st.floats(-35, -5), st.floats(5, 35))
def test_two_views_need_no_marks_in_line(
    offset: float, near: float, ratio: float, apart: float, left: float, right: float
) -> None:
    """Any turn, and marks that are never in line: rays drawn in the plane."""

    def marks(middle_deg: float) -> Marks:
        far, close = math.radians(middle_deg + apart / 4), math.radians(middle_deg)
        seen = (math.atan(seen_px(d, angle, offset, 1.0)) for d, angle in ((near, close), (near * ratio, far)))
        return Marks(*seen)

    assert offset_from_views_mm(marks(left), marks(right), near, near * ratio) == pytest.approx(offset, abs=1e-6)


@given(st.floats(0.1, 5), NEARS, st.floats(10, 60))
def test_the_offset_that_costs_a_pixel_costs_it(pixels: float, nearest: float, edge: float) -> None:
    offset = offset_that_costs_mm(pixels, FOCAL_PX, nearest, edge)
    shifts = [abs(shift_px(sign * offset, FOCAL_PX, nearest, math.inf, edge)) for sign in (1, -1)]
    assert min(shifts) <= pixels * (1 + 1e-9)
    assert max(shifts) == pytest.approx(pixels)


@given(st.floats(-30, 30), st.floats(-200, 200), st.floats(500, 2500))
def test_half_a_turn_shows_what_is_beside_the_axis(beside: float, mark: float, distance: float) -> None:
    first, second = (FOCAL_PX * (place - beside) / distance for place in (mark, -mark))
    assert sideways_mm(first, second, FOCAL_PX, distance) == pytest.approx(beside, abs=1e-9)


def typed(shift: float, near: float = 1000, far: float = 10_000, angle: float = 25, focal: float = 24) -> dict[str, Any]:
    finding = typed_finding(None, LensGiven(focal, None, 5.9), Scene(near, far), TypedShift(angle, shift), None)
    return finding.as_json()


@given(OFFSETS, NEARS, ANGLES, st.sampled_from([-1, 1]))
def test_the_way_to_slide_is_always_right(offset: float, near: float, angle: float, side: int) -> None:
    assume(abs(offset) > 1e-3)
    shift = seen_px(near, math.radians(side * angle), offset, FOCAL_PX) - FOCAL_PX * math.tan(math.radians(side * angle))
    assert typed(shift, near, math.inf, side * angle)["slide"] == ("back" if offset > 0 else "forward")


@settings(max_examples=60)
@given(
    OFFSETS,
    st.floats(1000, 3000),
    RATIOS,
    st.floats(5, 40),
    st.sampled_from([-1, 1]),
    st.floats(-5, 5),
    st.floats(-10, 10),
)
def test_what_shifts_the_marks_besides_is_taken_out(
    offset: float, near: float, ratio: float, angle: float, side: int, lined_up: float, beside: float
) -> None:
    """Rays drawn in the plane: a lens beside the axis, marks not quite lined up in the middle, then the head turned."""
    far = near * ratio
    turn = math.radians(side * angle)
    toward = math.atan2(-beside, near - offset) - lined_up / 3000
    marks = [(0.0, near), (beside + math.tan(toward) * (far - offset), far)]
    seen = []
    for right, ahead in marks:
        x, y = right * math.cos(turn) + ahead * math.sin(turn), ahead * math.cos(turn) - right * math.sin(turn)
        seen.append(3000 * (x - beside) / (y - offset))
    got = offset_from_typed_mm(
        shift_px=seen[0] - seen[1],
        lined_up_px=lined_up,
        focal_px=3000,
        near_mm=near,
        far_per_mm=1 / far,
        angle_deg=side * angle,
        distortion=0.0,
        sideways_mm=beside,
    )
    assert got == pytest.approx(offset, abs=0.08 * (abs(beside) + abs(lined_up)) + 1e-6)  # first order


@given(st.floats(1000, 1e6))
def test_a_least_distance_counts_all_that_it_leaves(least: float) -> None:
    """One over the distance: a rectangle from 0 to one over the least distance (JCGM 100:2008, 4.3.7)."""
    middle, u = Scene(500, far_at_least_mm=least).far_per_mm()
    assert middle == pytest.approx(0.5 / least)
    assert u == pytest.approx(1 / least / math.sqrt(12))


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="nearer than the camera"):
        typed(5, near=90)
    with pytest.raises(InputError, match="well beyond"):
        typed(5, near=1000, far=1000)
    with pytest.raises(InputError, match="between 0 and 85"):
        typed(5, angle=0)
    with pytest.raises(ReadingsRefused, match="No place of the lens"):
        typed(-1e5)
    with pytest.raises(ReadingsRefused, match="no rail allows"):
        typed(3000)
    with pytest.raises(ValueError, match="same place"):
        offset_from_views_mm(Marks(0.1, 0.1), Marks(0.1, 0.1), 1000, 5000)
