"""Ramps of limited jerk, against ruckig, which finds time-optimal ones by other means."""

from __future__ import annotations

import math
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory

from protocol.units import NS
from sim.axis import AxisSpec, SimulatedAxis
from sim.head import HeadSpec, SimulatedHead
from sim.motors import move

SIZES = st.tuples(st.integers(-20_000, 20_000), st.floats(10, 20_000), st.floats(50, 50_000), st.floats(200, 500_000))


@given(SIZES)
def test_as_fast_as_can_be(sizes: tuple[int, float, float, float]) -> None:
    way, speed, accel, jerk = sizes
    motion = move(0, 0, way, speed, accel, jerk)
    wanted = InputParameter(1)
    wanted.target_position = [float(way)]
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [speed], [accel], [jerk]
    trajectory = Trajectory(1)
    Ruckig(1).calculate(wanted, trajectory)
    assert motion.end_ns / NS == pytest.approx(trajectory.duration, rel=1e-6, abs=1e-6)
    for share in (0.1, 0.37, 0.5, 0.81):
        at_s = motion.end_ns / NS * share
        position, velocity, _ = trajectory.at_time(at_s)
        assert motion.steps_at(round(at_s * NS)) == pytest.approx(position[0], rel=1e-5, abs=1e-3)
        assert motion.speed_at(round(at_s * NS)) == pytest.approx(velocity[0], rel=1e-4, abs=1e-2)


@given(SIZES, st.floats(0.01, 0.99))
def test_it_tells_when_it_passes_a_place(sizes: tuple[int, float, float, float], share: float) -> None:
    way, speed, accel, jerk = sizes
    motion = move(0, 0, way, speed, accel, jerk)
    if way == 0:
        return
    at_ns = motion.when_at(way * share)
    assert at_ns is not None
    assert motion.steps_at(at_ns) == pytest.approx(way * share, abs=1e-3)


def ringing_deg(jerk_deg_s3: float | None, ring_hz: float) -> float:
    """How far the head still swings after a move of 20 degrees."""
    spec = AxisSpec(100.0, jerk_deg_s3=jerk_deg_s3)
    head = SimulatedHead(HeadSpec(spec, spec, ring_hz, 0.001, 0.01), 0, 0)
    jerk = jerk_deg_s3 and jerk_deg_s3 * 100.0
    head.pan.begin(move(0, 0, 2000, 3000.0, 4000.0, jerk))
    return head.motion_bound_px(head.pan.motion.end_ns) * 0.01


def test_ramps_that_last_whole_periods_leave_nothing_ringing() -> None:
    """A ramp of the acceleration over a whole period of the ringing excites nothing (Thomson and Dahleh, chapter 4)."""
    rise_s = 0.25
    calm = ringing_deg(40.0 / rise_s, 1 / rise_s)
    assert calm >= 0  # the bound adds amplitudes and is too coarse; the swing itself can tell
    spec = AxisSpec(10_000.0)  # so fine that single steps do not count
    swings = {}
    for hz in (1 / rise_s, 1.5 / rise_s):
        head = SimulatedHead(HeadSpec(spec, spec, hz, 1e-6, 0.01), 0, 0)
        head.pan.begin(move(0, 0, 200_000, 300_000.0, 400_000.0, 400_000.0 / rise_s))
        end_ns = head.pan.motion.end_ns
        swings[hz] = head.motion_px(end_ns, end_ns + round(2 / hz * NS)) * 0.01
    assert swings[1 / rise_s] < 0.02 * swings[1.5 / rise_s]


def test_an_axis_with_limited_jerk_arrives() -> None:
    axis = SimulatedAxis(AxisSpec(100.0, jerk_deg_s3=200.0), 0, Random(1))
    axis.begin(move(0, 0, -1234, 2000.0, 4000.0, 20_000.0))
    assert axis.angle_deg(axis.motion.end_ns) == -12.34
    assert math.isclose(axis.motion.speed_at(axis.motion.end_ns), 0.0)
