"""The head moved by hand when something comes between: what ends it, what only shuts the gate, and what people hear."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.capture.events import Event, EventKind, Wanted
from controller.capture.gate import Gate
from controller.capture.hand import Hand
from controller.capture.people import YesNoQuestion
from controller.capture.words.board import refusal
from controller.errors import BoardRefused, InputError, LinkLost, RunStopped, WorldError
from controller.program.timing import deadline_ns, motion_ns
from protocol.codec import encode_message
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Cause,
    Finished,
    Held,
    Message,
    Move,
    Reason,
    Reference,
    Refused,
    SetAxis,
)
from protocol.units import NS, Steps
from tests.controller.capture.lines import CutPort, LossyPort, MuffledPort
from tests.controller.capture.test_board_client import heard
from tests.controller.capture.test_spoiled_answers import SpoilingPort
from tests.end_to_end.whole_runs import World, kit_of, world_of

KIT = kit_of()


class Somebody:
    """Says what a test wants at a time, and remembers what was asked."""

    def __init__(self, world: World) -> None:
        self._world = world
        self.says: list[tuple[int, Wanted]] = []
        self.asked: list[str] = []
        self.open = False
        self.reads_lines = True
        self.at_once: bool | None = None
        self.types = True

    def next_request(self) -> Wanted | None:
        if self.says and self._world.port.now() >= self.says[0][0]:
            return self.says.pop(0)[1]
        return None

    def ask(self, question: YesNoQuestion) -> bool | None:
        self.asked.append(question.words)
        self.open = self.at_once is None
        return self.at_once

    def ask_text(self, words: str) -> bool:
        self.asked.append(words)
        self.open = self.types
        return self.types

    def hear_lines(self, heard: bool) -> None:
        self.reads_lines = heard

    def withdraw(self) -> None:
        self.open = False

    def will_say(self, after_s: float, wanted: Wanted) -> None:
        at_ns = self._world.port.now() + round(after_s * NS)
        self.says.append((at_ns, wanted))
        self._world.port.wake_at(at_ns)


def beside(world: World) -> tuple[Hand, Somebody, list[tuple[int, str]]]:
    """A hand on the head of a world, somebody beside it, and what that person hears."""
    said: list[tuple[int, str]] = []
    somebody = Somebody(world)
    gate = Gate(world.port.now, lambda words, _: said.append((world.port.now(), words)))
    return Hand(world.port, world.program, somebody, gate), somebody, said


def ready(world: World) -> tuple[Hand, Somebody, list[tuple[int, str]]]:
    """Announced, greeted, armed, zero found."""
    hand, somebody, said = beside(world)
    hand.wait_known()
    hand.wait_announced("a test", 0)
    hand.wait_armed()
    hand.wait_zero()
    return hand, somebody, said


def armed(world: World) -> bool:
    return world.rig.board._status(world.port.now()).state is not BoardState.DISARMED


def test_it_is_told_with_its_time_and_nothing_moves_before() -> None:
    world = world_of(KIT, ())
    hand, _, said = beside(world)
    hand.wait_known()
    began_ns = world.port.now()
    hand.wait_announced("finding zero", 4 * NS)
    assert world.port.now() == began_ns + 4 * NS
    assert [words for _, words in said] == ["The head moves in 4 s: finding zero. Ctrl-C keeps it still."]
    hand.wait_armed()
    assert armed(world)
    hand.wait_armed()  # a second time changes nothing
    assert hand.boot_id != 0
    assert hand.finds_zero
    assert hand.steps_per_degree == (320.0, 320.0)


def test_a_question_waits_as_long_as_it_takes_and_is_closed_again() -> None:
    for kind, answer in ((EventKind.ANSWERED, True), (EventKind.DECLINED, False)):
        world = world_of(KIT, ())
        hand, somebody, _ = ready(world)
        somebody.will_say(500, Wanted(kind))
        began_ns = world.port.now()
        assert hand.wait_answer(YesNoQuestion("Well?")) is answer
        assert world.port.now() - began_ns >= 500 * NS
        assert not somebody.open
        assert somebody.asked == ["Well?"]
        assert hand.gate.announced is None  # nothing moves after it unless it is announced
    somebody.at_once = True
    assert hand.wait_answer(YesNoQuestion("And now?"))


def test_a_text_is_what_was_typed() -> None:
    world = world_of(KIT, ())
    hand, somebody, _ = ready(world)
    somebody.will_say(3, Wanted(EventKind.ANSWERED, text="12.5"))
    assert hand.wait_text("How far?") == "12.5"
    assert hand.gate.announced is None
    assert not somebody.open
    somebody.types = False
    assert hand.wait_text("How far?") is None


@pytest.mark.parametrize("kind", [EventKind.PAUSE, EventKind.STOP, EventKind.HALT])
def test_who_stops_instead_of_answering_has_a_head_at_rest(kind: EventKind) -> None:
    world = world_of(KIT, ())
    hand, somebody, _ = ready(world)
    somebody.will_say(5, Wanted(kind))
    with pytest.raises(RunStopped, match=r"^Stopped as asked\.$"):
        hand.wait_answer(YesNoQuestion("Well?"))
    assert not somebody.open
    assert not armed(world)
    cause = world.rig.board._status(world.port.now()).cause
    assert cause is (Cause.HOST_HALT if kind is EventKind.HALT else Cause.HOST_STOP)


def test_a_stop_before_the_board_was_greeted_asks_nothing_of_it() -> None:
    world = world_of(KIT, ())
    hand, somebody, _ = beside(world)
    somebody.will_say(1, Wanted(EventKind.STOP))
    with pytest.raises(RunStopped):
        hand.wait_announced("a test", 9 * NS)
    assert world.port.now() == NS
    assert world.rig.board._status(world.port.now()).cause is Cause.POWER_ON


def test_keys_are_heard_and_lines_are_not_meanwhile() -> None:
    world = world_of(KIT, ())
    hand, somebody, _ = ready(world)
    pressed = iter([None, None, None, "x"])
    began_ns = world.port.now()
    with hand.keys_only():
        assert not somebody.reads_lines
        assert hand.wait_key(lambda: next(pressed)) == "x"
    assert somebody.reads_lines
    assert world.port.now() - began_ns == 150_000_000  # three looks, 50 ms each
    until = world.port.now() + NS
    hand.wait_until(lambda: world.port.now() >= until)
    assert until <= world.port.now() < until + 60_000_000


@given(st.tuples(st.integers(-118_400, 118_400), st.integers(-30_400, 30_400)))
def test_a_motion_takes_its_slower_axis(target: tuple[int, int]) -> None:
    world = world_of(KIT, ())
    hand = Hand(world.port, world.program)
    assert hand.motion_ns(target) == max(motion_ns(way, 9600, 12_800) for way in target)
    assert hand.motion_ns(target, target) == 0
    hand.at_steps = (1000, 0)
    assert hand.motion_ns((1000, 0)) == 0
    hand.must_reach(target)


@pytest.mark.parametrize(
    ("target", "axis"), [((118_401, 0), "pan"), ((-118_401, 0), "pan"), ((0, 30_401), "tilt"), ((0, -30_401), "tilt")]
)
def test_beyond_the_limits_is_told_in_degrees(target: tuple[int, int], axis: str) -> None:
    hand = Hand(world_of(KIT, ()).port, world_of(KIT, ()).program)
    with pytest.raises(InputError) as caught:
        hand.must_reach(target)
    (sentence,) = caught.value.sentences
    limits = {"pan": "-370.00 to 370.00", "tilt": "-95.00 to 95.00"}
    assert sentence.endswith(f"degrees lies outside the limits of head.{axis}: {limits[axis]}.")


def test_a_line_that_dies_is_told_as_that() -> None:
    world = world_of(KIT, (), port_of=CutPort)
    hand, _, _ = ready(world)
    assert isinstance(world.port, CutPort)
    world.port.cut_ns = world.port.now()
    with pytest.raises(LinkLost, match="does not answer"):
        hand.wait_move(32_000, 0)


def test_a_board_that_stops_by_itself_ends_it_with_the_cause() -> None:
    world = world_of(KIT, ())
    hand, _, _ = ready(world)
    heard(world, Held(Cause.STALL, Steps(0), Steps(0), 1))
    with pytest.raises(WorldError, match="stall"):
        hand.wait_move(32_000, 0)
    assert not hand.known


def test_a_board_that_refuses_ends_it_with_the_reason() -> None:
    world = world_of(KIT, ())
    hand, _, _ = ready(world)
    world.rig.board._stop(world.port.now(), Cause.STOP_SWITCH)  # and nobody hears of it in time
    with pytest.raises(WorldError, match=r"stop switch|not armed|stopped"):
        hand.wait_move(32_000, 0)


@pytest.mark.parametrize("reason", [Reason.OUT_OF_LIMITS, Reason.BAD_VALUE, Reason.UNKNOWN_POSITION])
def test_a_move_that_the_board_refuses_ends_at_once_with_the_reason(reason: Reason) -> None:
    world = world_of(KIT, (), port_of=SpoilingPort)
    hand, _, _ = ready(world)
    assert isinstance(world.port, SpoilingPort)
    world.port.spoil = lambda message: encode_message(Refused(reason)) if isinstance(message, Accepted) else None
    began_ns = world.port.now()
    with pytest.raises(BoardRefused) as caught:
        hand.wait_move(32_000, 0)
    assert world.port.now() < began_ns + NS // 10
    assert str(caught.value) == refusal(Event(EventKind.REFUSED, 0, reason=reason))


def test_the_end_of_a_move_that_nobody_heard_is_asked_for() -> None:
    world = world_of(KIT, (), port_of=lambda rig: LossyPort(rig, lambda message: isinstance(message, Finished)))
    hand, _, _ = ready(world)
    began_ns, target = world.port.now(), (32_000, 0)
    expected_ns = hand.motion_ns(target)
    hand.wait_move(*target)
    assert world.port.now() - began_ns < deadline_ns(expected_ns, KIT.board.baud)


def test_what_was_asked_of_the_board_comes_in_order_with_ids_that_grow() -> None:
    seen: list[Message] = []

    def keep(message: Message) -> bool:
        seen.append(message)
        return False

    world = world_of(KIT, (), port_of=lambda rig: MuffledPort(rig, keep))
    hand, _, _ = ready(world)
    hand.wait_move(640, -320)
    assert hand.at_steps == (640, -320)
    commands = [one for one in seen if isinstance(one, SetAxis | Arm | Reference | Move)]
    assert [type(one) for one in commands] == [SetAxis, SetAxis, Arm, Reference, Move]
    assert [one.command_id for one in commands] == [1, 2, 3, 4, 5]
    hand.wait_rest()
    assert (hand.known, hand.at_steps) == (True, (640, -320))
