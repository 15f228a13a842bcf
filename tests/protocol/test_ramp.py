"""Ramps of whole milliseconds: exact to the step, within the limits, hardly longer than need be; shaped, the same.

The shortest time of a ramp is d/V + V/A if d A >= V^2, else 2 sqrt(d/A) (L. Biagiotti and C. Melchiorri, *Trajectory
Planning for Automatic Machines and Robots*, Springer 2008, section 3.2).
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.ramp import Ramp, changes, ramp_of
from protocol.shaper import Shaper
from tests.protocol.ramps import motion_of, shapers

STEPS = st.integers(1, 300) | st.integers(1, 2**32)
SPEEDS = st.integers(1, 200) | st.integers(1, 40_000)
ACCELS = st.integers(1, 200) | st.integers(1, 1_000_000)
USUAL = st.builds(ramp_of, st.integers(1, 20_000), st.integers(50, 20_000), st.integers(200, 100_000))


@given(STEPS, SPEEDS, ACCELS)
def test_speed_and_acceleration_are_never_above_what_was_asked_for(steps: int, speed: int, accel: int) -> None:
    """In exact fractions: the flat part and the ramp up are d / speed long, whatever they were rounded to."""
    ramp = ramp_of(steps, speed, accel)
    highest = Fraction(1000 * steps, ramp.ramp_ms + ramp.cruise_ms)
    assert highest <= speed
    assert Fraction(1000, ramp.ramp_ms) * highest <= accel
    assert ramp.speed_steps_s == pytest.approx(float(highest))
    assert ramp.accel_steps_s2 == pytest.approx(float(1000 * highest / ramp.ramp_ms))


def test_a_short_ramp_is_the_shortest_that_keeps_the_acceleration() -> None:
    """Every one of many: what just misses a whole millisecond is rare, so that no few examples find it."""
    for steps in range(1, 300):
        for accel in range(1, 4000, 7):
            ramp = ramp_of(steps, 10**6, accel)
            assert (ramp.ramp_ms - 1) ** 2 * accel < 1_000_000 * steps <= ramp.ramp_ms**2 * accel


@given(STEPS, SPEEDS, ACCELS)
def test_it_is_at_most_two_milliseconds_longer_than_need_be(steps: int, speed: int, accel: int) -> None:
    ideal_s = steps / speed + speed / accel if steps * accel >= speed**2 else 2 * math.sqrt(steps / accel)
    took_ms = ramp_of(steps, speed, accel).duration_ms
    assert ideal_s * 1000 * (1 - 1e-12) <= took_ms <= ideal_s * 1000 * (1 + 1e-12) + 2


@given(STEPS, SPEEDS, ACCELS)
def test_both_ways_are_alike_and_no_way_takes_no_time(steps: int, speed: int, accel: int) -> None:
    assert ramp_of(-steps, speed, accel) == ramp_of(steps, speed, accel)
    assert ramp_of(0, speed, accel) == Ramp(0, 0, 0)
    assert changes(Ramp(0, 0, 0), Shaper()) == []


@given(USUAL, shapers())
def test_a_shaped_ramp_ends_at_rest_on_its_target(ramp: Ramp, shaper: Shaper) -> None:
    end_ms = ramp.duration_ms + shaper.duration_ms
    assert changes(ramp, shaper)[-1][0] == end_ms
    steps, speed, accel = motion_of(ramp, shaper, end_ms + 1)
    assert steps == pytest.approx(ramp.steps, rel=1e-6)
    assert speed == pytest.approx(0, abs=1e-6 * ramp.speed_steps_s)
    assert accel == pytest.approx(0, abs=1e-6 * ramp.accel_steps_s2)


@given(USUAL, shapers())
def test_a_shaped_ramp_keeps_the_limits_and_never_turns_back(ramp: Ramp, shaper: Shaper) -> None:
    """Speed and acceleration are greatest where the acceleration changes, so these moments are enough."""
    before = 0.0
    for at_ms in sorted({at_ms for at_ms, _ in changes(ramp, shaper)}):
        for moment_ms in (at_ms, at_ms + 0.5):
            steps, speed, accel = motion_of(ramp, shaper, moment_ms)
            assert -1e-6 * ramp.speed_steps_s <= speed <= ramp.speed_steps_s * (1 + 1e-6)
            assert abs(accel) <= ramp.accel_steps_s2 * (1 + 1e-6)
            assert before - 1e-6 * ramp.steps <= steps <= ramp.steps * (1 + 1e-6)
            before = steps


@given(USUAL, shapers(), st.floats(0, 1))
def test_it_is_the_plain_ramp_once_for_each_impulse(ramp: Ramp, shaper: Shaper, share: float) -> None:
    at_ms = share * (ramp.duration_ms + shaper.duration_ms)
    parts = [part * motion_of(ramp, Shaper(), at_ms - delay_ms)[0] for delay_ms, part in shaper.weights]
    assert motion_of(ramp, shaper, at_ms)[0] == pytest.approx(sum(parts), rel=1e-6, abs=1e-6)
