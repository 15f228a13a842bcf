"""What the simulated board turns an axis by: exact to the step, within its limits, and stopped as soon as can be."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.ramp import Ramp, ramp_of
from protocol.shaper import Shaper
from protocol.units import MS, NS
from sim.motors import Motion, stop
from sim.shaped import shaped
from tests.protocol.ramps import motion_of, shapers

BEGIN_NS, START = 7 * NS + 3, -321


@st.composite
def moves(draw: st.DrawFn) -> tuple[Motion, Ramp, Shaper, int, tuple[int, int]]:
    """A shaped motion, its ramp and shaper, its direction, and the speed and acceleration that it was given."""
    steps, speed, accel = draw(st.integers(1, 20_000)), draw(st.integers(50, 20_000)), draw(st.integers(200, 100_000))
    shaper, sign = draw(shapers()), draw(st.sampled_from((1, -1)))
    motion = shaped(BEGIN_NS, START, START + sign * steps, speed, accel, shaper)
    return motion, ramp_of(steps, speed, accel), shaper, sign, (speed, accel)


@given(moves(), st.floats(0, 1))
def test_it_is_the_motion_of_the_page(drawn: tuple[Motion, Ramp, Shaper, int, tuple[int, int]], share: float) -> None:
    motion, ramp, shaper, sign, _ = drawn
    whole_ms = ramp.duration_ms + shaper.duration_ms
    assert (motion.target, motion.end_ns) == (START + sign * ramp.steps, BEGIN_NS + whole_ms * MS)
    assert motion.steps_at(motion.end_ns) == motion.target
    assert motion.steps_at(motion.end_ns - 1) == pytest.approx(motion.target, abs=0.01)
    now_ns = BEGIN_NS + round(share * whole_ms * MS)
    steps, speed, _ = motion_of(ramp, shaper, (now_ns - BEGIN_NS) / MS)
    assert motion.steps_at(now_ns) == pytest.approx(START + sign * steps, abs=0.01)
    assert motion.speed_at(now_ns) == pytest.approx(sign * speed, rel=1e-3, abs=1e-3 * ramp.speed_steps_s)


@given(moves())
def test_no_leg_leaves_the_limits(drawn: tuple[Motion, Ramp, Shaper, int, tuple[int, int]]) -> None:
    motion, _, _, sign, (most_speed, most_accel) = drawn
    for leg in motion.legs:
        assert abs(leg.accel) <= most_accel * (1 + 1e-9)
        for t in (0.0, leg.duration_s):
            assert -1e-6 * most_speed <= sign * leg.speed_at(t) <= most_speed * (1 + 1e-9)


@given(moves(), st.floats(0, 1))
def test_a_stop_at_any_moment(drawn: tuple[Motion, Ramp, Shaper, int, tuple[int, int]], share: float) -> None:
    """It takes v / a, with the whole acceleration; within half a step of v^2 / 2a, and never beyond the target."""
    motion, _, _, sign, (_, accel) = drawn
    now_ns = BEGIN_NS + round(share * (motion.end_ns - BEGIN_NS))
    speed, steps = abs(motion.speed_at(now_ns)), motion.steps_at(now_ns)
    stopping = stop(motion, now_ns, accel)
    way = sign * (stopping.target - steps)
    assert -0.5 <= way <= speed**2 / (2 * accel) + 0.5
    assert sign * (motion.target - stopping.target) >= 0
    # A way that is rounded up to a whole step takes longer in proportion; without legs the motor is there already.
    most_s = speed / accel * max(1.0, way / max(speed**2 / (2 * accel), 1e-9))
    assert (stopping.end_ns - now_ns) / NS <= most_s + 0.001
    for leg in stopping.legs:
        assert abs(leg.speed) <= speed * (1 + 1e-9)
        assert abs(leg.accel) * leg.duration_s == pytest.approx(speed, rel=1e-6)
