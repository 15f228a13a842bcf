"""Ringing against an independent solution of the same equation, and against the textbooks' numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.motors import Motion, RampSegment, at_rest, move, stop

PER_DEGREE = 1000.0
PIXEL_DEG = 0.01


def head_of(ring_hz: float, damping: float, per_degree: float = PER_DEGREE) -> SimulatedHead:
    return SimulatedHead(HeadSpec(AxisSpec(per_degree), AxisSpec(per_degree), ring_hz, damping, PIXEL_DEG), 0, 0)


def ringing_deg(head: SimulatedHead, now_ns: int) -> float:
    """How far the camera's yaw lags behind the ramp."""
    return head.pose_deg(now_ns)[0] - head.pan.motion.steps_at(now_ns) / head.pan.steps_per_degree


def lag_by_lsim(motion: Motion, ring_hz: float, damping: float, seconds: float) -> tuple[list[int], list[float]]:
    """x'' + 2 z w x' + w^2 x = -a(t): a mass on a damped spring, driven at its foot, in degrees."""
    omega = 2 * math.pi * ring_hz
    count = 20_001
    times = np.linspace(0, seconds, count)
    accel = np.zeros(count)
    for at_ns, change in motion.accelerations():
        accel[times * NS >= at_ns] += change / PER_DEGREE
    system = ([-1.0], [1.0, 2 * damping * omega, omega**2])
    _, answer, _ = signal.lsim(system, accel, times, interp=False)
    wanted = range(100, count, 100)
    return [round(times[i] * NS) for i in wanted], [float(answer[i]) for i in wanted]


@pytest.mark.parametrize(("ring_hz", "damping"), [(8.0, 0.05), (3.0, 0.01), (5.0, 0.3), (2.0, 0.9)])
@pytest.mark.parametrize("target", [20_000, -700])
def test_rings_like_a_mass_on_a_spring(ring_hz: float, damping: float, target: int) -> None:
    motion = move(0, 0, target, 30_000, 40_000)
    head = head_of(ring_hz, damping)
    head.pan.begin(motion)
    moments, lags = lag_by_lsim(motion, ring_hz, damping, 3.0)
    biggest = max(map(abs, lags))
    assert biggest > 0.01
    for now_ns, lag in zip(moments, lags, strict=True):
        assert ringing_deg(head, now_ns) == pytest.approx(lag, abs=0.01 * biggest)


# Residual vibration of an undamped mode after a pulse of acceleration that lasts Ta: 2a / w^2 |sin(w Ta / 2)|
# (Singer and Seering, ASME J. Dyn. Sys. Meas. Control 112:76, 1990, describe the mode; the numbers for 5 Hz and
# a = 1 agree with scipy.signal.lsim). Nil when the pulse lasts whole periods.
RESIDUALS = [(0.1, 2.02642e-3), (0.15, 1.43290e-3), (0.2, 0.0), (0.3, 2.02642e-3), (0.4, 0.0)]


