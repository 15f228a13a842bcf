"""The firmware on each target: the rules of `fullturn board check`, and what its pins do."""

from __future__ import annotations

from random import Random

import pytest

from controller.conformance.rules import RULES, wait_verdict
from controller.conformance.talk import Talk
from protocol.messages import (
    Arm,
    BoardState,
    Booted,
    Cause,
    Expose,
    Finished,
    Held,
    Outcome,
    Reason,
    Refused,
    StatusFlag,
)
from tests.protocol.board.pins import Input, Target
from tests.protocol.board.port import MachinePort
from tests.protocol.board.talker import ACCEL, REPLY_MS, SPEED, Talker

MOTORS_OFF, HALF_PRESS, RELEASE = 1, 2, 4


@pytest.fixture
def host(target: Target) -> Talker:
    return Talker(target)


@pytest.mark.parametrize(
    "target", ["simulated_avr", pytest.param("emulated_arm", marks=pytest.mark.long)], indirect=True, ids=["avr", "arm"]
)
def test_the_rules_hold_one_after_the_other(target: Target) -> None:
    talk = Talk(MachinePort(target))
    for rule in RULES:
        wait_verdict(talk, rule)


def test_nothing_is_driven_before_it_is_asked_for(target: Target, host: Talker) -> None:
    assert target.outputs == MOTORS_OFF
    host.greet()
    host.configure()
    assert target.outputs == MOTORS_OFF
    host.arm()
    assert target.outputs == 0


def test_pins_firmware_and_request_agree(target: Target, host: Talker) -> None:
    host.make_ready()
    assert target.places == (0, 0)
    random = Random(7)
    host.order(host.move(0, 0))
    host.finish()
    for _ in range(4):
        goal = random.randint(-300, 300), random.randint(-300, 300)
        before = target.steps, target.places
        host.order(host.move(*goal))
        finished = host.finish(look_ms=50)
        assert finished.outcome is Outcome.ARRIVED
        assert target.places == (finished.pan_steps, finished.tilt_steps) == goal
        made = [after - old for after, old in zip(target.steps, before[0], strict=True)]
        assert made == [abs(to - at) for to, at in zip(goal, before[1], strict=True)]


def test_silence_stops_and_holds(target: Target, host: Talker) -> None:
    host.make_ready()
    host.arm(300)
    host.order(host.move(5000, -5000))
    target.run(300 + 1000 * SPEED // ACCEL + 10)
    host.listen()
    (held,) = host.of(Held)
    assert (held.cause, held.pan_steps, held.tilt_steps) == (Cause.HOST_SILENCE, *target.places)
    steps = target.steps
    target.run(500)
    assert target.steps == steps
    assert not target.outputs & MOTORS_OFF
    status = host.status()
    assert (status.state, status.cause) == (BoardState.DISARMED, Cause.HOST_SILENCE)


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        (Input.PAN_LIMIT, Cause.LIMIT),
        (Input.TILT_LIMIT, Cause.LIMIT),
        (Input.STOP_SWITCH, Cause.STOP_SWITCH),
        (Input.SUPPLY_LOW, Cause.SUPPLY_LOW),
    ],
    ids=lambda value: value.name,
)
def test_inputs_end_the_pulses(target: Target, host: Talker, name: Input, cause: Cause) -> None:
    host.make_ready()
    host.order(host.move(5000, -5000))
    target.run(800)
    before = max(target.steps)
    target.drive(name, on=True)
    target.run(5)
    steps = target.steps
    # A supply counts as low after a while, within two milliseconds; everything else acts at once, within 0.1.
    assert max(steps) - before <= (3 if cause is Cause.SUPPLY_LOW else 1)
    target.run(300)
    assert target.steps == steps
    assert bool(target.outputs & MOTORS_OFF) is (cause is Cause.STOP_SWITCH)
    status = host.status()
    assert (status.state, status.cause, status.flags) == (BoardState.DISARMED, cause, StatusFlag(0))
    assert [held.cause for held in host.of(Held)] == [cause]
    if cause in {Cause.STOP_SWITCH, Cause.SUPPLY_LOW}:
        again = Arm(host.next_id(), host.boot_id, 1000)
        assert host.ask(again) == Refused(Reason.BUSY)
    target.drive(name, on=False)
    target.run(50)
    host.arm()
    assert target.steps == steps


@pytest.mark.parametrize(("focus", "press"), [(0, 1), (0, 50), (40, 50)])
def test_contacts_close_for_their_time(target: Target, host: Talker, focus: int, press: int) -> None:
    """Never too short, and longer by at most a part of a millisecond."""
    host.make_ready()
    target.look_closely()
    asked_ms = target.now_ms
    host.order(Expose(host.next_id(), 0, 0, focus, press, 100))
    assert host.finish(look_ms=10).outcome is Outcome.NO_SYNC
    assert not target.outputs & (RELEASE | HALF_PRESS)
    half_press_ms, release_ms = (target.pulse_ms(bit) for bit in (1, 2))
    assert asked_ms < half_press_ms[0] < asked_ms + REPLY_MS
    assert focus <= release_ms[0] - half_press_ms[0] <= focus + 1.1
    assert -0.1 <= release_ms[1] - press <= target.loop_ms
    assert half_press_ms[0] + half_press_ms[1] == pytest.approx(sum(release_ms), abs=target.loop_ms)


def test_the_sync_contact_answers(target: Target, host: Talker) -> None:
    host.make_ready()
    host.order(Expose(host.next_id(), 0, 0, 0, 50, 500))
    target.run(20)
    target.drive(Input.SYNC, on=True)
    target.run(100)
    target.drive(Input.SYNC, on=False)
    target.run(20)
    host.listen()
    assert host.of(Finished)[-1].outcome is Outcome.EXPOSED_SYNC


def test_each_start_has_its_own_boot_id(target: Target, host: Talker) -> None:
    host.greet()
    for _ in range(3):
        target.restart()
        host.listen()
        host.greet()
        host.configure()
    ids = [booted.boot_id for booted in host.of(Booted)]
    assert len(ids) == len(set(ids)) == 4
