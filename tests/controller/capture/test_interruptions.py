"""A run that is interrupted, told event by event: who is told, how long it waits, how it goes on, and its last words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.effects import (
    Announce,
    Ask,
    Checked,
    Conclude,
    Doubt,
    Effect,
    End,
    Greet,
    Listen,
    Reopen,
    Send,
    SendUrgent,
    Shut,
    Timer,
)
from controller.capture.events import Event, Kind
from controller.capture.machine import handle
from controller.capture.patience import LONGEST_PAUSE_NS, MOST_GREETINGS, MOST_INTERRUPTIONS, MOST_REFUSALS, PATIENCE_NS
from controller.capture.people import Care
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.program.build import build_program
from controller.program.program import ExposeStep, MoveStep, Program
from controller.session.rows import DoubtReason, Remembered, ShotOutcome
from protocol.messages import (
    ZERO_SWITCHES,
    Arm,
    Capability,
    Cause,
    EdgeFlag,
    Expose,
    GetIndex,
    Halt,
    Index,
    Move,
    Outcome,
    Reason,
    Reference,
    Stop,
)
from protocol.statistics import Trouble
from protocol.units import NS, BootId, CommandId, Steps
from tests.end_to_end.whole_runs import few_frames, kit_of

PROGRAM = build_program(kit_of(exposure={"bracket_ev": [0, 1]}), few_frames())
K, S = Kind, RunState
T = 100 * NS
BOOT, OTHER_BOOT = BootId(5), BootId(6)
STILL = Index(0, Steps(0), EdgeFlag(0), 0, Steps(0), EdgeFlag(0))
CARE = Care(lead_ns=10 * NS, asks=True)
ENDS = {K.EXPOSED: Outcome.EXPOSED_SYNC, K.NOT_CONFIRMED: Outcome.NO_SYNC, K.CUT_SHORT: Outcome.CUT_SHORT}


class Told:
    """A run and its clock; each event comes a second after the one before."""

    def __init__(self, program: Program = PROGRAM, care: Care | None = None, **values: Any) -> None:
        self.run = Run(program, care=care, **values)
        self.now_ns = T
        self.effects: list[Effect] = []

    def stands_in(self) -> RunState:
        return self.run.state

    def hear(self, kind: Kind, after_ns: int = NS, **values: Any) -> list[Effect]:
        self.now_ns += after_ns
        ending: dict[str, Any] = (
            {"command_id": CommandId(self.run.shot.id), "outcome": ENDS[kind]} if kind in ENDS else {}
        )
        if kind is K.WELCOMED:
            ending = {"command_id": CommandId(self.run.board.next_id - 1)}  # the last that it has taken
        usual: dict[str, Any] = {
            "boot_id": BOOT, "capabilities": ZERO_SWITCHES, "index": STILL, "board_clock_ms": 77, **ending,
        }  # fmt: skip
        self.effects = handle(self.run, Event(kind, self.now_ns, **{**usual, **values}))
        return self.effects

    def through(self, *kinds: Kind) -> Told:
        for kind in kinds:
            self.hear(kind)
        return self

    def of(self, kind: type) -> list[Any]:
        return [effect for effect in self.effects if isinstance(effect, kind)]

    @property
    def sent(self) -> list[type]:
        return [type(effect.request) for effect in self.effects if isinstance(effect, Send | SendUrgent)]

    @property
    def last_words(self) -> str:
        (end,) = self.of(End)
        return str(end.sentence)

    @property
    def timer_s(self) -> float | None:
        """When the timer that was set runs out, from now."""
        at_ns = self.of(Timer)[-1].at_ns
        return None if at_ns is None else (at_ns - self.now_ns) / NS


def exposing(care: Care | None = None, **values: Any) -> Told:
    """At the first exposure, with zero found and seen."""
    told = Told(care=care, **values).through(K.START, K.WELCOMED)
    leads = {
        S.WARNING: K.WAITED,
        S.ARMING: K.ARMED,
        S.REFERENCING: K.REFERENCED,
        S.CHECKING: K.CHECKED,
        S.MOVING: K.ARRIVED,
        S.SETTLING: K.WAITED,
    }
    while told.stands_in() is not S.EXPOSING:
        lead_ns = told.run.people.opens_ns - told.now_ns if told.stands_in() is S.WARNING else NS
        told.hear(leads[told.stands_in()], lead_ns)
    return told


def back_at_rest(told: Told, **rest: Any) -> Told:
    """The line is back, and the board is brought to rest."""
    told.through(K.WAITED, K.WELCOMED)
    assert told.stands_in() is S.QUIETING
    told.hear(K.AT_REST, **{"known": True, "at_steps": (4800, 1600), **rest})
    return told


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
def test_a_board_that_is_greeted_in_vain_ends_the_run(kind: Kind) -> None:
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
        assert told.stands_in() is (S.SUSPENDED if cause is Cause.HOST_SILENCE else S.FAILED)
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


# People.


@pytest.mark.parametrize("asks", [True, False])
@pytest.mark.parametrize("always", [True, False])
@pytest.mark.parametrize("seen", ["port gone", "supply low", "stop switch", "long away", "nobody"])
def test_after_an_interruption_a_person_says_when_to_go_on(asks: bool, always: bool, seen: str) -> None:
    """If somebody is there to say, and was probably at the head; or after every interruption if that is wanted."""
    told = exposing(Care(lead_ns=10 * NS, asks=asks, always_asks=always))
    told.hear(K.LINK_LOST, port_gone=seen == "port gone")
    assert told.of(Shut) == [Shut()]
    told.hear(K.WAITED, 11 * NS if seen == "long away" else NS)
    told.hear(K.WELCOMED)
    cause = {"supply low": Cause.SUPPLY_LOW, "stop switch": Cause.STOP_SWITCH}.get(seen, Cause.HOST_STOP)
    told.run.board.was_armed = seen != "stop switch"  # pressed and let go before this run
    told.hear(K.AT_REST, known=True, cause=cause, at_steps=(4800, 1600))
    asked = always or (asks and seen != "nobody")
    assert told.stands_in() is (S.ASKING if asked else S.WARNING)
    if asked:
        (ask,) = told.of(Ask)
        assert ask.question.words == "Is the head clear of hands and cables, so that it may move again?"
        assert ask.question.needs_person
        assert told.timer_s is None
        told.hear(K.ANSWERED)
        assert told.stands_in() is S.WARNING
    (announced,) = told.of(Announce)
    assert announced.lead_ns == 10 * NS
    assert announced.why.startswith("the run goes on with frame 0 (pan ")
    told.hear(K.WAITED, 10 * NS)
    assert told.stands_in() is S.ARMING


def test_who_says_no_keeps_the_head_still_until_it_is_told_to_go_on() -> None:
    told = exposing(CARE)
    told.hear(K.LINK_LOST, port_gone=True)
    back_at_rest(told)
    assert told.stands_in() is S.ASKING
    told.hear(K.DECLINED)
    assert (told.stands_in(), told.timer_s) == (S.PAUSED, None)
    told.hear(K.GO_ON)
    assert told.stands_in() is S.ASKING  # once more
    told.hear(K.ANSWERED)
    assert told.stands_in() is S.WARNING


@pytest.mark.parametrize(("late_ns", "again"), [(0, False), (2 * NS, False), (2 * NS + 1, True), (3600 * NS, True)])
def test_a_warning_that_the_host_slept_over_is_given_again(late_ns: int, again: bool) -> None:
    told = Told(care=CARE).through(K.START, K.WELCOMED)
    assert told.stands_in() is S.WARNING
    (announced,) = told.of(Announce)
    assert announced == Announce("the run begins by finding zero on both axes, then turns to frame 0", 10 * NS)
    told.hear(K.WAITED, 10 * NS + late_ns)
    assert told.stands_in() is (S.WARNING if again else S.ARMING)
    assert len(told.of(Announce)) == again
    if again:
        told.hear(K.WAITED, 10 * NS)
        assert told.stands_in() is S.ARMING


@pytest.mark.parametrize(("lead_s", "again_s"), [(0, 5), (3, 5), (10, 10)])
def test_later_warnings_leave_time_to_take_the_hands_away(lead_s: int, again_s: int) -> None:
    told = exposing(Care(lead_ns=lead_s * NS))
    told.hear(K.LINK_LOST)
    back_at_rest(told)
    (announced,) = told.of(Announce)
    assert announced.lead_ns == again_s * NS


def test_a_pause_shuts_the_gate_and_going_on_warns_again() -> None:
    told = exposing(CARE)
    told.hear(K.PAUSE)
    told.hear(K.EXPOSED)
    assert (told.stands_in(), told.of(Shut), told.timer_s) == (S.PAUSED, [Shut()], None)
    told.hear(K.GO_ON)
    assert told.stands_in() is S.RECOVERING  # the next exposure needs no motion


# Wind.


def windy() -> Told:
    told = Told().through(K.START)
    told.hear(K.WELCOMED, capabilities=ZERO_SWITCHES | Capability.WIND_SENSOR)
    told.through(K.ARMED, K.REFERENCED, K.CHECKED, K.ARRIVED)
    while told.stands_in() is not S.LISTENING:
        told.hear(K.CHECKED if told.stands_in() is S.CHECKING else K.WAITED)
    assert told.of(Listen) == [Listen()]
    assert told.timer_s is None
    return told


def test_in_calm_air_it_exposes_at_once() -> None:
    told = windy()
    told.hear(K.CALM)
    assert (told.stands_in(), told.sent) == (S.EXPOSING, [Expose])


@pytest.mark.parametrize("minutes", [1, 29, 31])
def test_it_waits_for_calm_for_half_an_hour_and_then_for_the_head(minutes: int) -> None:
    told = windy()
    told.hear(K.GUSTY)
    assert (told.stands_in(), told.timer_s) == (S.WINDY, 5.0)
    told.hear(K.WAITED)
    assert told.of(Listen) == [Listen()]
    told.hear(K.GUSTY, minutes * 60 * NS - NS)
    assert told.stands_in() is (S.STOPPING if minutes > 30 else S.WINDY)
    if told.stands_in() is S.STOPPING:
        told.hear(K.AT_REST)
        assert told.last_words.startswith("It has blown too hard for half an hour")
        return
    told.hear(K.WAITED)
    told.hear(K.CALM)
    move = next(step for step in PROGRAM.steps if isinstance(step, MoveStep))
    assert (told.stands_in(), told.timer_s) == (S.SETTLING, move.settle_ns / NS)
    assert told.run.patience.windy_since_ns is None


@pytest.mark.parametrize(("seconds", "shut"), [(10, False), (11, True)])
def test_after_a_longer_wind_somebody_may_be_at_the_head(seconds: int, shut: bool) -> None:
    told = windy()
    told.run.people.care, told.run.people.announced = CARE, True
    told.hear(K.GUSTY)
    told.hear(K.WAITED)
    told.hear(K.CALM, (seconds - 1) * NS)
    assert bool(told.of(Shut)) is shut


# Switches.


def off_by(edges: int) -> Index:
    """Both switches have changed, and far from where they should be."""
    return Index(edges, Steps(300), EdgeFlag.UPWARD | EdgeFlag.ON, edges, Steps(300), EdgeFlag.UPWARD | EdgeFlag.ON)


def test_a_switch_found_elsewhere_makes_all_suspect_and_zero_is_found_again_but_not_for_ever() -> None:
    told = exposing()
    for times in range(1, 5):
        moves = 0
        while not (told.stands_in() is S.CHECKING and told.run.position.last_move is not None):
            told.hear({
                S.EXPOSING: K.EXPOSED, S.MOVING: K.ARRIVED, S.REFERENCING: K.REFERENCED, S.CHECKING: K.CHECKED,
            }.get(told.stands_in(), K.WAITED))  # fmt: skip
            moves += 1
            assert moves < 60
        made = told.run.position.made_since_checked
        told.hear(K.CHECKED, index=off_by(2 * times))
        if made:
            assert [set(one.exposures) for one in told.of(Doubt)] == [made]
        assert told.of(Checked) == []
        if times <= 3:
            assert (told.stands_in(), told.sent) == (S.REFERENCING, [Reference])
        else:
            assert told.stands_in() is S.STOPPING
    told.hear(K.AT_REST)
    assert "switch at zero of pan and tilt was found elsewhere 4 times" in told.last_words


# Last words.


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ([K.STOP, K.AT_REST], "Stopped as asked."),
        ([K.HALT, K.AT_REST], "Halted as asked: the position of the head is no longer known."),
        ([K.STOP, K.HALT, K.AT_REST], "Halted as asked: the position of the head is no longer known."),
        ([K.STOP, K.RESTARTED], "Stopped as asked."),
        (
            [K.STOP, K.OVERDUE],
            "The board does not say that the head stands still; support the camera and cut the motor power before you "
            "reach in.",
        ),
        (
            [K.LINK_LOST, K.STOP],
            "Stopped as asked while the board was out of reach; it stops by itself when it hears nothing.",
        ),
    ],
)
def test_the_last_words_of_a_run_that_ends_early(events: Sequence[Kind], words: str) -> None:
    told = exposing()
    told.through(*events)
    assert told.stands_in() is S.FAILED
    assert told.of(End) == [End(False, words, early=True)]


def test_before_the_board_has_answered_a_stop_or_a_halt_ends_at_once() -> None:
    told = Told().through(K.START, K.STOP)
    assert told.of(End) == [End(False, "Stopped as asked.", early=True)]
    told = Told().through(K.START, K.HALT)
    assert told.sent == [Halt]
    assert told.last_words == "Halted as asked, before the board had answered; nothing was armed."


def test_a_contradiction_while_it_does_not_come_to_rest_tells_of_both() -> None:
    told = exposing()
    told.hear(K.CONTRADICTED, sentence="It cannot be.")
    assert (told.stands_in(), told.sent) == (S.STOPPING, [Stop])
    assert [one.outcome for one in told.of(Conclude)] == [ShotOutcome.UNCONFIRMED]
    told.hear(K.CONTRADICTED, sentence="Nor can this.")
    told.hear(K.OVERDUE)
    assert told.last_words.startswith("It cannot be. The board does not say that the head stands still;")


def test_an_exposure_cut_short_may_have_used_up_a_turn_of_the_bracket() -> None:
    """Nobody knows whose turn it is then: the whole bracket is made again, and any of it may be the longest."""
    told = exposing()
    assert told.run.progress.turn is not None
    told.hear(K.CUT_SHORT)
    assert told.stands_in() is S.SUSPENDED
    assert told.run.progress.turn.coming is None
    back_at_rest(told)
    exposures = [step.exposure for step in told.run.progress.steps if isinstance(step, ExposeStep) and step.frame == 0]
    assert exposures == [0, 1]


@pytest.mark.parametrize("kind", [K.EXPOSED, K.NOT_CONFIRMED, K.CUT_SHORT])
def test_how_an_exposure_ended_is_written_while_the_run_stops_or_waits(kind: Kind) -> None:
    words = {K.EXPOSED: "confirmed", K.NOT_CONFIRMED: "unconfirmed", K.CUT_SHORT: "interrupted"}
    for before in (K.STOP, K.LINK_LOST):
        told = exposing()
        told.hear(before)
        told.hear(kind)
        assert [one.outcome.value for one in told.of(Conclude)] == [words[kind]]
        told.hear(kind, command_id=CommandId(4711))
        assert told.of(Conclude) == []
