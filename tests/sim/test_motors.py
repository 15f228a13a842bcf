"""The closed form of a move against other ways to compute it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory

from protocol.units import NS
from sim.motors import Motion, at_rest, move

DISTANCES = st.integers(-400_000, 400_000)
SPEEDS = st.floats(50, 20_000)
ACCELS = st.floats(50, 100_000)
STARTS = st.integers(-200_000, 200_000)


@dataclass(frozen=True)
class TimeOptimal:
    """The same move from the package ruckig, without a limit on the jerk."""

    trajectory: Trajectory

    @classmethod
    def of(cls, start: float, target: float, speed: float, accel: float) -> TimeOptimal:
        wanted = InputParameter(1)
        wanted.current_position, wanted.target_position = [start], [target]
        wanted.current_velocity = wanted.target_velocity = [0.0]
        wanted.current_acceleration = wanted.target_acceleration = [0.0]
        wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = [speed], [accel], [math.inf]
        trajectory = Trajectory(1)
        Ruckig(1).calculate(wanted, trajectory)
        return cls(trajectory)

    @property
    def seconds(self) -> float:
        return float(self.trajectory.duration)

    def at(self, seconds: float) -> tuple[float, float]:
        position, speed, _ = self.trajectory.at_time(seconds)
        return float(position[0]), float(speed[0])


def seconds_of(motion: Motion) -> float:
    return (motion.end_ns - motion.begin_ns) / NS


# Biagiotti and Melchiorri, *Trajectory Planning for Automatic Machines and Robots*, Springer 2008, section 3.2; the
# numbers are degrees there, and a step here is a thousandth of a degree.
TRAPEZOIDS = [(90, 30, 60, 3.5), (10, 30, 60, 0.816497), (1, 30, 60, 0.258199), (180, 60, 40, 4.5)]


@pytest.mark.parametrize(("distance", "speed", "accel", "seconds"), TRAPEZOIDS)
def test_the_table_of_trapezoids(distance: int, speed: int, accel: int, seconds: float) -> None:
    for sign in (1, -1):
        motion = move(0, 0, sign * distance * 1000, speed * 1000, accel * 1000)
        assert seconds_of(motion) == pytest.approx(seconds, abs=5e-7)
        assert seconds_of(motion) == pytest.approx(TimeOptimal.of(0, distance, speed, accel).seconds, abs=1e-8)


@given(STARTS, DISTANCES, SPEEDS, ACCELS)
def test_the_same_way_as_a_time_optimal_planner(start: int, distance: int, speed: float, accel: float) -> None:
    motion = move(0, start, start + distance, speed, accel)
    other = TimeOptimal.of(start, start + distance, speed, accel)
    assert seconds_of(motion) == pytest.approx(other.seconds, rel=1e-9, abs=2e-9)
    for part in range(1, 20):
        now_ns = motion.end_ns * part // 20
        position, velocity = other.at(min(now_ns / NS, other.seconds))
        assert motion.steps_at(now_ns) == pytest.approx(position, abs=1e-4)
        assert motion.speed_at(now_ns) == pytest.approx(velocity, abs=1e-3)


@given(STARTS, DISTANCES, SPEEDS, ACCELS, st.integers(0, 10 * NS))
def test_begins_and_ends_exactly(start: int, distance: int, speed: float, accel: float, begin_ns: int) -> None:
    motion = move(begin_ns, start, start + distance, speed, accel)
    assert motion.steps_at(begin_ns) == pytest.approx(start, abs=1e-9)
    assert motion.speed_at(begin_ns) == 0
    for later in (motion.end_ns, motion.end_ns + 1, motion.end_ns + 100 * NS):
        assert motion.steps_at(later) == start + distance
        assert motion.speed_at(later) == 0
    assert motion.target == start + distance


@given(STARTS, DISTANCES, SPEEDS, ACCELS)
def test_keeps_its_limits_and_never_turns_back(start: int, distance: int, speed: float, accel: float) -> None:
    motion = move(0, start, start + distance, speed, accel)
    sign = 1 if distance >= 0 else -1
    before = 0.0
    for part in range(101):
        now_ns = motion.end_ns * part // 100
        assert -1e-6 <= sign * motion.speed_at(now_ns) <= speed * (1 + 1e-9)
        way = sign * (motion.steps_at(now_ns) - start)
        assert before - 1e-6 <= way <= abs(distance) + 1e-6
        before = way


@given(STARTS, DISTANCES, SPEEDS, ACCELS)
def test_position_and_speed_have_no_jumps(start: int, distance: int, speed: float, accel: float) -> None:
    motion = move(0, start, start + distance, speed, accel)
    for at_ns, _ in motion.accelerations():
        early, late = max(0, at_ns - 10), at_ns + 10
        apart_s = (late - early) / NS
        assert abs(motion.steps_at(late) - motion.steps_at(early)) <= speed * apart_s + 1e-6
        assert abs(motion.speed_at(late) - motion.speed_at(early)) <= accel * apart_s + 1e-6


def test_fine_stepping_comes_to_the_same_place() -> None:
    """The acceleration, integrated in slices of 10 microseconds, gives speed and position."""
    motion = move(0, -500, 1700, 800, 1500)
    changes = motion.accelerations()
    position, velocity, slice_ns = -500.0, 0.0, 10_000
    for now_ns in range(0, motion.end_ns, slice_ns):
        accel = sum(change for at_ns, change in changes if at_ns <= now_ns)
        position += (velocity + accel * slice_ns / NS / 2) * slice_ns / NS
        velocity += accel * slice_ns / NS
        if now_ns % 10_000_000 == 0:
            assert motion.steps_at(now_ns + slice_ns) == pytest.approx(position, abs=0.05)
            assert motion.speed_at(now_ns + slice_ns) == pytest.approx(velocity, abs=0.05)
    assert position == pytest.approx(1700, abs=0.05)
    assert velocity == pytest.approx(0, abs=0.05)


@given(STARTS, DISTANCES, SPEEDS, ACCELS)
def test_the_steps_of_acceleration_add_up_to_nothing(start: int, distance: int, speed: float, accel: float) -> None:
    changes = move(0, start, start + distance, speed, accel).accelerations()
    assert sum(change for _, change in changes) == pytest.approx(0, abs=1e-6)
    assert [at_ns for at_ns, _ in changes] == sorted(at_ns for at_ns, _ in changes)
    assert bool(changes) == bool(distance)


@given(STARTS, DISTANCES.filter(bool), SPEEDS, ACCELS, st.floats(0.01, 0.99))
def test_when_at_is_the_moment_of_passing(start: int, distance: int, speed: float, accel: float, share: float) -> None:
    motion = move(5 * NS, start, start + distance, speed, accel)
    wanted = start + distance * share
    passing_ns = motion.when_at(wanted)
    assert passing_ns is not None
    assert 5 * NS <= passing_ns <= motion.end_ns
    assert motion.steps_at(passing_ns) == pytest.approx(wanted, abs=speed * 2e-9 + 1e-5)


def test_when_at_a_place_that_is_never_passed() -> None:
    motion = move(0, 0, 1000, 100, 100)
    assert motion.when_at(1001) is None
    assert motion.when_at(-1) is None
    assert at_rest(7).when_at(7) is None


def test_no_distance_takes_no_time() -> None:
    motion = move(42, 7, 7, 100, 100)
    assert (motion.begin_ns, motion.end_ns, motion.target) == (42, 42, 7)
    assert motion.accelerations() == []
    assert motion.steps_at(41) == motion.steps_at(43) == 7
