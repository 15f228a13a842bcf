"""The lean of the pan axis: measured on simulated heads, and corrected by the legs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.level import from_tilts, legs_to_raise
from controller.calibration.readings import ReadingsRefused
from controller.optics.outline import Array
from sim.lean import leaned
from tests.controller.calibration.given import readings

LEANS, YAWS = st.floats(0.01, 8), st.floats(0, 359.9)


def tilts(lean: float, toward: float, yaws: Array, zero: float = 0.0) -> Array:
    """Readings of a level on the tilt axis at zero, according to the simulator."""
    return np.array([zero + leaned(float(yaw), 0.0, lean, toward)[1] for yaw in yaws])


@given(LEANS, YAWS, st.floats(-5, 5), st.integers(4, 16))
def test_the_simulators_lean_is_found_exactly(lean: float, toward: float, zero: float, count: int) -> None:
    """At the head the pan angles are known, not the true yaws; the model must be exact in those."""
    yaws = np.linspace(0, 360, count, endpoint=False)
    found = from_tilts(readings(yaw_deg=yaws, reading_deg=tilts(lean, toward, yaws, zero)))
    assert found.lean_deg == pytest.approx(lean, abs=1e-7)
    assert math.cos(math.radians(found.toward_deg - toward)) == pytest.approx(1, abs=1e-9)
    assert found.zero_deg == pytest.approx(zero, abs=1e-7)
    assert found.significant


def test_readings_without_lean_show_none() -> None:
    yaws = np.arange(0, 360, 45.0)
    noise = np.random.default_rng(2).normal(0, 0.02, 8)
    found = from_tilts(readings(yaw_deg=yaws, reading_deg=3 + noise))
    assert not found.significant
    flat = from_tilts(readings(yaw_deg=yaws, reading_deg=np.zeros(8)))
    assert (flat.lean_deg, flat.significant) == (0, False)


def test_an_outlier_is_left_out() -> None:
    yaws = np.arange(0, 360, 30.0)
    read = tilts(1.0, 70.0, yaws) + 0.003 * np.sin(5.1 * yaws)
    read[4] += 0.5
    found = from_tilts(readings(yaw_deg=yaws, reading_deg=read))
    assert np.flatnonzero(~found.kept).tolist() == [4]
    assert found.lean_deg == pytest.approx(1.0, abs=0.01)


@pytest.mark.parametrize(
    ("yaws", "says"),
    [
        ([0, 120, 240], "too few"),
        ([0, 0, 180, 180], "too few"),
        ([0, 30, 60, 90], "gap of 270"),
        ([10, 370, 730, 90], "too few"),
    ],
)
def test_too_few_or_too_narrow(yaws: list[float], says: str) -> None:
    with pytest.raises(ReadingsRefused, match=says):
        from_tilts(readings(yaw_deg=yaws, reading_deg=np.zeros(len(yaws))))


def test_readings_that_no_tripod_gives() -> None:
    yaws = np.arange(0, 360, 45.0)
    with pytest.raises(ReadingsRefused, match="more than any tripod leans"):
        from_tilts(readings(yaw_deg=yaws, reading_deg=60 * tilts(1.0, 10.0, yaws)))
    mixed = np.random.default_rng(0).permutation(tilts(3.0, 10.0, yaws))
    with pytest.raises(ReadingsRefused, match="stated reading error"):
        from_tilts(readings(yaw_deg=yaws, reading_deg=mixed), 0.05)


@given(st.floats(0, 8), YAWS, YAWS, st.floats(100, 1000))
def test_the_raised_feet_stand_level(lean: float, toward: float, leg: float, radius: float) -> None:
    legs = legs_to_raise(lean, toward, leg, radius)
    # A foot on the side toward which the axis leans is low by radius * sin(lean) * cos(angle between).
    low = [radius * math.sin(math.radians(lean)) * math.cos(math.radians(each.yaw_deg - toward)) for each in legs]
    heights = [each.raise_mm - down for each, down in zip(legs, low, strict=True)]
    assert np.ptp(heights) == pytest.approx(0, abs=1e-9)
    assert min(each.raise_mm for each in legs) == 0


def test_a_lean_toward_a_leg_raises_that_leg_alone() -> None:
    """By 1.5 * radius * sin(lean): the other two feet are half a radius behind the axis (plane geometry)."""
    legs = legs_to_raise(1.0, 120.0, 0.0, 500.0)
    assert [each.raise_mm for each in legs] == pytest.approx([0, 1.5 * 500 * math.sin(math.radians(1)), 0], abs=1e-9)