@pytest.mark.parametrize(("pulse_s", "amplitude"), RESIDUALS)
def test_a_ramp_of_whole_periods_leaves_no_vibration(pulse_s: float, amplitude: float) -> None:
    fine = 1e6  # steps per degree, so many that single ones do not count
    head = head_of(5.0, 1e-6, per_degree=fine)
    # One pulse of 1 degree/s^2; the motor then continues at constant speed for longer than is looked at.
    speed, on_s = fine * pulse_s, 0.5
    way = fine * pulse_s**2 / 2
    legs = (RampSegment(0.0, 0.0, 0.0, fine, pulse_s), RampSegment(pulse_s, way, speed, 0.0, on_s))
    head.pan.begin(Motion(0, round((pulse_s + on_s) * NS), round(way + speed * on_s), legs))
    begin_ns = round(pulse_s * NS) + 1
    lags = [ringing_deg(head, begin_ns + i * NS // 1000) for i in range(400)]  # two periods
    assert (max(lags) - min(lags)) / 2 == pytest.approx(amplitude, abs=2e-6)


# Logarithmic decrement 2 pi z / sqrt(1 - z^2) (Thomson and Dahleh, *Theory of Vibration with Applications*,
# 5th ed., section 2.6-2.7; the first row is their example 2.8-1, quoted from memory).
@pytest.mark.parametrize(
    ("ring_hz", "damping", "decrement"), [(34.0294 / math.tau, 0.068059, 0.428620), (8.0, 0.03, 0.1885804)]
)
def test_the_swing_dies_away_by_the_logarithmic_decrement(ring_hz: float, damping: float, decrement: float) -> None:
    head = head_of(ring_hz, damping)
    motion = move(0, 0, 500, 30_000, 40_000)
    head.pan.begin(motion)
    period_ns = NS / ring_hz / math.sqrt(1 - damping**2)
    begin_ns = motion.end_ns + 1
    for cycles in (1, 3):
        first = ringing_deg(head, begin_ns)
        later = ringing_deg(head, begin_ns + round(cycles * period_ns))
        assert math.log(first / later) / cycles == pytest.approx(decrement, abs=2e-5)


MOVES = st.lists(
    st.tuples(st.integers(-30_000, 30_000), st.integers(-30_000, 30_000), st.just(0.0) | st.floats(0, 2.0)),
    min_size=1,
    max_size=7,
)


@settings(max_examples=60)
@given(MOVES, st.floats(1.0, 20.0), st.floats(0.01, 0.9), st.floats(0.001, 2.0))
def test_the_bound_is_never_exceeded(
    moves: list[tuple[int, int, float]], ring_hz: float, damping: float, shutter_s: float
) -> None:
    head = head_of(ring_hz, damping)
    now_ns = 0
    for pan, tilt, wait_s in moves:
        for axis, target in ((head.pan, pan), (head.tilt, tilt)):
            axis.begin(move(now_ns, axis.motion.target, target, 25_000, 35_000))
        assert now_ns >= max(head.pan.motion.end_ns, head.tilt.motion.end_ns) or math.isinf(head.motion_bound_px(now_ns))
        now_ns = max(head.pan.motion.end_ns, head.tilt.motion.end_ns) + round(wait_s * NS)
    bound = head.motion_bound_px(now_ns)
    assert math.isfinite(bound)
    assert head.motion_px(now_ns, now_ns + round(shutter_s * NS)) <= bound + 1e-9


def test_the_bound_is_not_much_too_large() -> None:
    """After a long ramp only its end still rings, and the first swing comes close to the bound."""
    head = head_of(10.0, 0.05)
    motion = move(0, 0, 60_000, 20_000, 10_000)
    head.pan.begin(motion)
    bound = head.motion_bound_px(motion.end_ns)
    assert 0.85 * bound < head.motion_px(motion.end_ns, motion.end_ns + NS) <= bound
    assert math.isinf(head.motion_bound_px(motion.end_ns - 1))


def test_the_motion_seen_is_the_motion_there_is() -> None:
    """Compared with poses a hundred times as close together."""
    head = head_of(8.0, 0.05)
    motion = move(0, 0, 3000, 30_000, 40_000)
    head.pan.begin(motion)
    begin_ns, end_ns = motion.end_ns, motion.end_ns + NS // 5
    fine = [head.pose_deg(begin_ns + (end_ns - begin_ns) * i // 5000)[0] for i in range(5001)]
    exact = (max(fine) - min(fine)) / PIXEL_DEG
    assert exact > 1
    assert head.motion_px(begin_ns, end_ns) == pytest.approx(exact, rel=0.03)


@settings(max_examples=60)
@given(st.floats(0.02, 0.98), st.floats(0.02, 0.98), st.sampled_from([500, 20_000, -30_000]))
def test_a_motion_cut_short_leaves_no_offset(share: float, again: float, target: int) -> None:
    head = head_of(6.0, 0.05)
    head.pan.begin(move(0, 0, target, 25_000, 35_000))
    for part in (share, again):
        motion = head.pan.motion
        now_ns = motion.begin_ns + round((motion.end_ns - motion.begin_ns) * part)
        head.pan.begin(stop(motion, now_ns, 35_000))
    end_ns = head.pan.motion.end_ns
    assert ringing_deg(head, end_ns + 60 * NS) == pytest.approx(0, abs=1e-9)


def jolted_by_lsim(
    motion: Motion, cut_ns: int, ring_hz: float, damping: float, seconds: float
) -> tuple[list[int], list[float]]:
    """The same equation with the motion up to `cut_ns`, then an impulse of acceleration that removes all its speed."""
    omega = 2 * math.pi * ring_hz
    step_s = 1e-4
    times = np.arange(0, seconds, step_s)
    accel = np.zeros(len(times))
    for at_ns, change in motion.accelerations():
        accel[times * NS >= at_ns] += change / PER_DEGREE
    accel[times * NS >= cut_ns] = 0.0
    system = ([-1.0], [1.0, 2 * damping * omega, omega**2])
    _, answer, _ = signal.lsim(system, accel, times, interp=False)
    _, knock = signal.impulse(system, T=times)
    cut = round(cut_ns / NS / step_s)
    answer[cut:] += -motion.speed_at(cut_ns) / PER_DEGREE * knock[: len(times) - cut]
    wanted = range(cut + 10, len(times), 50)
    return [round(i * step_s * NS) for i in wanted], [float(answer[i]) for i in wanted]


@pytest.mark.parametrize(("ring_hz", "damping"), [(8.0, 0.05), (3.0, 0.01), (2.0, 0.9)])
@pytest.mark.parametrize("cut_ns", [NS // 5, NS, 3 * NS // 2])  # in the ramp up, at full speed, in the ramp down
@pytest.mark.parametrize("target", [28_000, -28_000])
def test_pulses_that_end_at_once_ring_like_an_impulse(ring_hz: float, damping: float, cut_ns: int, target: int) -> None:
    motion = move(0, 0, target, 30_000, 40_000)
    assert motion.end_ns > cut_ns
    head = head_of(ring_hz, damping)
    head.pan.begin(motion)
    head.pan.jolt(cut_ns)
    assert head.pan.motion == at_rest(round(motion.steps_at(cut_ns)), cut_ns)
    moments, lags = jolted_by_lsim(motion, cut_ns, ring_hz, damping, 4.0)
    biggest = max(map(abs, lags))
    assert biggest > 0.05
    for now_ns, lag in zip(moments, lags, strict=True):
        assert ringing_deg(head, now_ns) == pytest.approx(lag, abs=0.01 * biggest)


@settings(max_examples=60)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(1.0, 20.0), st.floats(0.01, 0.9), st.floats(0, 1), st.floats(0.001, 2))
def test_the_bound_holds_after_a_jolt_too(
    share: float, again: float, ring_hz: float, damping: float, wait_s: float, shutter_s: float
) -> None:
    head = head_of(ring_hz, damping)
    now_ns = 0
    for part, target in ((share, 20_000), (again, -9000)):
        for axis in (head.pan, head.tilt):
            axis.begin(move(now_ns, axis.motion.target, target, 25_000, 35_000))
        now_ns += round((head.pan.motion.end_ns - now_ns) * part)
        for axis in (head.pan, head.tilt):
            axis.jolt(now_ns)
    now_ns += round(wait_s * NS)
    assert head.motion_px(now_ns, now_ns + round(shutter_s * NS)) <= head.motion_bound_px(now_ns) + 1e-9


def test_pulses_cut_off_at_once_leave_no_offset() -> None:
    head = head_of(6.0, 0.05)
    head.pan.begin(move(0, 0, 20_000, 25_000, 35_000))
    now_ns = NS // 3
    head.pan.jolt(now_ns)
    assert abs(ringing_deg(head, now_ns + NS // 24)) > 0.1  # it does ring
    assert ringing_deg(head, now_ns + 60 * NS) == pytest.approx(0, abs=1e-9)


def test_a_jolt_at_rest_is_none() -> None:
    head = head_of(6.0, 0.05)
    head.pan.jolt(NS)
    assert head.motion_bound_px(NS) == 0
    assert head.pose_deg(NS + NS // 24) == (0, 0)


def test_many_moves_in_a_row_leave_no_offset() -> None:
    head = head_of(6.0, 0.02)
    now_ns = 0
    for number in range(1, 201):
        head.pan.begin(move(now_ns, head.pan.motion.target, (number * 7919) % 40_000, 25_000, 35_000))
        head.tilt.begin(move(now_ns, head.tilt.motion.target, (number * 104_729) % 9_000, 25_000, 35_000))
        now_ns = max(head.pan.motion.end_ns, head.tilt.motion.end_ns) + NS // 50
    assert head.pan.motion.target == (200 * 7919) % 40_000
    yaw, pitch = head.pose_deg(now_ns + 120 * NS)
    assert yaw == pytest.approx(head.pan.motion.target / PER_DEGREE, abs=1e-9)
    assert pitch == pytest.approx(head.tilt.motion.target / PER_DEGREE, abs=1e-9)


def test_the_motors_stand_on_whole_steps() -> None:
    head = head_of(1000.0, 0.9, per_degree=2.0)
    head.pan.begin(move(0, 0, 6, 1.0, 0.5))
    poses = {round(head.pose_deg(i * NS // 100)[0] * 2) for i in range(1000)}
    assert poses == set(range(7))
