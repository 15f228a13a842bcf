"""A shaped Move of the core is the plain ramp, convolved with the impulses, to a step and a millisecond.

The plain ramp is that of protocol.ramp; the convolution is done here by numpy over its positions.
"""

from __future__ import annotations

from ctypes import CDLL

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from protocol.messages import Accepted, BoardState, Capability, Reason, Refused, SetShaper, Stop
from protocol.ramp import ramp_of
from protocol.shaper import Shaper, impulses_of, set_shaper, trouble
from protocol.units import AxisId
from tests.protocol.board.core import Core
from tests.protocol.board.talker import Talker
from tests.protocol.board.test_ramps import ready, wait_arrival
from tests.protocol.ramps import motion_of, numbers_of_a_command, shapers

FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture,)


def plain_steps(steps: int, speed: int, accel: int) -> NDArray[np.float64]:
    """The place of the plain ramp at each millisecond, from its own numbers, to beyond its end."""
    ramp = ramp_of(steps, speed, accel)
    t = np.arange(ramp.duration_ms + 1) / 1000
    up, down = ramp.ramp_ms / 1000, ramp.duration_ms / 1000 - t
    place = np.where(t <= up, ramp.accel_steps_s2 * t**2 / 2, ramp.speed_steps_s * (t - up / 2))
    place = np.where(down < up, steps - ramp.accel_steps_s2 * down**2 / 2, place)
    return np.concatenate([place, np.full(3000, float(steps))])


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=50)
@given(
    steps=st.integers(1, 6000),
    up=st.booleans(),
    speed=st.integers(50, 20_000),
    accel=st.integers(200, 60_000),
    shaper=shapers(longest_ms=1000),
)
def test_each_impulse_adds_its_share_of_the_ramp(
    library: CDLL, steps: int, up: bool, speed: int, accel: int, shaper: Shaper
) -> None:
    talker = ready(library, speed, accel)
    core = talker.machine
    assert isinstance(core, Core)
    assert talker.ask(set_shaper(talker.next_id(), AxisId.PAN, shaper)) == Accepted()
    plain = plain_steps(steps, speed, accel)
    parts = [share * np.concatenate([np.zeros(delay), plain])[: len(plain)] for delay, share in shaper.weights]
    wanted = np.sum(parts, axis=0)
    whole_ms = ramp_of(steps, speed, accel).duration_ms + shaper.duration_ms
    sign = 1 if up else -1
    talker.order(talker.move(sign * steps, 0))
    begun = core.now_ms
    while core.state != BoardState.READY:
        core.run_fast(1)
        at_ms = core.now_ms - begun
        assert at_ms <= whole_ms + 4
        place = sign * core.places[0]
        nearest = wanted[max(0, at_ms - 3) : at_ms + 3]  # begun between two milliseconds, and looked at after a tick
        assert nearest.min() - 0.6 <= place <= nearest.max() + 0.6
    assert core.places[0] == sign * steps
    assert core.now_ms - begun >= whole_ms - 1


def test_only_the_axis_that_was_told_is_shaped_and_set_axis_forgets(library: CDLL) -> None:
    talker = ready(library, 2000, 4000)
    assert Capability.SHAPER in talker.greet().capabilities
    plain_ms = ramp_of(1000, 2000, 4000).duration_ms
    talker.order(set_shaper(talker.next_id(), AxisId.TILT, Shaper(((0, 30_000), (300, 35_536)))))
    talker.order(talker.move(1000, 0))
    assert abs(wait_arrival(talker) - plain_ms) <= 3
    talker.order(talker.move(1000, 1000))
    assert abs(wait_arrival(talker) - plain_ms - 300) <= 3
    talker.order(set_shaper(talker.next_id(), AxisId.TILT, Shaper()))
    talker.order(talker.move(1000, 0))
    assert abs(wait_arrival(talker) - plain_ms) <= 3


def test_a_shaper_is_set_at_rest_only(library: CDLL) -> None:
    talker = ready(library, 2000, 4000)
    talker.order(talker.move(1000, 0))
    command = set_shaper(talker.next_id(), AxisId.PAN, Shaper(((0, 30_000), (300, 35_536))))
    assert talker.ask(command) == Refused(Reason.BUSY)


@settings(suppress_health_check=FIXTURE_IS_CONSTANT)
@given(numbers=numbers_of_a_command(), axis=st.sampled_from(AxisId))
def test_core_and_host_take_the_same_for_a_shaper(library: CDLL, numbers: list[int], axis: AxisId) -> None:
    talker = Talker(Core(library, camera_ms=None))
    talker.greet()
    talker.configure()
    command = SetShaper(talker.next_id(), axis, *numbers)
    wanted = Accepted() if trouble(impulses_of(command)) is None else Refused(Reason.BAD_VALUE)
    assert talker.ask(command) == wanted


@settings(suppress_health_check=FIXTURE_IS_CONSTANT, max_examples=60)
@given(
    steps=st.integers(1, 6000),
    speed=st.integers(50, 20_000),
    accel=st.integers(200, 60_000),
    shaper=shapers(longest_ms=1000),
    share=st.floats(0, 1.05),
)
def test_a_stop_at_any_moment_is_as_prompt_as_without_a_shaper(
    library: CDLL, steps: int, speed: int, accel: int, shaper: Shaper, share: float
) -> None:
    """From the speed of that moment with the whole acceleration: v / a, wherever the shaper is, and v^2 / 2a far.

    The core updates the speed each millisecond, and is asked at whole ones. It ends on a whole step, for which it may
    keep its speed over half a step, but never over more than the way that is left.
    """
    talker = ready(library, speed, accel)
    core = talker.machine
    assert isinstance(core, Core)
    talker.order(set_shaper(talker.next_id(), AxisId.PAN, shaper))
    ramp = ramp_of(steps, speed, accel)
    talker.order(talker.move(steps, 0))
    after_ms = round(share * (ramp.duration_ms + shaper.duration_ms))
    core.run_fast(after_ms)
    before = core.places[0]
    fastest = max(abs(motion_of(ramp, shaper, at_ms)[1]) for at_ms in (after_ms - 1, after_ms, after_ms + 1))
    talker.order(Stop())
    begun, way = core.now_ms, 0
    while core.state != BoardState.DISARMED:
        core.run_fast(1)
        step = core.places[0] - before - way
        assert 0 <= step <= fastest / 1000 + 1
        way += step
    half_a_step_s = min(fastest / (2 * accel), 0.5 / fastest) if fastest else 0.0
    assert core.now_ms - begun <= 1000 * (fastest / accel + half_a_step_s) + 4
    assert way <= fastest**2 / (2 * accel) + fastest / 1000 + 1
    assert core.places[0] == talker.status().pan_steps <= steps
