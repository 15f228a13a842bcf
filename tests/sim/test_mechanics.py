"""Everything between pulses and pose: play, slips, stalls, wobble, lean, wind and the torque of a motor."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from protocol.units import NS
from sim.axis import AxisSpec, SimulatedAxis
from sim.head import HeadSpec, SimulatedHead
from sim.lean import leaned
from sim.motors import move
from sim.torque import Drive
from sim.wind import Gust, Wind

PER_DEGREE = 100.0
PLAIN = AxisSpec(PER_DEGREE)


def moved(axis: SimulatedAxis, target: int, begin_ns: int, speed: float = 1000.0, accel: float = 2000.0) -> int:
    """Move the pulses to a step. Returns when they end."""
    axis.begin(move(begin_ns, round(axis.motion.steps_at(begin_ns)), target, speed, accel))
    return axis.motion.end_ns


@given(st.lists(st.integers(-3000, 3000), min_size=1, max_size=8), st.floats(0, 2))
def test_play_is_a_hysteresis(targets: list[int], play_deg: float) -> None:
    """The head rests while the rotor crosses the play, and then follows half the play behind."""
    axis, now_ns = SimulatedAxis(AxisSpec(PER_DEGREE, play_deg), 0, Random(1)), 0
    head_deg = 0.0
    for target in targets:
        now_ns = moved(axis, target, now_ns)
        head_deg = min(max(head_deg, target / PER_DEGREE - play_deg / 2), target / PER_DEGREE + play_deg / 2)
        assert axis.angle_deg(now_ns) == pytest.approx(head_deg, abs=1e-9)


def test_approached_from_one_side_play_does_no_harm() -> None:
    axis = SimulatedAxis(AxisSpec(PER_DEGREE, play_deg=0.5), 0, Random(1))
    seen, now_ns = set(), 0
    for start in (-4000, 0, 900, 1500):
        now_ns = moved(axis, start, now_ns)
        now_ns = moved(axis, 1800, now_ns)
        seen.add(round(axis.angle_deg(now_ns), 9))
    assert seen == {18.0 - 0.25}


def test_lost_steps_stay_lost() -> None:
    axis = SimulatedAxis(PLAIN, 0, Random(1))
    now_ns = moved(axis, 1000, 0)
    axis.lose(now_ns, 40)
    assert axis.angle_deg(now_ns) == pytest.approx(9.6)
    now_ns = moved(axis, 0, now_ns)
    assert axis.angle_deg(now_ns) == pytest.approx(-0.4)
    assert axis.flag_edge_steps(up=True) == pytest.approx(40 - 0.4)


def test_a_stalled_rotor_stands_until_the_next_motion() -> None:
    axis = SimulatedAxis(PLAIN, 0, Random(1))
    end_ns = moved(axis, 1000, 0)
    half_ns = end_ns // 2
    axis.stall(half_ns)
    where = axis.angle_deg(half_ns)
    assert axis.angle_deg(end_ns) == where < 10
    end_ns = moved(axis, 2000, end_ns)
    assert axis.angle_deg(end_ns) == pytest.approx(where + 10)


def test_wobble_comes_back_once_per_turn_and_is_nothing_at_zero() -> None:
    axis = SimulatedAxis(AxisSpec(PER_DEGREE, wobble_deg=0.05), 0, Random(1))
    now_ns, errors = 0, []
    for degrees in range(0, 720, 15):
        now_ns = moved(axis, round(degrees * PER_DEGREE), now_ns)
        errors.append(axis.angle_deg(now_ns) - degrees)
    assert errors[0] == 0
    assert errors[:24] == pytest.approx(errors[24:48], abs=1e-9)
    assert max(errors) - min(errors) == pytest.approx(0.1, rel=1e-3)


@given(st.floats(-175, 175), st.floats(-80, 80), st.floats(0, 10), st.floats(-180, 180))
def test_a_leaning_base_is_a_rotation(yaw: float, pitch: float, lean: float, toward: float) -> None:
    """Against scipy's rotations: about the horizontal axis to the left of the direction in which it leans."""
    true_yaw, true_pitch = leaned(yaw, pitch, lean, toward)

    def direction(yaw_deg: float, pitch_deg: float) -> np.ndarray:
        # x forward, y to the right, z down: turning about z is yaw to the right.
        return Rotation.from_euler("ZY", [yaw_deg, pitch_deg], degrees=True).apply([1, 0, 0])

    side = [-math.sin(math.radians(toward)), math.cos(math.radians(toward)), 0]
    wanted = Rotation.from_rotvec(-math.radians(lean) * np.array(side)).apply(direction(yaw, pitch))
    assert direction(true_yaw, true_pitch) == pytest.approx(wanted, abs=1e-9)
    assert abs(true_yaw - yaw) <= 180


