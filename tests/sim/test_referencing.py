"""Finding zero: from anywhere that the flag can tell the side, and always in the same place."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from protocol.messages import SetAxis
from protocol.units import NS, AxisId, CommandId, Steps
from sim.axis import AxisSpec, SimulatedAxis
from sim.motors import at_rest
from sim.referencing import Phase, ReferenceRun, bound_steps

PER_DEGREE = 100.0
HALF_TURN = 17_900  # steps; the flag is on for half a turn
FAR = 3 * HALF_TURN


def run_out(axis: SimulatedAxis, run: ReferenceRun, now_ns: int) -> tuple[int, list[Phase]]:
    """Drive the run to its end. Returns the time of its end and its phases."""
    phases = [run.phase]
    for _ in range(100):
        due = run.next_deadline()
        if due is None:
            return now_ns, phases
        assert due >= now_ns
        now_ns = due
        run.handle_deadline(now_ns)
        if run.phase is not phases[-1]:
            phases.append(run.phase)
    raise AssertionError("the run never ends")


def run_of(axis: SimulatedAxis, now_ns: int, search: float, creep: float, accel: float, bound: int = FAR) -> ReferenceRun:
    return ReferenceRun(axis, now_ns, search=search, creep=creep, accel=accel, bound=bound)


def axis_at(steps: int) -> SimulatedAxis:
    return SimulatedAxis(AxisSpec(PER_DEGREE), steps, Random(1))


@given(st.integers(-HALF_TURN, HALF_TURN), st.integers(20, 4000), st.integers(1, 50), st.integers(200, 50_000))
def test_ends_at_zero_from_any_start(start: int, search: int, divisor: int, accel: int) -> None:
    assume(search * search >= 2 * accel)  # at search speed it needs at least a step to brake
    axis = axis_at(start)
    creep = search / divisor
    now_ns, _ = run_out(axis, run_of(axis, 0, float(search), creep, accel), 0)
    assert axis.motion.end_ns <= now_ns
    assert (axis.motion.steps_at(now_ns), axis.motion.speed_at(now_ns)) == (0, 0)


@given(st.integers(-HALF_TURN, HALF_TURN))
def test_approaches_slowly_and_from_below(start: int) -> None:
    axis = axis_at(start)
    _, phases = run_out(axis, run_of(axis, 0, 1000.0, 50.0, 3000), 0)
    wanted = [Phase.RETREAT, Phase.CREEP, Phase.HOME, Phase.DONE]
    assert phases == (wanted if start >= 0 else [Phase.SEEK, *wanted])


@pytest.mark.parametrize("start", [-17_000, -200, -1, 0, 1, 200, 17_000])
def test_seeks_upward_below_the_edge_and_downward_above(start: int) -> None:
    axis = axis_at(start)
    run_of(axis, 0, 1000.0, 50.0, 3000)
    speed = axis.motion.speed_at(NS // 100)
    assert (speed > 0) == (start < 0)


def test_a_second_run_ends_in_the_same_place() -> None:
    ends = set()
    for start in (-9000, -3, 0, 12, 4000):
        axis = axis_at(start)
        now_ns, _ = run_out(axis, run_of(axis, 0, 800.0, 40.0, 2000), 0)
        ends.add(axis.motion.target)
        axis.begin(at_rest(axis.motion.target, now_ns))
        run_out(axis, run_of(axis, now_ns, 800.0, 40.0, 2000), now_ns)
        ends.add(axis.motion.target)
    assert ends == {0}


def test_comes_back_over_the_braking_of_a_fast_creep() -> None:
    axis = axis_at(-300)
    run = run_of(axis, 0, 2000.0, 1000.0, 1000)
    farthest, now_ns = 0.0, 0
    while (due := run.next_deadline()) is not None:
        now_ns = due
        run.handle_deadline(now_ns)
        if run.phase is Phase.HOME:
            farthest = max(farthest, axis.motion.steps_at(now_ns))
    assert farthest > 100  # it had crept well past the edge
    assert axis.motion.target == 0


def test_a_deadline_that_has_not_come_changes_nothing() -> None:
    axis = axis_at(-500)
    run = run_of(axis, 0, 1000.0, 50.0, 3000)
    due = run.next_deadline()
    assert due is not None
    motion = axis.motion
    run.handle_deadline(due - 1)
    assert axis.motion is motion
    assert run.next_deadline() == due


@given(
    st.integers(-HALF_TURN, HALF_TURN),
    st.integers(1, 2 * HALF_TURN),
    st.sampled_from((-1e4, 1e4, 0.0)),
    st.integers(200, 4000),
    st.integers(1, 20),
)
def test_no_phase_goes_beyond_its_bound(start: int, bound: int, flag_deg: float, search: int, divisor: int) -> None:
    """Wherever the switch is, or without one: found, or ended at the bound, and never turned further in one phase."""
    axis = axis_at(start)
    axis.flag_deg = flag_deg
    run = run_of(axis, 0, float(search), search / divisor, 2000, bound)
    phase, at, now_ns = run.phase, float(start), 0
    while (due := run.next_deadline()) is not None:
        now_ns = due
        run.handle_deadline(now_ns)
        here = axis.motion.steps_at(now_ns)
        assert abs(here - at) <= bound + 1e-6
        if run.phase is not phase:
            assert not run.known or phase in {Phase.CREEP, Phase.HOME}
            phase, at = run.phase, here
    assert run.known == (run.phase is Phase.DONE)
    if flag_deg:
        assert run.phase is Phase.FAILED
        assert abs(axis.motion.steps_at(now_ns) - start) == bound


@pytest.mark.parametrize(
    ("low", "high", "bound"),
    [
        (-32_000, 32_000, 64_000 + 2000 + 32),
        (0, 320, 320 + 10 + 32),
        (100, 320, 320 + 10 + 32),
        (-320, -100, 362),
        (0, 1, 33),
    ],
)
def test_the_bound_is_the_travel_with_zero_and_a_little(low: int, high: int, bound: int) -> None:
    assert bound_steps(SetAxis(CommandId(1), AxisId.PAN, Steps(low), Steps(high), 1, 1)) == bound
