"""A run that is interrupted, told event by event: how long it waits, what it shoots again, how it goes on."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.effects import (
    Conclude,
    Doubt,
    Greet,
    Reopen,
    Timer,
)
from controller.capture.events import EventKind
from controller.capture.patience import LONGEST_PAUSE_NS, MOST_GREETINGS, MOST_INTERRUPTIONS, MOST_REFUSALS, PATIENCE_NS
from controller.session.rows import DoubtReason, Remembered, ShotOutcome
from protocol.messages import (
    Arm,
    Cause,
    GetIndex,
    Move,
    Outcome,
    Reason,
    Reference,
    Stop,
)
from protocol.statistics import Trouble
from protocol.units import NS, CommandId
from tests.controller.capture.told import BOOT, OTHER_BOOT, PROGRAM, K, S, Told, back_at_rest, exposing


def test_a_lost_line_is_waited_for_greeted_and_gone_on_with() -> None:
    told = exposing()
    told.hear(K.LINK_LOST, trouble=Trouble.NOTHING)
    assert (told.stands_in(), told.timer_s, told.of(Conclude)) == (S.SUSPENDED, 0.5, [])
    told.hear(K.WAITED)
    assert (told.stands_in(), [type(one) for one in told.effects]) == (S.RECONNECTING, [Timer, Reopen, Greet])
    assert told.timer_s is None
    told.hear(K.WELCOMED)
    assert (told.stands_in(), told.sent) == (S.QUIETING, [Stop])
    assert told.of(Timer) == [Timer(told.now_ns + PROGRAM.stop_deadline_ns, overdue=True)]
    told.hear(K.AT_REST, known=True, at_steps=(4800, 1600))
    assert told.stands_in() is S.ARMING
    assert told.sent[-1] is Arm
    told.hear(K.ARMED)  # zero is still known, but not what the switches did meanwhile
    assert (told.stands_in(), told.sent) == (S.CHECKING, [GetIndex])
    told.hear(K.CHECKED)
    assert (told.stands_in(), told.sent) == (S.MOVING, [Move])


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("outcome", [Outcome.EXPOSED_SYNC, Outcome.NO_SYNC, Outcome.CUT_SHORT, Outcome.NONE])
@pytest.mark.parametrize("ours", [True, False])
def test_what_came_of_the_exposure_is_heard_with_the_rest(known: bool, outcome: Outcome, ours: bool) -> None:
    told = exposing()
    shot = told.run.shot.id
    told.hear(K.LINK_LOST)
    back_at_rest(told, known=known, outcome=outcome, command_id=CommandId(shot if ours else shot + 9))
    heard = ours and outcome is not Outcome.NONE
    words = {
        Outcome.EXPOSED_SYNC: ShotOutcome.CONFIRMED, Outcome.NO_SYNC: ShotOutcome.UNCONFIRMED,
        Outcome.CUT_SHORT: ShotOutcome.INTERRUPTED,
    }  # fmt: skip
    assert [one.outcome for one in told.of(Conclude)] == ([words[outcome]] if heard else [])
    assert [one.reported_steps for one in told.of(Conclude)] == ([(4800, 1600) if known else None] if heard else [])
    made = heard and outcome is Outcome.EXPOSED_SYNC
    assert ((0, 0) in told.run.progress.left | told.run.progress.later) is not (made and known)
    assert told.run.position.known is known
    assert [set(one.exposures) for one in told.of(Doubt)] == ([{(0, 0)}] if made and not known else [])
    assert told.run.shot.id == 0


def test_a_board_that_restarted_knows_nothing_and_what_was_made_is_made_again() -> None:
    told = exposing()
    told.through(K.EXPOSED, K.WAITED)  # the first of the bracket is made, the second is under way
    told.hear(K.RESTARTED)
    assert told.stands_in() is S.SUSPENDED
    told.hear(K.WAITED)
    told.hear(K.WELCOMED, boot_id=OTHER_BOOT)
    assert told.of(Doubt) == [Doubt(((0, 0),), DoubtReason.SUSPECT)]
    told.hear(K.AT_REST, boot_id=OTHER_BOOT)
    told.hear(K.ARMED, boot_id=OTHER_BOOT)
    assert told.sent == [Reference]
    assert (0, 1) in told.run.progress.left
    assert (0, 0) in told.run.progress.later


@given(st.integers(1, 40))
def test_a_line_that_stays_away_is_tried_at_growing_intervals_for_half_an_hour(attempts: int) -> None:
    told = exposing()
    told.hear(K.LINK_LOST)
    waited = [told.timer_s]
    for _ in range(attempts):
        told.through(K.WAITED)
        told.hear(K.LINK_LOST, 0)
        if told.stands_in() is S.FAILED:
            break
        waited.append(told.timer_s)
    assert waited[:6] == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0][: len(waited)]
    assert set(waited[6:]) <= {LONGEST_PAUSE_NS / NS}
    told.through(K.WAITED)
    told.hear(K.LINK_LOST, PATIENCE_NS, trouble=Trouble.NOTHING)
    assert told.stands_in() is S.FAILED
    assert "does not answer" in told.last_words


@pytest.mark.parametrize(("trouble", "waits"), [(Trouble.NOTHING, True), (Trouble.NO_ANSWER, False)])
def test_waiting_mends_no_firmware(trouble: Trouble, waits: bool) -> None:
    """Where whole frames come but never the answer a minute is enough."""
    told = exposing()
    told.hear(K.LINK_LOST)
    told.hear(K.WAITED)
    told.hear(K.LINK_LOST, 61 * NS, trouble=trouble)
    assert (told.stands_in() is S.SUSPENDED) is waits


@pytest.mark.parametrize("kind", [K.LINK_LOST, K.RESTARTED])
def test_a_board_that_is_greeted_in_vain_ends_the_run(kind: EventKind) -> None:
    told = exposing()
    told.hear(K.LINK_LOST)
    for _ in range(MOST_GREETINGS - 1):
        told.through(K.WAITED, K.WELCOMED, kind)
        assert told.stands_in() is S.SUSPENDED
    told.through(K.WAITED, K.WELCOMED, kind)
    assert told.stands_in() is S.FAILED
    assert f"answered {MOST_GREETINGS} greetings in a row" in told.last_words


def test_a_run_that_gets_nowhere_ends() -> None:
    told = exposing()
    for number in range(1, MOST_INTERRUPTIONS + 2):
        told.hear(K.LINK_LOST)
        back_at_rest(told)
        told.hear(K.ARMED)
        assert (told.stands_in() is S.STOPPING) is (number > MOST_INTERRUPTIONS)
        if told.stands_in() is S.CHECKING:
            told.through(K.CHECKED, K.ARRIVED)
            while told.stands_in() in {S.CHECKING, S.SETTLING, S.RECOVERING}:
                told.hear(K.CHECKED if told.stands_in() is S.CHECKING else K.WAITED)
    told.hear(K.AT_REST)
    assert f"interrupted {MOST_INTERRUPTIONS + 1} times without an exposure in between" in told.last_words


def test_a_command_that_is_late_is_looked_into_once() -> None:
    told = exposing()
    told.hear(K.OVERDUE)
    assert told.stands_in() is S.SUSPENDED
    back_at_rest(told)
    told.hear(K.ARMED)
    told.hear(K.CHECKED)
    assert told.stands_in() is S.MOVING
    told.hear(K.OVERDUE)
    assert (told.stands_in(), told.sent) == (S.STOPPING, [Stop])
    told.hear(K.AT_REST)
    assert told.last_words.startswith("The board took far longer than planned")


@pytest.mark.parametrize("reason", Reason)
def test_a_refusal_of_a_command_is_looked_into_if_the_board_lost_its_place(reason: Reason) -> None:
    told = exposing()
    told.hear(K.REFUSED, reason=reason)
    lost = reason in {Reason.NOT_ARMED, Reason.WRONG_BOOT, Reason.NOT_CONFIGURED, Reason.UNKNOWN_POSITION}
    assert told.stands_in() is (S.SUSPENDED if lost else S.STOPPING)


def test_a_board_that_refuses_again_and_again_ends_the_run() -> None:
    told, refusals = exposing(), 0
    while told.stands_in() is not S.STOPPING:
        told.hear(K.REFUSED, reason=Reason.NOT_ARMED)
        refusals += 1
        if told.stands_in() is S.SUSPENDED:
            back_at_rest(told)
            assert told.stands_in() is S.ARMING
    assert refusals == MOST_REFUSALS
    told.hear(K.AT_REST)
    assert told.last_words.startswith("The board says it is not armed")


@pytest.mark.parametrize("cause", Cause)
@pytest.mark.parametrize("when", ["under way", "after a lost line", "before it was armed"])
def test_why_a_board_stopped_decides_whether_somebody_must_look(cause: Cause, when: str) -> None:
    needs_a_look = cause in {Cause.LIMIT, Cause.STALL, Cause.STOP_SWITCH, Cause.HOST_HALT, Cause.ZERO_NOT_FOUND}
    if when == "under way":
        told = exposing()
        told.through(K.EXPOSED, K.WAITED)
        told.hear(K.HELD, cause=cause)
        passes = cause in {Cause.HOST_SILENCE, Cause.SUPPLY_LOW}
        assert told.stands_in() is (S.SUSPENDED if passes else S.FAILED)
        doubted = [set(one.exposures) for one in told.of(Doubt)]
        assert doubted == ([{(0, 0)}] if cause in {Cause.STALL, Cause.LIMIT} else [])
        return
    if when == "after a lost line":
        told = exposing()
        told.hear(K.LINK_LOST)
    else:
        told = Told(remembered=Remembered(boot_id=BOOT), care=None).through(K.START, K.WELCOMED)
        told.hear(K.AT_REST, cause=cause, known=True)
        assert told.stands_in() is S.ARMING  # of an earlier run
        return
    back_at_rest(told, cause=cause)
    assert told.stands_in() is (S.FAILED if needs_a_look else S.ARMING)
