"""Stopping out of a motion: on the whole step nearest to the braking distance v^2 / 2A, never backward."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.units import NS
from sim.motors import Motion, at_rest, move, stop

SPEED, ACCEL = 4000, 9000
MOTIONS = st.builds(
    lambda start, distance: move(NS, start, start + distance, SPEED, ACCEL),
    st.integers(-50_000, 50_000),
    st.integers(2000, 50_000) | st.integers(-50_000, -2000),
)


def moment(motion: Motion, share: float) -> int:
    return motion.begin_ns + round((motion.end_ns - motion.begin_ns) * share)


# Anywhere in a motion, and in its first and last nanoseconds, where a motor barely turns.
MOMENTS = st.floats(0, 1) | st.integers(-(10**6), 10**6)


def moment_of(motion: Motion, when: float) -> int:
    """A time in the motion: a share of it, or nanoseconds after its beginning or, if negative, before its end."""
    if isinstance(when, float):
        return moment(motion, when)
    return motion.begin_ns + when if when >= 0 else motion.end_ns + when


def braking_way(motion: Motion, now_ns: int, accel: float) -> float:
    """v^2 / 2a (Biagiotti and Melchiorri 2008, section 3.2)."""
    return motion.speed_at(now_ns) ** 2 / (2 * accel)


@given(MOTIONS, MOMENTS, st.floats(ACCEL, 5 * ACCEL))
def test_stops_within_half_a_step_of_the_braking_way(motion: Motion, when: float, accel: float) -> None:
    now_ns = moment_of(motion, when)
    sign = math.copysign(1, motion.target - motion.steps_at(motion.begin_ns))
    steps, way = motion.steps_at(now_ns), braking_way(motion, now_ns, accel)
    stopping = stop(motion, now_ns, accel)
    assert sign * (motion.target - stopping.target) >= 0  # never beyond its target
    if way >= 1 + 1e-9:
        assert abs(sign * (stopping.target - steps) - way) <= 0.5 + 1e-6
    elif way < 1 - 1e-9:
        assert stopping == at_rest(round(steps), now_ns)
    assert stopping.steps_at(stopping.end_ns) == stopping.target
    assert stopping.speed_at(stopping.end_ns) == 0


@given(MOTIONS, MOMENTS, st.floats(ACCEL, 5 * ACCEL))
def test_goes_on_from_where_it_is_and_never_reverses(motion: Motion, when: float, accel: float) -> None:
    now_ns = moment_of(motion, when)
    sign = math.copysign(1, motion.speed_at(now_ns))
    stopping = stop(motion, now_ns, accel)
    assert stopping.begin_ns == now_ns
    if not stopping.legs:  # less than a step from rest: it is already on a whole step
        assert abs(stopping.target - motion.steps_at(now_ns)) <= 0.5
        return
    assert stopping.steps_at(now_ns) == pytest.approx(motion.steps_at(now_ns), abs=1e-6)
    assert stopping.speed_at(now_ns) == pytest.approx(motion.speed_at(now_ns), abs=1e-6)
    before_steps, before_speed = sign * stopping.steps_at(now_ns), sign * stopping.speed_at(now_ns)
    for part in range(1, 41):
        later_ns = now_ns + (stopping.end_ns - now_ns) * part // 40
        steps, speed = sign * stopping.steps_at(later_ns), sign * stopping.speed_at(later_ns)
        assert steps >= before_steps - 1e-6
        assert -1e-6 <= speed <= before_speed + 1e-6
        before_steps, before_speed = steps, speed


@given(MOTIONS, MOMENTS, st.floats(ACCEL, 5 * ACCEL))
def test_brakes_as_hard_as_asked_but_for_half_a_step(motion: Motion, when: float, accel: float) -> None:
    now_ns = moment_of(motion, when)
    way = braking_way(motion, now_ns, accel)
    stopping = stop(motion, now_ns, accel)
    assume(stopping.legs)
    (leg,) = stopping.legs
    hardest = 2 * accel if way <= 1 else accel * way / (way - 0.5)
    assert accel * way / (way + 0.5) * (1 - 1e-6) <= abs(leg.accel) <= min(2 * accel, hardest) * (1 + 1e-6)


@given(MOTIONS, MOMENTS, st.floats(ACCEL, 5 * ACCEL))
def test_braking_never_takes_much_longer_than_asked(motion: Motion, when: float, accel: float) -> None:
    """v / a, and at most half as long again if the distance is rounded up to a whole step."""
    now_ns = moment_of(motion, when)
    seconds = (stop(motion, now_ns, accel).end_ns - now_ns) / NS
    assert seconds <= 1.5 * abs(motion.speed_at(now_ns)) / accel + 2e-9


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("target", [1, 2, 3, 700])
def test_every_nanosecond_close_to_rest(sign: int, target: int) -> None:
    motion = move(0, 0, sign * target, SPEED, ACCEL)
    for off_ns in (0, 1, 2, 10, 1000, 10**5, 10**6):
        for now_ns, place in ((off_ns, 0), (motion.end_ns - off_ns, sign * target)):
            stopping = stop(motion, now_ns, ACCEL)
            assert (stopping.target, stopping.end_ns) == (place, now_ns)


@given(MOTIONS, st.floats(0.01, 0.99), st.floats(0.01, 0.99))
def test_a_stop_out_of_a_stop_ends_within_a_step_and_never_beyond(motion: Motion, share: float, again: float) -> None:
    first = stop(motion, moment(motion, share), ACCEL)
    sign = math.copysign(1, first.target - motion.steps_at(motion.begin_ns))
    second = stop(first, moment(first, again), ACCEL)
    assert 0 <= sign * (first.target - second.target) <= 1


@given(MOTIONS, st.floats(0.01, 0.99), st.floats(0.55, 1))
def test_a_softer_stop_does_not_lead_beyond_the_target(motion: Motion, share: float, softer: float) -> None:
    """If the motion itself already brakes harder than requested, it ends at its target at most."""
    now_ns = moment(motion, share)
    sign = math.copysign(1, motion.speed_at(now_ns))
    way = braking_way(motion, now_ns, softer * ACCEL)
    left = sign * (motion.target - motion.steps_at(now_ns))
    stopping = stop(motion, now_ns, softer * ACCEL)
    assert sign * (motion.target - stopping.target) >= 0
    if way > left + 1 and way > 1:
        assert stopping.target == motion.target


def test_at_rest_it_stays() -> None:
    assert stop(at_rest(12), 5 * NS, ACCEL) == at_rest(12, 5 * NS)
    motion = move(0, 0, 5000, SPEED, ACCEL)
    assert stop(motion, motion.end_ns, ACCEL).target == 5000
    assert stop(motion, motion.end_ns + NS, ACCEL).legs == ()


def test_before_the_first_pulse_it_stays() -> None:
    motion = move(0, 40, 5000, SPEED, ACCEL)
    assert stop(motion, 0, ACCEL) == at_rest(40, 0)