def test_a_leaning_base_looks_lower_where_it_leans() -> None:
    assert leaned(40, 0, 2, 40) == pytest.approx((40, -2))
    assert leaned(220, 0, 2, 40) == pytest.approx((220, 2))
    assert leaned(130, 0, 2, 40) == pytest.approx((130, 0))


def test_a_motor_gives_way_where_the_line_says() -> None:
    """Needs 0.02 + 0.1 x 40 degrees/s^2 in radians = 0.0898 of 0.2 Nm: enough up to 55 % of 60 degrees per second."""
    drive = Drive(holding_nm=0.2, no_load_deg_s=60.0, inertia_kg_m2=0.1, imbalance_nm=0.02)
    top = 60 * (1 - (0.02 + 0.1 * math.radians(40)) / 0.2)
    assert drive.top_speed_deg_s(40) == pytest.approx(top)
    slow, fast = (move(0, 0, 9000, speed * PER_DEGREE, 4000.0) for speed in (top - 0.1, top + 0.1))
    assert drive.stalls_ns(slow, PER_DEGREE) is None
    assert drive.stalls_ns(fast, PER_DEGREE) == pytest.approx(top / 40 * NS, rel=1e-6)
    weaker, weakest = (replace(drive, holding_nm=0.2 * share) for share in (0.9, 1e-6))
    assert weaker.stalls_ns(slow, PER_DEGREE) is not None
    assert weakest.stalls_ns(slow, PER_DEGREE) == 0
    axis = SimulatedAxis(AxisSpec(PER_DEGREE, drive=drive), 0, Random(1))
    end_ns = moved(axis, 9000, 0, speed=50 * PER_DEGREE, accel=4000.0)
    assert axis.angle_deg(end_ns) == pytest.approx(top**2 / (2 * 40), abs=0.02)  # v^2 / 2a


def test_gusts_come_from_the_seed_and_can_be_asked_for_in_any_order() -> None:
    one, other = Wind(3, every_s=20.0, peak_deg=0.2), Wind(3, every_s=20.0, peak_deg=0.2)
    moments = range(0, 300 * NS, NS // 3)
    forward = [one.offset_deg(moment) for moment in moments]
    assert forward == [other.offset_deg(moment) for moment in reversed(moments)][::-1]
    assert 0.05 < max(abs(yaw) for yaw, _ in forward) <= 0.6
    third = Wind(4, every_s=20.0, peak_deg=0.2)
    assert [third.offset_deg(moment) for moment in moments] != forward
    assert not Wind(1).blows


def test_a_gust_moves_the_picture_and_the_truth_knows() -> None:
    head = SimulatedHead(HeadSpec(PLAIN, PLAIN, ring_hz=8.0, ring_damping=0.05, pixel_deg=0.01), 0, 0)
    assert head.motion_bound_px(10 * NS) == 0
    head.wind.add(Gust(10 * NS, 2.0, 0.3))
    assert head.motion_bound_px(10 * NS) == math.inf
    assert head.motion_px(10 * NS, 12 * NS) > 20
    assert head.motion_px(13 * NS, 14 * NS) == 0


def test_a_limit_is_met_when_the_head_is_there() -> None:
    axis = SimulatedAxis(AxisSpec(PER_DEGREE, play_deg=0.2, limits_deg=(-30.0, 30.0)), 0, Random(1))
    assert axis.limit_met_ns() is None
    moved(axis, 2900, 0)
    assert axis.limit_met_ns() is None
    end_ns = moved(axis, 5000, axis.motion.end_ns)
    met_ns = axis.limit_met_ns()
    assert met_ns is not None
    assert met_ns < end_ns
    assert axis.angle_deg(met_ns) == pytest.approx(30, abs=0.011)


def test_the_flag_scatters_as_much_as_it_is_said_to() -> None:
    axis = SimulatedAxis(AxisSpec(PER_DEGREE, flag_scatter_deg=0.02), 0, Random(1))
    edges = [axis.flag_edge_steps(up=True) / PER_DEGREE for _ in range(4000)]
    assert np.std(edges) == pytest.approx(0.02, rel=0.05)
    assert np.mean(edges) == pytest.approx(-0.004, abs=0.001)
