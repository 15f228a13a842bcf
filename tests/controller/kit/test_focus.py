"""Where to focus: never so near that infinity suffers, and no farther than two digits require."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.kit.focus import circle_mm, distance_text, focus_of, focus_sentence, rounded_up
from controller.optics.depth import hyperfocal_mm, sharp_mm
from tests.controller.kit.tables import kit_with


@given(st.floats(4, 1200), st.floats(0.95, 64))
def test_focused_where_it_says_infinity_is_sharp(focal_mm: float, f_number: float) -> None:
    kit = kit_with({"lens.focal_length_mm": focal_mm, "exposure.f_number": f_number})
    focus = focus_of(kit)
    assert focus is not None
    near_mm, far_mm = sharp_mm(focus.at_m * 1000, focal_mm, f_number, circle_mm(kit))
    assert math.isinf(far_mm)
    assert near_mm / 1000 <= focus.nearest_m * (1 + 1e-9)
    exact_m = hyperfocal_mm(focal_mm, f_number, circle_mm(kit)) / 1000
    assert exact_m <= focus.at_m * (1 + 1e-9)
    assert focus.at_m <= 1.1 * exact_m
    said = [float(word) for word in focus.text().replace(";", "").split() if word.replace(".", "").isdigit()]
    assert len(said) == 2  # two digits, without an exponent


@given(st.floats(1e-4, 1e6))
def test_rounding_goes_up_to_two_digits(value: float) -> None:
    rounded = rounded_up(value)
    assert value * (1 - 1e-9) <= rounded <= value * 1.1 * (1 + 1e-9)
    assert float(f"{rounded:.2g}") == pytest.approx(rounded, rel=1e-12)
    assert rounded_up(rounded) == rounded


@pytest.mark.parametrize(
    ("metres", "text"),
    [(0.85, "0.85 m"), (4.1, "4.1 m"), (4.0, "4 m"), (12.0, "12 m"), (120.0, "120 m"), (1200.0, "1.2 km")],
)
def test_distances_in_words(metres: float, text: str) -> None:
    assert distance_text(metres) == text


def test_without_an_aperture_nothing_is_invented() -> None:
    kit = kit_with({})
    assert focus_of(kit) is None
    assert "f_number under [exposure]" in focus_sentence(kit)


def test_the_circle_is_two_pixels_whatever_part_of_the_sensor_is_used() -> None:
    """36 mm over 6000 pixels: 6 micrometres each (arithmetic)."""
    for changes in ({}, {"camera.crop_width_mm": 24.0, "camera.crop_height_mm": 16.0}):
        assert circle_mm(kit_with(changes)) == pytest.approx(0.012)
