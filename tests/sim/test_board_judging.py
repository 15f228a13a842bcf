"""What the board refuses and why, and the rule for command ids (protocol/SPEC.md, sections 3 and 5)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from protocol.codec import PROTOCOL_VERSION
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Booted,
    Capability,
    Cause,
    Finished,
    Halt,
    Hello,
    Move,
    Outcome,
    Reason,
    Refused,
    Request,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.units import CommandId, Steps
from tests.refusals import REFUSALS, Refusal, expose, move, shaper
from tests.sim.bench import LIMIT, MAX_RATE, SILENCE_MS, Bench


def ready() -> Bench:
    bench = Bench()
    bench.make_ready()
    return bench


def refused(bench: Bench, request: Request, reason: Reason) -> None:
    """Check that the request is refused and nothing has changed."""
    before = bench.status()
    assert bench.ask(request) == Refused(reason)
    assert bench.status() == before


@pytest.mark.parametrize("refusal", REFUSALS, ids=lambda refusal: refusal.name)
def test_refuses(refusal: Refusal) -> None:
    refusal.check(Bench())


def test_a_new_board_is_disarmed_and_knows_nothing() -> None:
    bench = Bench()
    status = bench.status()
    assert status.state is BoardState.DISARMED
    assert (status.cause, status.flags) == (Cause.POWER_ON, StatusFlag(0))
    assert (status.running_id, status.finished_id, status.finished_outcome) == (0, 0, Outcome.NONE)
    assert bench.notices == [Booted(status.boot_id, Cause.POWER_ON)]
    assert not bench.turns()


@pytest.mark.parametrize("fitted", [True, False])
def test_greets_with_what_is_fitted(fitted: bool) -> None:
    bench = Bench(sync_contact=fitted)
    welcome = bench.ask(Hello(*PROTOCOL_VERSION, 99))
    assert isinstance(welcome, Welcome)
    assert (welcome.nonce, welcome.boot_id, welcome.max_step_rate) == (99, bench.boot_id, MAX_RATE)
    assert bool(welcome.capabilities & Capability.SYNC_CONTACT) is fitted
    assert welcome.last_command_id == 0
    bench.configure()
    again = bench.ask(Hello(*PROTOCOL_VERSION, 100))
    assert isinstance(again, Welcome)
    assert again.last_command_id == 2


@pytest.mark.parametrize("begin", [lambda _: None, Bench.configure, Bench.make_ready], ids=["new", "told", "ready"])
def test_a_board_that_does_not_shape_knows_no_shaper(begin: Callable[[Bench], None]) -> None:
    bench = Bench(shapes=False)
    welcome = bench.ask(Hello(*PROTOCOL_VERSION, 99))
    assert isinstance(welcome, Welcome)
    assert Capability.SHAPER not in welcome.offers
    begin(bench)
    refused(bench, shaper(bench), Reason.UNKNOWN_KIND)


@pytest.mark.parametrize("target", [(LIMIT, LIMIT), (-LIMIT, -LIMIT)])
def test_the_limits_themselves_can_be_reached(target: tuple[int, int]) -> None:
    bench = ready()
    bench.order(move(bench, *target))
    finished = bench.finish()
    assert (finished.outcome, finished.pan_steps, finished.tilt_steps) == (Outcome.ARRIVED, *target)


def test_a_repeat_is_accepted_and_not_done_again() -> None:
    bench = ready()
    request = move(bench, 3000)
    bench.order(request)
    bench.finish()
    bench.order(replace(request, pan_steps=Steps(-3000)))  # the same id is the same command, whatever its fields
    assert not bench.turns()
    bench.run_for(4.0)
    assert bench.status().pan_steps == 3000
    assert len([n for n in bench.of(Finished) if n.command_id == request.command_id]) == 1


def test_a_repeated_expose_opens_the_shutter_once() -> None:
    bench = ready()
    request = expose(bench)
    bench.order(request)
    bench.run_for(0.06)
    bench.order(request)
    bench.finish()
    bench.order(request)
    bench.run_for(3.0)
    assert bench.camera.ignored.total() == 0
    assert [n.command_id for n in bench.of(Finished)].count(request.command_id) == 1


def test_an_older_id_is_stale() -> None:
    bench = ready()
    old = move(bench, 100)
    bench.order(move(bench, 200))
    bench.finish()
    refused(bench, old, Reason.STALE_ID)


def test_a_refused_command_does_not_use_up_its_id() -> None:
    bench = Bench()
    bench.configure()
    early = move(bench)
    refused(bench, early, Reason.NOT_ARMED)
    bench.order(Arm(early.command_id, bench.boot_id, SILENCE_MS))
    assert bench.status().state is BoardState.READY


def test_ids_may_leap() -> None:
    bench = ready()
    for command_id in (2_000_000_000, 4_000_000_000, 2**32 - 1, 1, 1_000_000_000):
        bench.order(Move(CommandId(command_id), Steps(1), Steps(1)))
        bench.finish()
        for stale in (command_id - 1, command_id - 2_000_000_000):
            refused(bench, Move(CommandId(stale % 2**32 or 2**32 - 1), Steps(2), Steps(2)), Reason.STALE_ID)


@pytest.mark.parametrize("request_", [Stop(), Halt()])
def test_stop_and_halt_are_obeyed_by_a_disarmed_board(request_: Request) -> None:
    bench = Bench()
    assert bench.ask(request_) == Accepted()
    bench.run_for(1.0)
    status = bench.status()
    assert status.state is BoardState.DISARMED
    assert not status.flags
    assert not bench.turns()
