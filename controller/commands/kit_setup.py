"""`fullturn kit setup`: set up head and camera step by step; what is done is kept beside the kit."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from controller import clock
from controller.calibration.records import read
from controller.capture.hand import Hand
from controller.capture.people import People
from controller.commands.jog import held_head
from controller.errors import InputError, RunStopped, WorldError
from controller.kit.kit import Kit
from controller.kit.load import load_kit
from controller.kit.own_head import must_be_own_head
from controller.program.program import Program
from controller.setup.at_head import see_cables, see_stop_switch, see_zero
from controller.setup.inspection import Observation, calibration_found, picture_found
from controller.setup.progress import Done, kit_mark, read_progress, write_progress
from controller.setup.standing import StepStanding, setup_state
from controller.setup.steps import Look, Step, step_named, steps

HeadHolder = Callable[[Path, str, str, People], AbstractContextManager[tuple[Hand, Program]]]
"""Holds the head of a kit on a port, like `held_head`."""
MAY_MOVE = "The head will move, slowly. Is it clear of people, cables and legs, and the stop switch within reach?"


@dataclass(frozen=True, slots=True)
class Guide:
    """The person at the head, and what there is to look at.

    Before a head is held, `ask` returns what was typed and `agree` whether something may move. While one is held,
    `people` are told and asked; `hold` holds it in another way than at a terminal.
    """

    tell: Callable[[str], None]
    ask: Callable[[str], str]
    agree: Callable[[str], bool]
    people: People
    port: str | None = None
    picture: Path | None = None
    hold: HeadHolder | None = None


def setup_command(kit_path: Path, guide: Guide) -> list[StepStanding]:
    """Go through the open steps with the operator; each is kept as soon as it is done.

    Raises InputError, WorldError, StorageFailed.
    """
    if guide.port is not None:
        must_be_own_head(load_kit(kit_path), str(kit_path))
    for number, standing in enumerate(setup_state(kit_path), 1):
        step = step_named(standing.step)
        if standing.state == "done":
            continue
        guide.tell(f"\n{number} of {len(steps())}: {step.title}")
        for sentence in step.how:
            guide.tell(f"  {sentence}")
        try:
            done = _through(step, kit_path, guide)
        except _Ended:
            break
        if done is not None:
            write_progress(kit_path, read_progress(kit_path).with_marks({step.name: done}))
    return setup_state(kit_path)


def look_at_step(kit_path: Path, name: str, guide: Guide) -> Observation | None:
    """Look at one step, and keep it if that shows that it is done; None if there is nothing to look at.

    Raises InputError, RunStopped, StorageFailed.
    """
    step = step_named(name)
    kit = load_kit(kit_path)
    if guide.port is not None:
        must_be_own_head(kit, str(kit_path))
    found = _look(step, kit_path, guide)
    done = None if found is None else _shown_by(found, kit)
    if done is not None:
        write_progress(kit_path, read_progress(kit_path).with_marks({name: done}))
    return found


def _shown_by(found: Observation, kit: Kit) -> Done | None:
    """The mark of a step, if what was found shows that it is done."""
    if not (found.good and (found.looked or found.said)):
        return None
    return Done(at=clock.wall_moment(), kit=kit_mark(kit), found=found.sentence, seen=found.looked)


class _Ended(Exception):
    """The operator wants to continue later."""


def _through(step: Step, kit_path: Path, guide: Guide) -> Done | None:
    """Do one step; return its mark, or None if it is left open. Raises _Ended."""
    kit = load_kit(kit_path)
    while True:
        found = _look(step, kit_path, guide)
        if found is not None:
            guide.tell(f"  {found.word} {found.sentence}")
            if (done := _shown_by(found, kit)) is not None:
                return done
        question = "Enter when it is done" if found is None else "Enter to look again, or `done` to say that it is"
        answer = guide.ask(f"  {question}; `skip` leaves it open, `end` ends").strip().casefold()
        if answer == "end":
            raise _Ended
        if answer == "skip":
            return None
        if answer == "done" or (found is None and not answer):
            return Done(
                at=clock.wall_moment(), kit=kit_mark(kit), found="" if found is None else found.sentence, seen=False
            )


def _look(step: Step, kit_path: Path, guide: Guide) -> Observation | None:
    """What the program sees of a step; None if it has nothing to look at."""
    try:
        match step.look:
            case Look.CALIBRATION:
                return calibration_found(load_kit(kit_path), read(kit_path), clock.wall_moment(), step.kinds)
            case Look.PICTURE if guide.picture is not None:
                return picture_found(guide.picture, load_kit(kit_path), clock.wall_moment())
            case Look.STOP_SWITCH | Look.ZERO | Look.CABLES if guide.port is not None:
                return _look_at_head(step.look, kit_path, guide)
            case _:
                return None
    except RunStopped:
        raise
    except (InputError, WorldError) as error:
        return Observation(False, str(error))


def _look_at_head(look: Look, kit_path: Path, guide: Guide) -> Observation:
    assert guide.port is not None
    if look is not Look.STOP_SWITCH and not guide.agree(MAY_MOVE):
        return Observation(False, "Nothing was moved.")
    hold = held_head if guide.hold is None else guide.hold
    with hold(kit_path, guide.port, "fullturn kit setup", guide.people) as (hand, program):
        if look is Look.STOP_SWITCH:
            return see_stop_switch(hand)
        found = (
            see_zero(hand, program.kit, guide.people)
            if look is Look.ZERO
            else see_cables(hand, program.kit, guide.people)
        )
        hand.wait_rest()
        return found
