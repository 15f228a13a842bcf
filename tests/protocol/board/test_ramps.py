"""Moves take the time of the straight ramp and make exactly the requested steps.

Rest to rest: T = d/V + V/A when d A >= V^2, else T = 2 sqrt(d/A) (L. Biagiotti and C. Melchiorri, *Trajectory Planning
for Automatic Machines and Robots*, Springer 2008, section 3.2). Second opinion: the package ruckig with unlimited jerk.
Times of the steps of a ramp: D. Austin, "Generate stepper-motor speed profiles in real time", Embedded Systems
Programming, January 2005: the n-th step is at sqrt(2 n / A).
"""

from __future__ import annotations

import math
from ctypes import CDLL

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory

from protocol.messages import Accepted, BoardState, Move, Outcome, SetAxis, Stop
from protocol.units import AxisId, Steps
from tests.protocol.board.core import Core
from tests.protocol.board.talker import Talker

FAR = 2_000_000_000
WITHIN_MS = 4
"""The speed changes once a millisecond at both ends of the move, and its end is reported at a whole one."""
LONGEST_MS = 60_000
FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture,)


def ideal_s(steps: int, speed: int, accel: int) -> float:
    """By ruckig."""
    parameters = InputParameter(1)
    parameters.current_position = parameters.current_velocity = parameters.current_acceleration = [0.0]
    parameters.target_position = [float(steps)]
    parameters.target_velocity = parameters.target_acceleration = [0.0]
    parameters.max_velocity, parameters.max_acceleration = [float(speed)], [float(accel)]
    parameters.max_jerk = [math.inf]
    trajectory = Trajectory(1)
    Ruckig(1).calculate(parameters, trajectory)
    return float(trajectory.duration)


def ready(library: CDLL, speed: int, accel: int) -> Talker:
    """A board at zero without flags, so that referencing takes no time."""
    talker = Talker(Core(library, fitted=0, place=(0, 0), camera_ms=None))
    talker.greet()
    talker.configure(speed, accel, FAR)
    talker.arm(2**32 - 1)
    talker.reference(speed)
    return talker


def wait_arrival(talker: Talker, most_ms: int = LONGEST_MS * 2) -> int:
    """Milliseconds until the board is ready again."""
    core = talker.machine
    assert isinstance(core, Core)
    begun = core.now_ms
    while core.state != BoardState.READY:
        core.run_fast(1)
        assert core.now_ms - begun < most_ms
    talker.listen()
    return core.now_ms - begun


ROWS = [
    (20_000, 10_000, 20_000),
    (9_000, 3_000, 6_000),
    (1_000, 3_000, 6_000),
    (100, 3_000, 6_000),
    (18_000, 6_000, 4_000),
    (1, 1_000, 2_000),
    (2, 1_000, 2_000),
    (7, 20_000, 500),
    (20_000, 20_000, 200_000),
    (300, 17, 23),
]


@pytest.mark.parametrize(("steps", "speed", "accel"), ROWS)
def test_duration(library: CDLL, steps: int, speed: int, accel: int) -> None:
    talker = ready(library, speed, accel)
    for target in (steps, 0, -steps):
        talker.order(talker.move(target, 0))
        assert abs(wait_arrival(talker) - ideal_s(steps, speed, accel) * 1000) <= WITHIN_MS


def test_the_ideal_of_the_book_and_of_the_package_agree() -> None:
    for steps, speed, accel in ROWS:
        reaches = steps * accel >= speed * speed
        book = steps / speed + speed / accel if reaches else 2 * math.sqrt(steps / accel)
        assert abs(ideal_s(steps, speed, accel) - book) < 1e-9


def test_the_steps_of_a_ramp_fall_where_they_should(library: CDLL) -> None:
    """The n-th step comes half a step early, because a motor that rests on whole steps makes it half-way."""
    accel = 500
    talker = ready(library, 20_000, accel)
    core = talker.machine
    assert isinstance(core, Core)
    talker.order(talker.move(2000, 0))
    begun = core.now_ms
    for n in range(1, 500):
        while core.places[0] < n:
            core.run_fast(1)
        assert abs(core.now_ms - begun - 1000 * math.sqrt(2 * (n - 0.5) / accel)) <= 2.5


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=60)
@given(
    speed=st.integers(20, 20_000),
    accel=st.integers(50, 100_000),
    turns=st.lists(st.tuples(st.integers(-5000, 5000), st.integers(-5000, 5000)), min_size=1, max_size=4),
)
def test_every_move_makes_exactly_its_steps(library: CDLL, speed: int, accel: int, turns: list[tuple[int, int]]) -> None:
    talker = ready(library, speed, accel)
    core = talker.machine
    assert isinstance(core, Core)
    here = (0, 0)
    for turn in turns:
        ideal_ms = max(
            ideal_s(abs(to - at), speed, accel) * 1000 if to != at else 0 for to, at in zip(turn, here, strict=True)
        )
        if ideal_ms > LONGEST_MS:
            continue
        before = core.steps
        talker.order(talker.move(*turn))
        took_ms = wait_arrival(talker)
        assert core.places == turn
        made = tuple(after - old for after, old in zip(core.steps, before, strict=True))
        assert made == tuple(abs(to - at) for to, at in zip(turn, here, strict=True))
        assert abs(took_ms - ideal_ms) <= WITHIN_MS + ideal_ms * 0.0005
        here = turn
        status = talker.status()
        assert ((status.pan_steps, status.tilt_steps), status.finished_outcome) == (turn, Outcome.ARRIVED)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=40)
@given(
    target=st.tuples(st.integers(-3000, 3000), st.integers(-3000, 3000)),
    speed=st.integers(100, 20_000),
    accel=st.integers(200, 100_000),
    after_ms=st.integers(0, 3000),
)
def test_a_stop_anywhere_keeps_the_count(
    library: CDLL, target: tuple[int, int], speed: int, accel: int, after_ms: int
) -> None:
    talker = ready(library, speed, accel)
    core = talker.machine
    assert isinstance(core, Core)
    talker.order(talker.move(*target))
    core.run_fast(after_ms)
    talker.order(Stop())
    status = talker.await_disarmed(most_ms=120_000)
    assert (status.pan_steps, status.tilt_steps) == core.places
    assert all(0 <= at * (1 if to > 0 else -1) <= abs(to) for at, to in zip(core.places, target, strict=True))


@pytest.mark.parametrize("low", [True, False])
def test_the_ends_of_the_range(library: CDLL, low: bool) -> None:
    """Farther apart than a signed number can express; only the beginning is checked, because the whole would take
    days.
    """
    talker = ready(library, 20_000, 100_000)
    talker.order(Stop())
    for axis in AxisId:
        talker.order(SetAxis(talker.next_id(), axis, Steps(-(2**31)), Steps(2**31 - 1), 20_000, 100_000))
    talker.arm(2**32 - 1)
    target = Steps(-(2**31) if low else 2**31 - 1)
    assert talker.ask(Move(talker.next_id(), target, target)) == Accepted()
    talker.run(2000)
    assert talker.machine.now_ms > 0
    status = talker.status()
    wanted = (-1 if low else 1) * (20_000 * 2 - 2000)
    assert abs(status.pan_steps - wanted) < 100
    assert status.pan_steps == status.tilt_steps


def test_slow_speeds_and_weak_accelerations_go_on(library: CDLL) -> None:
    talker = ready(library, 1, 1)
    talker.order(talker.move(5, -5))
    assert abs(wait_arrival(talker) - 6000) <= WITHIN_MS
