"""The trace of a run: dense while the head moves, and true."""

from __future__ import annotations

from itertools import accumulate, pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from protocol.shaper import Shaper
from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.motors import move
from sim.shaped import shaped
from sim.trace import STEP_NS, Trace

PLAIN = AxisSpec(100.0)


def test_it_is_dense_while_the_head_moves_and_sparse_while_it_rests() -> None:
    head, trace = SimulatedHead(HeadSpec(PLAIN, PLAIN, 8.0, 0.05, 0.01), 0, 0), Trace()
    trace.follow(head, 100 * NS)
    assert trace.samples == [(100.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)]
    head.pan.begin(move(100 * NS, 0, 2000, 1000.0, 2000.0))
    trace.follow(head, 200 * NS)
    moving = [row for row in trace.samples if 100 < row[0] <= 102.5]
    assert len(moving) >= 2.4 * NS / STEP_NS
    assert len(trace.samples) < 200
    assert trace.samples[-1] == (200.0, 20.0, 0.0, 20.0, 0.0, 0.0, 0.0)
    assert [row[0] for row in trace.samples] == sorted({row[0] for row in trace.samples})


def test_what_was_commanded_and_what_was_true_are_told_apart() -> None:
    head, trace, random = SimulatedHead(HeadSpec(PLAIN, PLAIN, 8.0, 0.05, 0.01), 0, 0), Trace(), Random(3)
    head.pan.lose(0, 70)
    trace.follow(head, 30 * NS)  # the slip shakes the camera for a while
    trace.samples.clear()
    for second in range(31, 50):
        here = round(head.tilt.motion.steps_at(second * NS))
        head.tilt.begin(move(second * NS, here, random.randrange(900), 900.0, 3000.0))
        trace.follow(head, (second + 1) * NS)
    for _, pan, tilt, yaw, pitch, *_ in trace.samples:
        assert yaw - pan == pytest.approx(-0.7)
        assert pitch == pytest.approx(tilt, abs=0.2)  # it rings


@given(st.integers(-4000, 4000), st.lists(st.integers(20, 200), min_size=1, max_size=4), st.integers(0, 400))
def test_the_speed_is_a_line_between_two_samples(way: int, gaps_ms: list[int], tilt_way: int) -> None:
    """So the area under the speed is the way, whatever the shaper of each axis: a curve through the samples hides none of
    its steps."""
    head, trace = SimulatedHead(HeadSpec(PLAIN, PLAIN, 8.0, 0.05, 0.01), 0, 0), Trace()
    delays_s, shares = (0.0, *accumulate(gap / 1000 for gap in gaps_ms)), (1 / (len(gaps_ms) + 1),) * (len(gaps_ms) + 1)
    head.pan.begin(shaped(0, 0, way, 1000, 2000, Shaper.nearest(delays_s, shares)))
    head.tilt.begin(shaped(0, 0, tilt_way, 1000, 2000, Shaper()))
    trace.follow(head, 12 * NS)
    for before, after in pairwise([(0.0,) * 7, *trace.samples]):
        time_s = after[0] - before[0]
        for told, speed in ((1, 5), (2, 6)):
            under = (before[speed] + after[speed]) / 2 * time_s
            # Positions and times are rounded to 1e-4; the speed is at most 10 degrees/s.
            assert after[told] - before[told] == pytest.approx(under, abs=2e-4 + 10 * 1e-4 + 1e-4 * time_s)
