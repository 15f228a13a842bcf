"""The firmware at its pins: holding, cutting, contacts, and its inputs."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import pytest

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
from tests.protocol.board.avr.machine import (
    BROWN_OUT_FLAG,
    POWER_ON_FLAG,
    RESET_PIN_FLAG,
    WATCHDOG_FLAG,
    Machine,
)
from tests.protocol.board.talker import ACCEL, REPLY_MS, SPEED, Talker

MOTORS_OFF, HALF_PRESS, RELEASE = 1, 2, 4
LOOP_MS = 0.1
"""How much later than its millisecond a contact may change, because the main loop moves it."""
PAN_LIMIT, TILT_LIMIT, SYNC, STOP_SWITCH = ("C", 2), ("C", 3), ("C", 4), ("D", 2)


def test_nothing_is_driven_before_it_is_asked_for(board: Machine, host: Talker) -> None:
    assert board.outputs == MOTORS_OFF
    host.greet()
    host.configure()
    assert board.outputs == MOTORS_OFF
    host.arm()
    assert board.outputs == 0


def test_pins_firmware_and_request_agree(board: Machine, host: Talker) -> None:
    host.make_ready()
    assert board.places == (0, 0)
    random = Random(7)
    host.order(host.move(0, 0))
    host.finish()
    for _ in range(8):
        target = random.randint(-300, 300), random.randint(-300, 300)
        before = board.steps, board.places
        host.order(host.move(*target))
        finished = host.finish(look_ms=50)
        assert finished.outcome is Outcome.ARRIVED
        assert board.places == (finished.pan_steps, finished.tilt_steps) == target
        made = [after - old for after, old in zip(board.steps, before[0], strict=True)]
        assert made == [abs(to - at) for to, at in zip(target, before[1], strict=True)]


def test_silence_stops_and_holds(board: Machine, host: Talker) -> None:
    host.make_ready()
    host.arm(300)
    host.order(host.move(5000, -5000))
    board.run(300 + 1000 * SPEED // ACCEL + 10)
    host.listen()
    (held,) = host.of(Held)
    assert (held.cause, held.pan_steps, held.tilt_steps) == (Cause.HOST_SILENCE, *board.places)
    steps = board.steps
    board.run(500)
    assert board.steps == steps
    assert not board.outputs & MOTORS_OFF
    status = host.status()
    assert (status.state, status.cause) == (BoardState.DISARMED, Cause.HOST_SILENCE)


def supply_low(board: Machine, *, on: bool) -> None:
    board.set_supply(6.0 if on else 24.0)


def by_pin(port: str, bit: int) -> Callable[..., None]:
    def drive(board: Machine, *, on: bool) -> None:
        board.set_pin(port, bit, high=on)

    return drive


@pytest.mark.parametrize(
    ("drive", "cause"),
    [
        (by_pin(*PAN_LIMIT), Cause.LIMIT),
        (by_pin(*TILT_LIMIT), Cause.LIMIT),
        (by_pin(*STOP_SWITCH), Cause.STOP_SWITCH),
        (supply_low, Cause.SUPPLY_LOW),
    ],
)
def test_inputs_end_the_pulses(board: Machine, host: Talker, drive: Callable[..., None], cause: Cause) -> None:
    host.make_ready()
    host.order(host.move(5000, -5000))
    board.run(800)
    before = max(board.steps)
    drive(board, on=True)
    board.run(5)
    steps = board.steps
    # A supply counts as low after a while, within two milliseconds; everything else acts at once, within 0.1.
    assert max(steps) - before <= (3 if cause is Cause.SUPPLY_LOW else 1)
    board.run(300)
    assert board.steps == steps
    assert bool(board.outputs & MOTORS_OFF) is (cause is Cause.STOP_SWITCH)
    status = host.status()
    assert (status.state, status.cause, status.flags) == (BoardState.DISARMED, cause, StatusFlag(0))
    assert [held.cause for held in host.of(Held)] == [cause]
    if cause in {Cause.STOP_SWITCH, Cause.SUPPLY_LOW}:
        again = Arm(host.next_id(), host.boot_id, 1000)
        assert host.ask(again) == Refused(Reason.BUSY)
    drive(board, on=False)
    board.run(50)
    host.arm()
    assert board.steps == steps


@pytest.mark.parametrize(("focus", "press"), [(0, 1), (0, 50), (40, 50)])
def test_contacts_close_for_their_time(board: Machine, host: Talker, focus: int, press: int) -> None:
    """Never too short, and longer by at most a part of a millisecond."""
    host.make_ready()
    asked_ms = board.now_ms
    host.order(Expose(host.next_id(), 0, 0, focus, press, 100))
    assert host.finish(look_ms=10).outcome is Outcome.NO_SYNC
    assert not board.outputs & (RELEASE | HALF_PRESS)
    half_press_ms, release_ms = (board.pulse_ms(bit) for bit in (1, 2))
    assert asked_ms < half_press_ms[0] < asked_ms + REPLY_MS
    assert focus <= release_ms[0] - half_press_ms[0] <= focus + 1.1
    assert abs(release_ms[1] - press) <= LOOP_MS
    assert half_press_ms[0] + half_press_ms[1] == pytest.approx(sum(release_ms), abs=LOOP_MS)


def test_the_sync_contact_answers(board: Machine, host: Talker) -> None:
    host.make_ready()
    host.order(Expose(host.next_id(), 0, 0, 0, 50, 500))
    board.run(20)
    board.set_pin(*SYNC, high=False)
    board.run(100)
    board.set_pin(*SYNC, high=True)
    board.run(20)
    host.listen()
    assert host.of(Finished)[-1].outcome is Outcome.EXPOSED_SYNC


def test_each_start_has_its_own_boot_id(board: Machine, host: Talker) -> None:
    host.greet()
    for _ in range(3):
        board.restart()
        host.listen()
        host.greet()
        host.configure()
    ids = [booted.boot_id for booted in host.of(Booted)]
    assert len(ids) == len(set(ids)) == 4


@pytest.mark.parametrize(
    ("flags", "cause"),
    [
        (POWER_ON_FLAG, Cause.POWER_ON),
        (POWER_ON_FLAG | BROWN_OUT_FLAG, Cause.POWER_ON),
        (RESET_PIN_FLAG, Cause.POWER_ON),
        (BROWN_OUT_FLAG, Cause.SUPPLY_LOW),
        (WATCHDOG_FLAG, Cause.WATCHDOG),
        (WATCHDOG_FLAG | BROWN_OUT_FLAG, Cause.WATCHDOG),
        (0, Cause.POWER_ON),  # an earlier program has cleared them
    ],
)
def test_why_it_has_started(board: Machine, host: Talker, flags: int, cause: Cause) -> None:
    board.restart(flags)
    host.listen()
    told = Cause.POWER_ON if cause is Cause.WATCHDOG else cause  # it does not know its host's version yet
    assert host.of(Booted)[-1].cause is told
    host.greet()
    assert host.status().cause is cause


def test_one_sample_of_the_sync_contact_is_no_exposure(board: Machine, host: Talker) -> None:
    """At most two ticks see 40 us at the pin, and at least four see 125 us."""
    host.make_ready()
    for cycles, outcome in ((640, Outcome.NO_SYNC), (2000, Outcome.EXPOSED_SYNC)):
        for _ in range(8):
            host.order(Expose(host.next_id(), 0, 0, 0, 20, 30))
            board.run(8)
            board.run_cycles(137)
            board.set_pin(*SYNC, high=False)
            board.run_cycles(cycles)
            board.set_pin(*SYNC, high=True)
            assert host.finish(look_ms=10).outcome is outcome
