"""Torques, microsteps, wind and tipping compared with published figures and hand arithmetic."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.errors import InputError
from controller.kit.kit import Axis
from controller.kit.loads import Motor, Stand, axis_need, inertia_kg_m2, margin_words

MOTOR = Motor(((0, 0.4), (600, 0.2)), 5.4e-6, 0.8)


@pytest.mark.parametrize(
    ("microsteps", "percent"),
    [(1, 100), (2, 70.71), (4, 38.27), (8, 19.51), (16, 9.80), (32, 4.91), (64, 2.45), (128, 1.23), (256, 0.61)],
)
def test_microstep_torque_is_the_published_table(microsteps: int, percent: float) -> None:
    """Faulhaber, "Microstepping Myths and Realities", Table 1."""
    need = axis_need(Axis(microsteps=microsteps, gear_ratio=1.0), Motor(((0, 1.0), (600, 1.0)), 0, 1), 0.01, 0, 2)
    assert need.microstep_nm * 100 == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize(("mass", "radius", "height", "force"), [(6, 0.55, 1.5, 10.79), (4, 0.45, 1.7, 5.19)])
def test_tips_at_the_force_of_statics(mass: float, radius: float, height: float, force: float) -> None:
    """Hand arithmetic with standard gravity."""
    assert Stand(mass, radius, height, 0.05, 10).tips_at_n == pytest.approx(force, abs=0.005)


def test_wind_of_ten_metres_a_second() -> None:
    """q = 61.25 Pa; 0.05 m² with a drag of 1.2 makes 3.68 N (hand arithmetic)."""
    assert Stand(6, 0.55, 1.5, 0.05, 10).wind_n() == pytest.approx(3.675, abs=0.001)


@given(st.floats(0.5, 20), st.floats(0.2, 1), st.floats(0.5, 3), st.floats(0.01, 1))
def test_the_tipping_wind_makes_the_tipping_force(mass: float, radius: float, height: float, area: float) -> None:
    stand = Stand(mass, radius, height, area, 0)
    there = Stand(mass, radius, height, area, stand.tips_at_wind_m_s())
    assert there.wind_n() == pytest.approx(stand.tips_at_n)


@given(st.floats(0.001, 0.2), st.floats(0, 0.5), st.floats(1, 3))
def test_the_fastest_ramp_leaves_just_the_margin(inertia: float, imbalance: float, margin: float) -> None:
    fastest = axis_need(Axis(gear_ratio=36.0), MOTOR, inertia, imbalance, margin).fastest_accel_deg_s2
    assert fastest > 0
    if fastest <= 3600:
        again = axis_need(Axis(gear_ratio=36.0, max_accel_deg_s2=fastest), MOTOR, inertia, imbalance, margin)
        assert again.margin == pytest.approx(margin)


def test_no_ramp_where_the_imbalance_alone_is_too_much() -> None:
    assert axis_need(Axis(gear_ratio=1.0), MOTOR, 0.02, 3.0, 2).fastest_accel_deg_s2 == 0


def test_a_rod_about_its_middle_and_its_end() -> None:
    """m l² / 12 and m l² / 3 (any textbook of mechanics)."""
    assert inertia_kg_m2(12, (1, 0), 0) == pytest.approx(1)
    assert inertia_kg_m2(12, (1, 0), 0.5) == pytest.approx(4)


def test_a_curve_is_not_guessed_past_its_end() -> None:
    assert MOTOR.torque_nm(300) == pytest.approx(0.3)
    with pytest.raises(InputError, match="ends at 600 rpm"):
        MOTOR.torque_nm(601)
    with pytest.raises(InputError, match="begin at 0 rpm"):
        Motor(((10, 0.4),), 0, 1)


def test_an_overhanging_load_falls_by_itself() -> None:
    assert Stand(6, 0.5, 1.5, 0.05, 0, offset_m=0.3).tips_at_n == 0


def test_no_margin_is_called_without_danger() -> None:
    assert len({margin_words(m) for m in (0.5, 1.2, 1.7, 3, math.inf)}) == 4
    assert not any("safe" in margin_words(m) for m in (0.5, 1.2, 1.7, 3))
