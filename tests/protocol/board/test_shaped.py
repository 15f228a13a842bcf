"""A shaped Move of the core is the plain ramp, convolved with the impulses, to a step and a millisecond.

The plain ramp is that of protocol.ramp; the convolution is done here by numpy over its positions.
"""

from __future__ import annotations

from ctypes import CDLL

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from protocol.messages import Accepted, BoardState, Capability, Reason, Refused, Stop
from protocol.ramp import ramp_of
from protocol.shaper import WHOLE, Shaper, set_shaper
from protocol.units import AxisId
from tests.protocol.board.core import Core
from tests.protocol.board.test_ramps import ready, wait_arrival

FIXTURE_IS_CONSTANT = (HealthCheck.function_scoped_fixture,)


@st.composite
def shapers(draw: st.DrawFn) -> Shaper:
    """Any shaper of up to a second."""
    gaps = draw(st.lists(st.integers(5, 250), min_size=1, max_size=4))
    cuts = draw(st.lists(st.integers(1, WHOLE - 1), min_size=len(gaps), max_size=len(gaps), unique=True).map(sorted))
    shares = np.diff([0, *cuts, WHOLE])
    return Shaper(tuple(zip(np.cumsum([0, *gaps]).tolist(), shares.tolist(), strict=True)))


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
    shaper=shapers(),
)
def test_each_impulse_adds_its_share_of_the_ramp(
    library: CDLL, steps: int, up: bool, speed: int, accel: int, shaper: Shaper
) -> None:
    talker = ready(library, speed, accel)
    core = talker.machine
    assert isinstance(core, Core)
    assert talker.ask(set_shaper(talker.next_id(), AxisId.PAN, shaper)) == Accepted()
    plain = plain_steps(steps, speed, accel)
    parts = [share / WHOLE * np.concatenate([np.zeros(delay), plain])[: len(plain)] for delay, share in shaper.impulses]
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


@pytest.mark.parametrize("after_ms", [1, 100, 400, 700, 1000])
def test_a_stop_is_as_prompt_as_without_a_shaper(library: CDLL, after_ms: int) -> None:
    """From the speed of that moment with the whole acceleration: v / a, wherever the shaper is."""
    talker = ready(library, 2000, 4000)
    core = talker.machine
    assert isinstance(core, Core)
    talker.order(set_shaper(talker.next_id(), AxisId.PAN, Shaper(((0, 20_000), (200, 25_536), (400, 20_000)))))
    talker.order(talker.move(6000, 0))
    core.run_fast(after_ms)
    before = core.places[0]
    talker.order(Stop())
    begun = core.now_ms
    while core.state != BoardState.DISARMED:
        core.run_fast(1)
    assert core.now_ms - begun <= 2000 / 4000 * 1000 + 4
    assert core.places[0] - before <= 2000**2 / (2 * 4000) + 10
    assert (talker.status().pan_steps,) == core.places[:1]
