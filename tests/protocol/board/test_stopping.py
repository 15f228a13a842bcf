"""How the core comes to rest: from every state, by every cause, and nothing moves afterwards (SPEC, section 6)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from protocol.codec import frame_of
from protocol.framing import LEAD
from protocol.messages import (
    Accepted,
    BoardState,
    Cause,
    Expose,
    Finished,
    GetStatus,
    Halt,
    Held,
    Outcome,
    Reason,
    Reference,
    Refused,
    StatusFlag,
    Stop,
)
from tests.protocol.board.core import (
    HALF_PRESS_OUT,
    MOTORS_OUT,
    PAN_LIMIT,
    RELEASE_OUT,
    STOP_OPEN,
    SUPPLY_LOW,
    TILT_LIMIT,
    Core,
)
from tests.protocol.board.talker import ACCEL, SILENCE_MS, SPEED, Talker

KNOWN = StatusFlag.PAN_KNOWN | StatusFlag.TILT_KNOWN


def resting(talker: Talker) -> None:
    talker.make_ready()


def moving(talker: Talker) -> None:
    talker.make_ready()
    talker.order(talker.move(5000, -5000))
    talker.run(1000)


def referencing(talker: Talker) -> None:
    talker.make_ready()
    talker.order(talker.move(3000, 3000))
    talker.finish()
    talker.order(Reference(talker.next_id(), 500, 500, 10))
    talker.run(500)


def exposing(talker: Talker) -> None:
    talker.make_ready()
    talker.order(Expose(talker.next_id(), 0, 0, 50, 300, 1000))
    talker.run(100)


Begin = Callable[[Talker], None]
STATES = (resting, moving, referencing, exposing)
CUTS = (
    (PAN_LIMIT, Cause.LIMIT),
    (TILT_LIMIT, Cause.LIMIT),
    (STOP_OPEN, Cause.STOP_SWITCH),
    (SUPPLY_LOW, Cause.SUPPLY_LOW),
)


def check_at_rest(core: Core, talker: Talker, cause: Cause, begin: Begin, *, known: bool) -> None:
    """Disarmed, reported, and quiet whatever is asked, until it is armed and referenced again."""
    status = talker.await_disarmed()
    assert (status.cause, status.running_id) == (cause, 0)
    assert status.flags == (KNOWN if known and begin is not referencing else StatusFlag(0))
    assert not core.outputs & (HALF_PRESS_OUT | RELEASE_OUT)
    if begin is not resting:
        assert status.finished_outcome is Outcome.CUT_SHORT
        assert talker.of(Finished)[-1].outcome is Outcome.CUT_SHORT
    held = talker.of(Held)
    if cause in {Cause.HOST_STOP, Cause.HOST_HALT}:
        assert held == []
    else:
        assert [notice.cause for notice in held] == [cause]
        assert (held[0].pan_steps, held[0].tilt_steps) == (status.pan_steps, status.tilt_steps)
        told = [type(notice) for notice in talker.notices if isinstance(notice, Held | Finished)]
        assert told[-1] is Held
    steps = core.steps
    for request in (
        talker.move(1, 1),
        Reference(talker.next_id(), 500, 500, 10),
        Expose(talker.next_id(), 0, 0, 1, 1, 1),
    ):
        assert talker.ask(request) == Refused(Reason.NOT_ARMED)
    talker.run(1000)
    assert core.steps == steps
    talker.arm()
    if known and begin is not referencing:
        talker.order(talker.move(0, 0))
        talker.finish()
        assert core.places == (0, 0)
    else:
        assert talker.ask(talker.move(0, 0)) == Refused(Reason.UNKNOWN_POSITION)


@pytest.mark.parametrize("begin", STATES)
def test_stop_from_every_state(core: Core, talker: Talker, begin: Begin) -> None:
    begin(talker)
    assert talker.ask(Stop()) == Accepted()
    check_at_rest(core, talker, Cause.HOST_STOP, begin, known=True)


@pytest.mark.parametrize("begin", STATES)
def test_halt_from_every_state(core: Core, talker: Talker, begin: Begin) -> None:
    begin(talker)
    assert talker.ask(Halt()) == Accepted()
    steps = core.steps
    assert talker.status().state is BoardState.DISARMED
    core.run(5)
    assert core.steps == steps
    check_at_rest(core, talker, Cause.HOST_HALT, begin, known=False)


@pytest.mark.parametrize("begin", STATES)
def test_silence_in_every_state(core: Core, talker: Talker, begin: Begin) -> None:
    begin(talker)
    if begin in {moving, referencing}:  # these would end before the silence is over
        talker.order(Stop())
        talker.await_disarmed()
        talker.notices.clear()
        talker.arm(300)
        talker.order(talker.move(0, 0) if begin is moving else Reference(talker.next_id(), 500, 500, 10))
        talker.run(301)
        assert core.state == BoardState.STOPPING
    elif begin is exposing:
        talker.order(Stop())
        talker.notices.clear()
        talker.arm(300)
        talker.order(Expose(talker.next_id(), 0, 0, 50, 300, 1000))
        talker.run(301)
    else:
        talker.run(SILENCE_MS + 1)
    check_at_rest(core, talker, Cause.HOST_SILENCE, begin, known=True)


@pytest.mark.parametrize(("bit", "cause"), CUTS)
@pytest.mark.parametrize("begin", STATES)
def test_inputs_cut_it_short_in_every_state(core: Core, talker: Talker, begin: Begin, bit: int, cause: Cause) -> None:
    begin(talker)
    before = core.steps
    core.set_input(bit, on=True)
    core.run(10)
    assert core.steps == before
    assert bool(core.outputs & MOTORS_OUT) is (cause is not Cause.STOP_SWITCH)
    core.set_input(bit, on=False)
    core.run(100)
    check_at_rest(core, talker, cause, begin, known=False)
    assert core.outputs & MOTORS_OUT


@pytest.mark.parametrize(("bit", "cause"), CUTS)
def test_inputs_cut_a_ramp_to_rest_short(core: Core, talker: Talker, bit: int, cause: Cause) -> None:
    moving(talker)
    talker.order(Stop())
    core.run(20)
    before = core.steps
    core.set_input(bit, on=True)
    core.set_input(bit, on=False)
    core.run(100)
    assert core.steps == before
    check_at_rest(core, talker, cause, moving, known=False)


def test_halt_cuts_a_ramp_to_rest_short(core: Core, talker: Talker) -> None:
    moving(talker)
    talker.order(Stop())
    core.run(20)
    before = core.steps
    talker.order(Halt())
    core.run(100)
    assert core.steps == before
    check_at_rest(core, talker, Cause.HOST_HALT, moving, known=False)


@pytest.mark.parametrize(("bit", "cause"), [(STOP_OPEN, Cause.STOP_SWITCH), (SUPPLY_LOW, Cause.SUPPLY_LOW)])
def test_power_lost_at_rest_loses_the_position_too(core: Core, talker: Talker, bit: int, cause: Cause) -> None:
    talker.make_ready()
    talker.order(Stop())
    core.set_input(bit, on=True)
    core.set_input(bit, on=False)
    status = talker.status()
    assert (status.cause, status.flags) == (cause, StatusFlag(0))
    assert talker.of(Held) == []


def test_a_ramp_to_rest_takes_its_way_and_no_more(core: Core, talker: Talker) -> None:
    """v^2 / 2a, to the whole step (Biagiotti & Melchiorri, *Trajectory Planning*, Springer 2008, section 3.2)."""
    way = SPEED * SPEED / (2 * ACCEL)
    extra = []
    talker.make_ready()
    for cruise_ms in range(900, 916):
        talker.arm()
        talker.order(talker.move(8000, -8000))
        talker.run(cruise_ms)
        before, begun = core.places, core.now_ms
        talker.order(Stop())
        while core.state == BoardState.STOPPING:
            core.run(1)
        assert abs(core.now_ms - begun - 1000 * SPEED / ACCEL) <= 3
        extra += [core.places[0] - before[0] - way, before[1] - core.places[1] - way]
        talker.arm()
        talker.order(talker.move(0, 0))
        talker.finish()
    assert max(map(abs, extra)) <= 1
    assert abs(sum(extra) / len(extra)) <= 0.6


@pytest.mark.parametrize("ahead_ms", [5, 50, 300, 2000, 2400, 2900])
def test_a_stop_never_leads_beyond_the_target(core: Core, talker: Talker, ahead_ms: int) -> None:
    talker.make_ready()
    talker.order(talker.move(2500, -2500))
    talker.run(ahead_ms)
    talker.order(Stop())
    status = talker.await_disarmed()
    assert 0 <= core.places[0] <= 2500
    assert -2500 <= core.places[1] <= 0
    assert (status.pan_steps, status.tilt_steps) == core.places


def test_silence_is_counted_from_the_last_undamaged_frame(core: Core, talker: Talker) -> None:
    talker.greet()
    talker.configure()
    talker.arm(200)
    for _ in range(10):
        talker.run(199)
        assert talker.status().flags & StatusFlag.ARMED
    core.run(199)
    assert core.state == BoardState.READY
    core.run(1)
    assert core.state == BoardState.DISARMED


def test_damaged_frames_are_no_sign_of_a_host(core: Core, talker: Talker) -> None:
    talker.greet()
    talker.configure()
    talker.arm(200)
    right = frame_of(GetStatus(), 5)
    wrong = right[: len(LEAD) + 3] + bytes((right[len(LEAD) + 3] ^ 1,)) + right[len(LEAD) + 4 :]
    for _ in range(20):
        core.feed(wrong)
        core.run(10)
    assert core.state == BoardState.DISARMED


def test_arming_again_sets_the_patience_anew(core: Core, talker: Talker) -> None:
    talker.greet()
    talker.configure()
    talker.arm(200)
    talker.arm(1000)
    core.run(999)
    assert core.state == BoardState.READY
    core.run(1)
    assert core.state == BoardState.DISARMED


def test_a_limit_that_stays_met_does_not_keep_the_head_from_moving_away(core: Core, talker: Talker) -> None:
    talker.make_ready()
    core.set_input(PAN_LIMIT, on=True)
    assert talker.status().cause is Cause.LIMIT
    talker.arm()
    talker.reference()
    talker.order(talker.move(500, 500))
    assert talker.finish().outcome is Outcome.ARRIVED
    core.set_input(PAN_LIMIT, on=False)
    core.run(5)
    core.set_input(PAN_LIMIT, on=True)  # it chatters on release
    assert talker.ask(GetStatus())
    assert core.state == BoardState.READY
    core.set_input(PAN_LIMIT, on=False)
    core.run(50)
    core.set_input(PAN_LIMIT, on=True)
    assert talker.status().cause is Cause.LIMIT


def test_stop_while_a_frame_is_half_received(core: Core, talker: Talker) -> None:
    moving(talker)
    core.feed(frame_of(GetStatus(), 5)[: len(LEAD) + 3])
    talker.order(Stop())
    check_at_rest(core, talker, Cause.HOST_STOP, moving, known=True)
