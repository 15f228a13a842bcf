"""What a board cannot truthfully say, with the sentence that the operator reads of it, and where tolerance ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture import belief
from controller.capture.belief import CommandOutcome, Known, SentCommand
from controller.capture.board_belief import BoardBelief
from controller.capture.words.untruths import OF_PLACE, Untruth
from controller.program.timing import motion_ns
from protocol.messages import (
    BoardState,
    Capability,
    EdgeFlag,
    Expose,
    Halt,
    Index,
    Move,
    Outcome,
    Reference,
    Status,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.units import MS, NS, BootId, CommandId, Steps
from tests.controller.capture.test_belief import (
    BLIND,
    FITTED,
    ID,
    KNOWN,
    MOVED,
    MOVING,
    NOW,
    PROGRAM,
    STATUS,
    TRUE,
    asked,
    move_to,
    places,
    ramps_ns,
)

OTHER = CommandId(8)
EXPOSE = Expose(ID, 3, 1, 0, 100, 900)
REFERENCE = Reference(ID, 100, 100, 10)
EXPOSING = replace(STATUS, state=BoardState.EXPOSING, running_id=ID)
REFERENCING = replace(STATUS, state=BoardState.REFERENCING, running_id=ID, flags=StatusFlag.ARMED)
DISARMED = replace(STATUS, state=BoardState.DISARMED, flags=belief.KNOWN)
STOPPED = replace(KNOWN, stopped=True)
EXPOSED = replace(KNOWN, asked=asked(EXPOSE, (4, 5)))
REFERRED = replace(KNOWN, asked=asked(REFERENCE))

BELIEVED: dict[str, tuple[Status, Known]] = {
    **TRUE,
    "exposing": (EXPOSING, EXPOSED),
    "referencing": (REFERENCING, REFERRED),
    "referred": (replace(STATUS, finished_id=ID, pan_steps=Steps(0), tilt_steps=Steps(0)), REFERRED),
    "exposed": (replace(STATUS, finished_id=ID), EXPOSED),
    "at rest after a stop, where it stood": (DISARMED, STOPPED),
    "at rest after a stop on its way": (replace(DISARMED, pan_steps=Steps(6)), replace(STOPPED, asked=MOVED.asked)),
    "still braking after a stop": (replace(MOVING, state=BoardState.STOPPING, flags=belief.KNOWN), STOPPED),
    "the host has disarmed it itself": (EXPOSING, replace(KNOWN, armed=False)),
    "turning, and its switch not met": (REFERENCING, replace(REFERRED, at_steps=None)),
    "elsewhere while it turns": (replace(MOVING, pan_steps=Steps(400)), MOVED),
    "nothing done yet": (
        replace(STATUS, finished_id=CommandId(0), finished_clock_ms=2**31),
        replace(KNOWN, status_clock_ms=None),
    ),
    "disarmed by a lost place": (replace(DISARMED, flags=StatusFlag.PAN_KNOWN), KNOWN),
    "the same millisecond": (replace(STATUS, clock_ms=990, finished_clock_ms=990), KNOWN),
    "not known where it stood": (replace(STATUS, pan_steps=Steps(77)), replace(KNOWN, at_steps=None)),
}
# What is said, what is known, and which words the operator reads of it.
LIES: dict[str, tuple[Status, Known, Untruth, tuple[str, ...]]] = {
    "its clock ran backward": (replace(STATUS, clock_ms=989), KNOWN, Untruth.CLOCK, ("from 990 to 989 ms",)),
    "an end still to come": (
        replace(STATUS, finished_clock_ms=1001), KNOWN, Untruth.CLOCK, ("from 1001 to 1000 ms",),
    ),
    "ready and not armed": (replace(STATUS, flags=belief.KNOWN), KNOWN, Untruth.ARMED, ("READY", "is not armed")),
    "disarmed and armed": (
        replace(STATUS, state=BoardState.DISARMED), KNOWN, Untruth.ARMED, ("DISARMED", "is armed"),
    ),
    "stopping and armed": (
        replace(MOVING, state=BoardState.STOPPING), MOVED, Untruth.ARMED, ("STOPPING", "is armed"),
    ),
    "ready with something to do": (
        replace(STATUS, running_id=ID), MOVED, Untruth.RUNNING, ("READY", "carries out command 7"),
    ),
    "moving with nothing to do": (
        replace(MOVING, running_id=CommandId(0)), MOVED, Untruth.RUNNING, ("MOVING", "carries out nothing"),
    ),
    "another command": (
        replace(MOVING, running_id=OTHER), MOVED, Untruth.OTHER, ("command 8", "another program"),
    ),
    "a command, and none was given": (MOVING, KNOWN, Untruth.OTHER, ("command 7",)),
    "a move that exposes": (
        replace(EXPOSING), MOVED, Untruth.WRONG_STATE, ("the move to pan 9, tilt 9 steps", "EXPOSING"),
    ),
    "an exposure that moves": (MOVING, EXPOSED, Untruth.WRONG_STATE, ("exposure 1", "MOVING")),
    "a reference run that moves": (MOVING, REFERRED, Untruth.WRONG_STATE, ("the reference run", "MOVING")),
    "a command that is lost": (STATUS, MOVED, Untruth.LOST, ("accepted the move to pan 9, tilt 9 steps",)),
    "a head that moved by itself": (
        replace(STATUS, tilt_steps=Steps(6)), KNOWN, Untruth.MOVED, ("at pan 4, tilt 6 steps", "at pan 4, tilt 5 steps"),
    ),
    "a head that moved while it exposed": (
        replace(EXPOSING, pan_steps=Steps(-4)), EXPOSED, Untruth.MOVED, ("at pan -4, tilt 5 steps",),
    ),
    "a head that moved although it was stopped": (
        replace(DISARMED, pan_steps=Steps(3)), STOPPED, Untruth.MOVED, ("at pan 3, tilt 5 steps",),
    ),
    "no place for pan": (
        replace(STATUS, flags=StatusFlag.ARMED | StatusFlag.TILT_KNOWN), KNOWN, Untruth.FORGOT, ("where pan points",),
    ),
    "no place for tilt": (
        replace(STATUS, flags=StatusFlag.ARMED | StatusFlag.PAN_KNOWN), KNOWN, Untruth.FORGOT, ("where tilt points",),
    ),
    "no place for both": (
        replace(STATUS, flags=StatusFlag.ARMED), KNOWN, Untruth.FORGOT, ("where pan and tilt points",),
    ),
    "no place for what it has just turned to": (
        replace(STATUS, flags=StatusFlag.ARMED, finished_id=ID), MOVED, Untruth.FORGOT, ("pan and tilt",),
    ),
    "going on after a stop": (MOVING, STOPPED, Untruth.GOES_ON, ("MOVING", "cut the motor power")),
}  # fmt: skip


@pytest.mark.parametrize("name", BELIEVED)
def test_what_can_be_true_is_believed(name: str) -> None:
    assert belief.of_status(*BELIEVED[name]) is None


@pytest.mark.parametrize("name", LIES)
def test_what_cannot_be_true_is_told_in_words(name: str) -> None:
    status, known, untruth, words = LIES[name]
    lie = belief.of_status(status, known)
    assert lie is not None
    assert lie.sentence.startswith(untruth.value.partition("{")[0])
    assert [word for word in words if word not in lie.sentence] == []
    assert lie.place is (untruth in OF_PLACE)


def motors_ns(here: tuple[int, int], goal: tuple[int, int]) -> int:
    """The ramps of a move that is a step shorter on each axis: a board rounds them to whole steps."""
    axes = zip(here, goal, (PROGRAM.pan, PROGRAM.tilt), strict=True)
    return max(motion_ns(max(0, abs(b - a) - 1), one.speed_steps_s, one.accel_steps_s2) for a, b, one in axes)


# Where tolerance ends: a twentieth for two clocks that do not agree, and 20 ms for what is counted in milliseconds.
@given(here=places, goal=places)
def test_a_move_may_be_a_twentieth_and_twenty_milliseconds_sooner(here: tuple[int, int], goal: tuple[int, int]) -> None:
    least = round(motors_ns(here, goal) * 0.95) - 20_000_000
    one = asked(move_to(goal), here, None)
    assert belief.of_end(one, CommandOutcome(Outcome.ARRIVED, goal, 0, NOW + max(0, least)), PROGRAM, FITTED) is None
    if least > 0:
        lie = belief.of_end(one, CommandOutcome(Outcome.ARRIVED, goal, 0, NOW + least - 1), PROGRAM, FITTED)
        assert lie is not None
        assert f"{least / NS:.3f} s at least" in lie.sentence
    assert (
        belief.of_end(asked(move_to(goal), None), CommandOutcome(Outcome.ARRIVED, goal, 0, NOW), PROGRAM, FITTED) is None
    )


@given(st.integers(0, 3000), st.integers(1, 5000), st.integers(1, 5000), st.booleans(), st.integers(0, 2**32 - 1))
def test_an_exposure_by_the_boards_own_clock(focus: int, press: int, limit: int, sync: bool, clock: int) -> None:
    """A camera without a contact is waited for until the limit; milliseconds are counted over the wrap at 2^32."""
    outcome, fitted = (Outcome.EXPOSED_SYNC, FITTED) if sync else (Outcome.EXPOSED_BLIND, BLIND)
    least_ns = max(0, round((focus + press + (0 if sync else limit)) * MS * 0.95) - 20 * MS)
    least_ms = -(-least_ns // MS)
    one = SentCommand(Expose(ID, 0, 0, focus, press, limit), NOW, (4, 5), clock, NOW, accepted=True)
    for late_ms, believed in ((0, True), (-1, False)):
        if least_ms + late_ms >= 0:
            told = CommandOutcome(outcome, (4, 5), (clock + least_ms + late_ms) % 2**32, NOW + 20 * NS)
            assert (belief.of_end(one, told, PROGRAM, fitted) is None) is believed


@pytest.mark.parametrize("rate", [None, 1.0, 1.5])
def test_only_a_clock_that_is_known_to_be_fast_makes_a_board_quicker(rate: float | None) -> None:
    goal, quick = (50_000, 0), 4.0
    least = round(motors_ns((0, 0), goal) * 0.95) - 20 * MS
    one = SentCommand(move_to(goal), NOW, (0, 0), None, rate=rate, accepted=True)
    told = CommandOutcome(Outcome.ARRIVED, goal, 0, NOW + round(least / quick))
    assert belief.of_end(one, told, PROGRAM, FITTED) is not None
    assert belief.of_end(replace(one, rate=quick), told, PROGRAM, FITTED) is None
    # A quarter more of leeway than its clock shows, and no more.
    assert belief.of_end(replace(one, rate=quick / 1.24), told, PROGRAM, FITTED) is None
    assert belief.of_end(replace(one, rate=quick / 1.26), told, PROGRAM, FITTED) is not None


def test_a_clock_of_one_command_alone_also_tells_how_fast_a_board_lives() -> None:
    goal = (50_000, 0)
    least_ms = ramps_ns((0, 0), goal) // MS + 1
    one = SentCommand(move_to(goal), NOW, (0, 0), 100, NOW, accepted=True)
    fast = CommandOutcome(Outcome.ARRIVED, goal, 100 + least_ms, NOW + least_ms * MS // 4)
    assert belief.of_end(one, fast, PROGRAM, FITTED) is None
    backward = replace(fast, clock_ms=99, heard_ns=NOW + least_ms * MS)
    lie = belief.of_end(one, backward, PROGRAM, FITTED)
    assert lie is not None
    assert "ran backward, from 100 to 99 ms" in lie.sentence


@pytest.mark.parametrize(
    ("outcome", "fitted", "words"),
    [
        (Outcome.EXPOSED_SYNC, BLIND, "contact answered, but that it has no such contact"),
        (Outcome.NO_SYNC, BLIND, "contact stayed silent, but that it has no such contact"),
        (Outcome.EXPOSED_BLIND, FITTED, "exposed without one"),
    ],
)
def test_a_contact_that_cannot_be(outcome: Outcome, fitted: Capability, words: str) -> None:
    lie = belief.of_end(asked(EXPOSE, (4, 5)), CommandOutcome(outcome, (4, 5), 0, NOW + NS), PROGRAM, fitted)
    assert lie is not None
    assert words in lie.sentence


@given(st.sampled_from(["pan", "tilt"]), st.integers(0, 2**32 - 1), st.integers(0, 2**31 - 1))
def test_edges_grow_and_only_where_there_is_a_switch(axis: str, before: int, more: int) -> None:
    counts = {"pan": 0, "tilt": 0}

    def index(count: int) -> Index:
        pan, tilt = (counts | {axis: count}).values()
        return Index(pan, Steps(3), EdgeFlag.UPWARD, tilt, Steps(0), EdgeFlag.ON)

    earlier, later = index(before), index((before + more) % 2**32)
    assert belief.of_index(later, earlier, FITTED) is None
    back = belief.of_index(earlier, later, FITTED)
    assert (back is None) is (more == 0)
    assert back is None or f"of the {axis} switch backward" in back.sentence
    without = FITTED & ~{"pan": Capability.PAN_SWITCH, "tilt": Capability.TILT_SWITCH}[axis]
    lie = belief.of_index(earlier, None, without)
    assert (lie is None) is (before == 0)
    assert lie is None or f"of the {axis} switch, but that it has no such" in lie.sentence


WELCOME = Welcome(1, 0, 5, BootId(3), CommandId(0), FITTED, 64, 20_000)


def believed() -> BoardBelief:
    """Of a board that was welcomed and stands at a place that it knows."""
    found = BoardBelief(PROGRAM)
    assert found.welcome(WELCOME) is None
    assert found.rest(DISARMED, NOW) is None
    assert found.knows_place
    return found


def moved_by_itself(found: BoardBelief, **said: object) -> bool:
    """Whether a status from elsewhere would be held against the board."""
    found.ask(armed=False, stopped=True)
    lie = found.status(replace(DISARMED, pan_steps=Steps(90), **said), NOW)  # type: ignore[arg-type]
    return lie is not None and lie.place


@pytest.mark.parametrize(
    ("name", "still"),
    [("greet", True), ("stop", True), ("halt", False), ("hold", False), ("lose_place", False), ("forget", False)],
)
@pytest.mark.parametrize("turning", [False, True])
def test_what_leaves_the_place_of_a_head_in_doubt(name: str, still: bool, turning: bool) -> None:
    found = believed()
    found.send(move_to((9, 9)) if turning else EXPOSE, NOW)
    halts = {"stop": lambda: found.stop(Stop()), "halt": lambda: found.stop(Halt())}
    halts.get(name, getattr(found, name, None))()  # type: ignore[misc]
    assert found.knows_place is (still and not turning)
    assert moved_by_itself(found) is (still and not turning)


def test_a_question_from_before_a_change_is_taken_for_what_it_says() -> None:
    """The answer may have been on its way when the command went out."""
    elsewhere = replace(STATUS, pan_steps=Steps(90))
    changes: dict[str, Callable[[BoardBelief], object]] = {
        "sent": lambda one: one.send(EXPOSE, NOW),
        "held": lambda one: one.hold(),
        "given up": lambda one: one.give_up(),
        "forgotten": lambda one: one.forget(),
        "accepted": lambda one: one.accept(EXPOSE),
    }
    for change in changes.values():
        found = believed()
        found.ask(armed=True, stopped=False)
        change(found)
        assert found.status(elsewhere, NOW) is None
    clears: tuple[Callable[[BoardBelief], object], ...] = (lambda one: one.greet(), lambda one: one.stop(Stop()))
    for cleared in clears:
        found = believed()
        found.ask(armed=True, stopped=False)
        cleared(found)
        assert found.unanswered() is None
    found = believed()
    found.ask(armed=True, stopped=False)
    assert found.status(elsewhere, NOW) is not None


@pytest.mark.parametrize("outcome", [Outcome.EXPOSED_SYNC, Outcome.EXPOSED_BLIND, Outcome.NO_SYNC, Outcome.CUT_SHORT])
@pytest.mark.parametrize("fitted", [FITTED, BLIND])
@pytest.mark.parametrize("took_ms", [100, 2000])
@pytest.mark.parametrize("at", [(4, 5), (4, 6), None])
def test_what_came_of_an_exposure_that_a_stop_met(
    outcome: Outcome, fitted: Capability, took_ms: int, at: tuple[int, int] | None
) -> None:
    """It is told with the rest, and held against what it can have come to: as quick, as fitted, and in its place."""
    found = BoardBelief(PROGRAM)
    found.welcome(replace(WELCOME, capabilities=fitted))
    found.rest(DISARMED, NOW)
    found.send(EXPOSE, NOW)
    place = at or (9, 9)
    said = replace(
        DISARMED, finished_id=ID, finished_outcome=outcome, pan_steps=Steps(place[0]), tilt_steps=Steps(place[1]),
        flags=belief.KNOWN if at else StatusFlag(0), finished_clock_ms=0,
    )  # fmt: skip
    lie = found.rest(said, NOW + took_ms * MS)
    contact = outcome in {Outcome.EXPOSED_SYNC, Outcome.NO_SYNC}
    least_ms = 100 if outcome is Outcome.EXPOSED_SYNC else 1000
    true = outcome is Outcome.CUT_SHORT or (
        contact is (fitted is FITTED) and at != (4, 6) and took_ms >= 0.95 * least_ms - 20
    )
    assert (lie is None) is true
    assert found.knows_place is (at is not None)
    assert not found.is_ours(ID)
    # Of another command it says only what it has: a contact or not.
    found.send(EXPOSE, NOW)
    other = found.rest(replace(said, finished_id=CommandId(6)), NOW)
    made = outcome in {Outcome.EXPOSED_SYNC, Outcome.EXPOSED_BLIND}
    assert (other is not None) is (made and contact is not (fitted is FITTED))


def test_a_rate_is_the_least_over_half_seconds() -> None:
    """A clock that only jumps is not a fast one."""
    goal = (50_000, 5)
    quick_ns = ramps_ns((4, 5), goal) // 4

    def lives(*rates: float) -> bool:
        """Whether a move in a quarter of its time is believed after stretches of these rates."""
        found = believed()
        clock_ms, now = 1000, NOW
        for rate in rates:
            clock_ms, now = round(clock_ms + 500 * rate), now + 500 * MS
            found.ask(armed=False, stopped=False)
            assert found.status(replace(DISARMED, clock_ms=clock_ms), now) is None
        found.send(move_to(goal), now)
        told = CommandOutcome(Outcome.ARRIVED, goal, clock_ms + ramps_ns((4, 5), goal) // MS, now + quick_ns)
        return found.end(told) is None

    assert lives(1.0, 5.0, 5.0)  # the first reading is the mark: of one alone nothing is known
    assert not lives(1.0, 5.0, 1.0)
    assert not lives(1.0, 1.0)


def test_a_command_ends_where_it_was_to_end() -> None:
    for outcome, request, knows in (
        (Outcome.ARRIVED, Move(ID, Steps(4), Steps(5)), True),
        (Outcome.CUT_SHORT, Move(ID, Steps(4), Steps(5)), False),
        (Outcome.REFERENCED, REFERENCE, True),
        (Outcome.CUT_SHORT, REFERENCE, False),
        (Outcome.CUT_SHORT, EXPOSE, True),
        (Outcome.EXPOSED_SYNC, EXPOSE, True),
    ):
        found = believed()
        found.send(request, NOW)
        assert found.is_ours(ID)
        assert not found.is_ours(OTHER)
        assert found.referencing is (request is REFERENCE)
        place = (0, 0) if outcome is Outcome.REFERENCED else (4, 5)
        assert found.end(CommandOutcome(outcome, place, 2000, NOW + 30 * NS)) is None
        assert found.knows_place is knows
        assert not found.is_ours(ID)


def test_another_boot_begins_with_nothing() -> None:
    found = believed()
    found.send(REFERENCE, NOW)
    found.welcome(WELCOME)
    assert found.knows_place
    assert found.referencing
    found.welcome(replace(WELCOME, boot_id=BootId(4)))
    assert not found.knows_place
    assert not found.referencing
    assert not found.is_ours(ID)
    found.ask(armed=False, stopped=False)
    assert found.status(replace(DISARMED, clock_ms=1, finished_id=CommandId(0)), NOW) is None  # its clock began again
