"""Stopping out of a motion: on the next whole step after the braking way v^2 / 2A, never backward."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sim.motors import NS, Motion, at_rest, move, stop

SPEED, ACCEL = 4000, 9000
MOTIONS = st.builds(
    lambda start, distance: move(NS, start, start + distance, SPEED, ACCEL),
    st.integers(-50_000, 50_000),
    st.integers(2000, 50_000) | st.integers(-50_000, -2000),
)


def moment(motion: Motion, share: float) -> int:
    return motion.begin_ns + round((motion.end_ns - motion.begin_ns) * share)


# Motors that barely turn (the first and last hundredth of a motion) are left to the tests further down.
@given(MOTIONS, st.floats(0.01, 0.99), st.floats(ACCEL, 5 * ACCEL))
def test_stops_within_the_braking_way_and_a_step(motion: Motion, share: float, accel: float) -> None:
    now_ns = moment(motion, share)
    speed, steps = motion.speed_at(now_ns), motion.steps_at(now_ns)
    stopping = stop(motion, now_ns, accel)
    way = abs(stopping.target - steps)
    braking_way = speed * speed / (2 * accel)  # Biagiotti and Melchiorri 2008, section 3.2
    assert braking_way - 1e-6 <= way <= braking_way + 1 + 1e-6
    assert stopping.steps_at(stopping.end_ns) == stopping.target
    assert stopping.speed_at(stopping.end_ns) == 0


@given(MOTIONS, st.floats(0.01, 0.99), st.floats(ACCEL, 5 * ACCEL))
def test_goes_on_from_where_it_is_and_never_reverses(motion: Motion, share: float, accel: float) -> None:
    now_ns = moment(motion, share)
    sign = math.copysign(1, motion.speed_at(now_ns))
    stopping = stop(motion, now_ns, accel)
    assert stopping.begin_ns == now_ns
    assert stopping.steps_at(now_ns) == pytest.approx(motion.steps_at(now_ns), abs=1e-6)
    assert stopping.speed_at(now_ns) == pytest.approx(motion.speed_at(now_ns), abs=1e-6)
    before_steps, before_speed = sign * stopping.steps_at(now_ns), sign * stopping.speed_at(now_ns)
    for part in range(1, 41):
        later_ns = now_ns + (stopping.end_ns - now_ns) * part // 40
        steps, speed = sign * stopping.steps_at(later_ns), sign * stopping.speed_at(later_ns)
        assert steps >= before_steps - 1e-6
        assert -1e-6 <= speed <= before_speed + 1e-6
        before_steps, before_speed = steps, speed


@given(MOTIONS, st.floats(0.01, 0.99), st.floats(ACCEL, 5 * ACCEL))
def test_brakes_no_harder_than_asked(motion: Motion, share: float, accel: float) -> None:
    now_ns = moment(motion, share)
    assume(motion.speed_at(now_ns) != 0)
    (leg,) = stop(motion, now_ns, accel).legs
    assert abs(leg.accel) <= accel * (1 + 1e-9)


@given(MOTIONS, st.floats(0.1, 0.9), st.floats(0.1, 0.9))
def test_a_stop_out_of_a_stop_ends_no_farther_than_a_step_beyond(motion: Motion, share: float, again: float) -> None:
    first = stop(motion, moment(motion, share), ACCEL)
    second = stop(first, moment(first, again), ACCEL)
    assert abs(second.target - first.target) <= 1


def test_at_rest_it_stays() -> None:
    assert stop(at_rest(12), 5 * NS, ACCEL) == at_rest(12, 5 * NS)
    motion = move(0, 0, 5000, SPEED, ACCEL)
    assert stop(motion, motion.end_ns, ACCEL).target == 5000
    assert stop(motion, motion.end_ns + NS, ACCEL).legs == ()


def test_before_the_first_pulse_it_stays() -> None:
    motion = move(0, 40, 5000, SPEED, ACCEL)
    assert stop(motion, 0, ACCEL) == at_rest(40, 0)
