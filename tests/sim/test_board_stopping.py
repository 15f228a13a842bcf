"""Stop, Halt and silence, in every state: the head comes to rest and stays at rest until it is armed again."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from protocol.messages import (
    BoardState,
    Cause,
    Expose,
    Finished,
    Halt,
    Held,
    Move,
    Outcome,
    Reason,
    Reference,
    Refused,
    StatusFlag,
    Stop,
)
from protocol.units import MS, NS, Steps
from tests.sim.bench import ACCEL, SILENCE_MS, SPEED, STEPS_PER_DEGREE, Bench

BOTH_KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN


def disarmed() -> Bench:
    bench = Bench()
    bench.configure()
    return bench


def unreferenced() -> Bench:
    bench = disarmed()
    bench.arm()
    return bench


def referencing() -> Bench:
    bench = unreferenced()
    bench.order(Reference(bench.next_id(), 400, 400, 10))
    bench.run_for(0.2)
    assert bench.status().state is BoardState.REFERENCING
    return bench


def ready() -> Bench:
    bench = Bench()
    bench.make_ready()
    return bench


def moving() -> Bench:
    bench = ready()
    bench.order(Move(bench.next_id(), Steps(6000), Steps(-2000)))
    bench.run_for(0.7)
    assert bench.status().state is BoardState.MOVING
    return bench


def exposing() -> Bench:
    bench = ready()
    bench.order(Expose(bench.next_id(), 0, 0, 100, 100, 1000))
    bench.run_for(0.12)
    assert bench.status().state is BoardState.EXPOSING
    return bench


def stopping() -> Bench:
    bench = moving()
    bench.order(Stop())
    bench.run_for(0.1)
    assert bench.status().state is BoardState.STOPPING
    return bench


STATES: dict[str, Callable[[], Bench]] = {
    make.__name__: make for make in (disarmed, unreferenced, referencing, ready, moving, exposing, stopping)
}
in_every_state = pytest.mark.parametrize("make", STATES.values(), ids=STATES.keys())
while_armed = pytest.mark.parametrize(
    "make", [unreferenced, referencing, ready, moving, exposing], ids=lambda make: make.__name__
)


def stands_and_stays(bench: Bench) -> None:
    """Check that it is at rest and disarmed, and that nothing moves, whatever is requested, until the board is armed
    again.
    """
    status = bench.status()
    assert status.state is BoardState.DISARMED
    assert not status.flags & StatusFlag.ARMED
    assert status.running_id == 0
    pose = (status.pan_steps, status.tilt_steps)
    for request in (
        Move(bench.next_id(), Steps(1), Steps(1)),
        Reference(bench.next_id(), 400, 400, 10),
        Expose(bench.next_id(), 0, 0, 100, 100, 1000),
    ):
        assert bench.ask(request) == Refused(Reason.NOT_ARMED)
    bench.run_for(100.0)
    assert not bench.turns()
    status = bench.status()
    assert (status.pan_steps, status.tilt_steps) == pose


@in_every_state
def test_stop_comes_to_rest_and_disarms(make: Callable[[], Bench]) -> None:
    bench = make()
    known = bench.status().flags & BOTH_KNOWN
    running = bench.status().running_id
    bench.order(Stop())
    assert not bench.status().flags & StatusFlag.ARMED  # at once, not only when at rest
    bench.run_for(SPEED / ACCEL + 0.2)  # v / a, and the braking to a whole step
    stands_and_stays(bench)
    assert bench.status().flags & BOTH_KNOWN == known
    assert bench.of(Held) == []  # the host knows that it stopped
    if running:
        (ending,) = [n for n in bench.of(Finished) if n.command_id == running]
        assert ending.outcome is Outcome.CUT_SHORT


@in_every_state
def test_a_second_stop_is_harmless(make: Callable[[], Bench]) -> None:
    once, twice = make(), make()
    for bench in (once, twice):
        bench.order(Stop())
        bench.run_for(0.05)
    twice.order(Stop())
    for bench in (once, twice):
        bench.run_for(2.0)
    assert once.status() == twice.status()
    twice.order(Stop())
    twice.run_for(1.0)
    once.run_for(1.0)
    assert once.status() == twice.status()


def test_stop_takes_the_braking_way() -> None:
    bench = moving()
    status = bench.status()
    pan, tilt = bench.head.pan.motion, bench.head.tilt.motion
    speeds = [abs(motion.speed_at(bench.now_ns)) for motion in (pan, tilt)]
    assert min(speeds) > 100
    bench.order(Stop())
    bench.run_for(2.0)
    rest = bench.status()
    for speed, begin, end, sign in zip(
        speeds, (status.pan_steps, status.tilt_steps), (rest.pan_steps, rest.tilt_steps), (1, -1), strict=True
    ):
        way = speed**2 / (2 * ACCEL)  # v^2 / 2a, Biagiotti and Melchiorri 2008, section 3.2
        # Status reports whole steps: half a step at either end, and half of one that rounds the distance.
        assert abs(sign * (end - begin) - way) <= 1.5


def test_a_stopped_board_can_be_armed_and_goes_on() -> None:
    bench = stopping()
    bench.run_for(2.0)
    bench.arm()
    bench.order(Move(bench.next_id(), Steps(100), Steps(100)))
    finished = bench.finish()
    assert (finished.outcome, finished.pan_steps, finished.tilt_steps) == (Outcome.ARRIVED, 100, 100)


@in_every_state
def test_halt_ends_the_pulses_at_once(make: Callable[[], Bench]) -> None:
    bench = make()
    running = bench.status().running_id
    bench.order(Halt())
    assert not bench.turns()
    status = bench.status()
    assert status.cause is Cause.HOST_HALT
    assert not status.flags & BOTH_KNOWN
    if running:
        assert bench.of(Finished)[-1].outcome is Outcome.CUT_SHORT
        assert status.finished_id == running
    bench.order(Halt())
    stands_and_stays(bench)


def test_after_a_halt_a_move_is_refused_until_zero_is_found_again() -> None:
    bench = moving()
    bench.order(Halt())
    bench.arm()
    assert bench.ask(Move(bench.next_id(), Steps(1), Steps(1))) == Refused(Reason.UNKNOWN_POSITION)
    bench.reference()
    bench.order(Move(bench.next_id(), Steps(1), Steps(1)))
    assert bench.finish().outcome is Outcome.ARRIVED
    assert bench.head.pan.motion.target == bench.head.tilt.motion.target == 1


@while_armed
def test_silence_stops_the_head(make: Callable[[], Bench]) -> None:
    bench = make()
    bench.status()  # the last message from the host
    heard_ns = bench.now_ns
    bench.run_until(heard_ns + SILENCE_MS * MS - 1)
    assert not bench.of(Held)
    bench.run_until(heard_ns + SILENCE_MS * MS + NS)
    (held,) = bench.of(Held)
    assert held.cause is Cause.HOST_SILENCE
    assert held.clock_ms >= (heard_ns // MS) + SILENCE_MS
    stands_and_stays(bench)
    assert bench.status().cause is Cause.HOST_SILENCE


def test_silence_in_the_middle_of_a_long_move_ramps_to_rest() -> None:
    bench = ready()
    bench.order(Move(bench.next_id(), Steps(9000), Steps(0)))
    began_ns = bench.now_ns
    bench.run_until(began_ns + SILENCE_MS * MS - 1)
    assert bench.turns()
    bench.run_for(2.0)
    held, finished = bench.of(Held)[-1], bench.of(Finished)[-1]
    assert finished.outcome is Outcome.CUT_SHORT
    assert bench.notices.index(held) > bench.notices.index(finished)
    way = SPEED * SILENCE_MS / 1000  # the ramp up loses v^2 / 2a, the ramp down adds as much
    assert held.pan_steps == pytest.approx(way, abs=2)
    assert bench.status().flags & BOTH_KNOWN == BOTH_KNOWN  # a ramp loses no steps


def test_a_host_that_is_heard_keeps_the_head_moving() -> None:
    bench = ready()
    bench.order(Move(bench.next_id(), Steps(9000), Steps(0)))
    for _ in range(20):
        bench.run_for(0.9 * SILENCE_MS / 1000)
        bench.status()
    assert bench.of(Held) == []
    assert bench.status().state is BoardState.READY


def test_a_disarmed_board_bears_silence() -> None:
    bench = disarmed()
    bench.run_for(3600.0)
    assert bench.of(Held) == []
    assert bench.status().cause is Cause.POWER_ON


def test_a_cut_short_reference_run_leaves_the_position_unknown() -> None:
    bench = ready()
    bench.order(Move(bench.next_id(), Steps(3000), Steps(-1000)))
    bench.finish()
    bench.order(Reference(bench.next_id(), 400, 400, 10))
    bench.run_for(0.1)
    bench.order(Stop())
    bench.run_for(2.0)
    assert not bench.status().flags & BOTH_KNOWN


def test_counting_starts_at_zero_and_is_put_right_by_the_reference_run() -> None:
    bench = Bench(pan=150, tilt=-90)
    assert (bench.status().pan_steps, bench.status().tilt_steps) == (0, 0)
    bench.make_ready()
    status = bench.status()
    assert (status.pan_steps, status.tilt_steps) == (0, 0)  # a reference run ends there, protocol/SPEC.md section 3.1
    assert bench.head.pan.motion.target == bench.head.tilt.motion.target == 0
    bench.order(Move(bench.next_id(), Steps(4500), Steps(-300)))
    bench.finish()
    yaw, pitch = bench.head.pose_deg(bench.now_ns + 60 * NS)
    assert (yaw, pitch) == pytest.approx((4500 / STEPS_PER_DEGREE, -300 / STEPS_PER_DEGREE), abs=1e-6)
