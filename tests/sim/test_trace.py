"""The trace of a run: dense while the head moves, and true."""

from __future__ import annotations

from random import Random

import pytest

from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.motors import move
from sim.trace import STEP_NS, Trace

PLAIN = AxisSpec(100.0)


def test_it_is_dense_while_the_head_moves_and_sparse_while_it_rests() -> None:
    head, trace = SimulatedHead(HeadSpec(PLAIN, PLAIN, 8.0, 0.05, 0.01), 0, 0), Trace()
    trace.follow(head, 100 * NS)
    assert trace.samples == [(100.0, 0.0, 0.0, 0.0, 0.0)]
    head.pan.begin(move(100 * NS, 0, 2000, 1000.0, 2000.0))
    trace.follow(head, 200 * NS)
    moving = [row for row in trace.samples if 100 < row[0] <= 102.5]
    assert len(moving) >= 2.4 * NS / STEP_NS
    assert len(trace.samples) < 200
    assert trace.samples[-1] == (200.0, 20.0, 0.0, 20.0, 0.0)
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
    for _, pan, tilt, yaw, pitch in trace.samples:
        assert yaw - pan == pytest.approx(-0.7)
        assert pitch == pytest.approx(tilt, abs=0.2)  # it rings
