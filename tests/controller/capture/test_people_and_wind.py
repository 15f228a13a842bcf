"""A run told event by event: who is warned and asked, how the wind is waited for, and its last words."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from controller.capture.effects import (
    Announce,
    Ask,
    Conclude,
    Doubt,
    End,
    Listen,
    Shut,
    SwitchesChecked,
)
from controller.capture.events import EventKind
from controller.capture.people import Precautions
from controller.program.program import ExposeStep
from controller.session.rows import ShotOutcome
from protocol.messages import (
    ZERO_SWITCHES,
    Capability,
    Cause,
    EdgeFlag,
    Expose,
    Halt,
    Index,
    Reference,
    Stop,
)
from protocol.units import NS, CommandId, Steps
from tests.controller.capture.told import CARE, PROGRAM, K, S, Told, back_at_rest, exposing

# People.


@pytest.mark.parametrize("asks", [True, False])
@pytest.mark.parametrize("always", [True, False])
@pytest.mark.parametrize("seen", ["port gone", "supply low", "stop switch", "long away", "nobody"])
def test_after_an_interruption_a_person_says_when_to_go_on(asks: bool, always: bool, seen: str) -> None:
    """If somebody is there to say, and was probably at the head; or after every interruption if that is wanted."""
    told = exposing(Precautions(lead_ns=10 * NS, asks=asks, always_asks=always))
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
    told = exposing(Precautions(lead_ns=lead_s * NS))
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
    assert PROGRAM.stop_settle_ns > 0  # the wind has shaken the camera, however still it had arrived
    assert (told.stands_in(), told.timer_s) == (S.SETTLING, PROGRAM.stop_settle_ns / NS)
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
        assert told.of(SwitchesChecked) == []
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
def test_the_last_words_of_a_run_that_ends_early(events: Sequence[EventKind], words: str) -> None:
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
def test_how_an_exposure_ended_is_written_while_the_run_stops_or_waits(kind: EventKind) -> None:
    words = {K.EXPOSED: "confirmed", K.NOT_CONFIRMED: "unconfirmed", K.CUT_SHORT: "interrupted"}
    for before in (K.STOP, K.LINK_LOST):
        told = exposing()
        told.hear(before)
        told.hear(kind)
        assert [one.outcome.value for one in told.of(Conclude)] == [words[kind]]
        told.hear(kind, command_id=CommandId(4711))
        assert told.of(Conclude) == []
