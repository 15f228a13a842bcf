"""The child of the page that holds a head: `python -m controller.page.held KIT PORT [STEP]`.

It speaks with the page over its standard input and output (`messages`). Without a STEP of setting up a person moves the
head by the pad; with one the program looks at that step. The end of its input stops the head with a ramp and ends it.
"""

import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from pathlib import Path
from typing import Literal

from controller import clock
from controller.capture.events import EventKind
from controller.capture.hand import Hand
from controller.capture.interrupts import Interrupts
from controller.capture.jog import SIZES_DEG, jog_to, place_of, step_by, zero_again
from controller.capture.lease import Lease
from controller.capture.pad import NOT_KNOWN, turn_while_touched, watched
from controller.capture.people import LEAD_AGAIN_NS, People, YesNoQuestion
from controller.commands.jog import CLEAR, held_head
from controller.commands.kit_setup import Guide, look_at_step
from controller.errors import InputError, LinkLost, RunStopped, WorldError
from controller.page.conversation import PersonAtPage
from controller.page.messages import Deed, PlaceTold, PoseDeed, ShownPlace, StepDeed, TalkEnded
from controller.page.pipes import PipeEnds
from controller.program.program import Program
from protocol.units import MS

Holding = Callable[..., AbstractContextManager[tuple[Hand, Program]]]
"""Holds a head as `held_head` does."""
PURPOSE = "the page"
LOOK_NS = 20 * MS
AGAIN = "Touch the pad again to move the head."
UNMOVED = "Nothing was moved."
ENDED = "The head is at rest, and the page no longer holds it."


class PadTalk:
    """One person at the pad of one head."""

    def __init__(self, hand: Hand, program: Program, talk: PersonAtPage, people: People) -> None:
        self._hand, self._program, self._talk, self._people = hand, program, talk, people
        self._served = 0  # the press that moved the head last; it does not again

    def converse(self) -> None:
        """Move the head as the person wants until they leave. Raises LinkLost; WorldError if the board is of no use."""
        self._begin()
        trouble: Exception | None = None
        while not self._talk.gone:
            try:
                if trouble is not None:
                    self._begin_again(trouble)
                    trouble = None
                self._hand.wait_key(self._next_task)()
            except RunStopped as stopped:
                trouble = stopped
            except (InputError, WorldError) as error:
                if trouble is not None or isinstance(error, LinkLost):
                    raise
                trouble = error

    def _begin(self) -> None:
        self._hand.wait_known()
        self._tell_place()

    def _begin_again(self, why: Exception) -> None:
        """Greet the board again after trouble. Whatever moves the head next needs a new answer."""
        self._talk.say(str(why))
        self._talk.clearance.withdraw()
        self._hand.gate.shut()
        self._begin()
        self._talk.forget()

    def _next_task(self) -> Callable[[], None] | None:
        lease = self._talk.held()
        wanted = lease if lease is not None and lease.press > self._served else self._talk.next_deed()
        return None if wanted is None else partial(self._serve, wanted)

    def _serve(self, wanted: Lease | Deed) -> None:
        if isinstance(wanted, Lease):
            self._served = wanted.press
            if not self._hand.known:
                self._talk.say(NOT_KNOWN)
                return
            if self._talk.clearance.holds(self._hand.boot_id):
                turn_while_touched(self._hand, self._program, wanted, self._talk.held, self._people)
            else:
                self._talk.say(AGAIN if self._is_clear() else UNMOVED)
                self._talk.forget()
        elif self._talk.clearance.holds(self._hand.boot_id) or self._is_clear():
            self._do(wanted)
            self._hand.gate.shut()
            self._hand.wait_rest()
            self._talk.forget()
        else:
            self._talk.say(UNMOVED)
        self._tell_place()

    def _is_clear(self) -> bool:
        clear = self._hand.wait_answer(CLEAR)
        if clear:
            self._talk.clearance.give(self._hand.boot_id)
        return clear

    def _do(self, deed: Deed) -> None:
        hand, people = self._hand, self._people
        if isinstance(deed, PoseDeed):
            jog_to(hand, self._program, deed.yaw_deg, deed.pitch_deg, people)
        elif not isinstance(deed, StepDeed):
            zero_again(hand, people)
        elif hand.known:
            step_by(hand, (deed.pan, deed.tilt), SIZES_DEG[deed.size], people, by="button")
        else:
            people.say(NOT_KNOWN)

    def _tell_place(self) -> None:
        hand, place = self._hand, place_of(self._hand)
        shown = ShownPlace(
            yaw_deg=place.yaw_deg,
            pitch_deg=place.pitch_deg,
            pan_steps=place.pan_steps,
            tilt_steps=place.tilt_steps,
            known=hand.known,
        )
        self._talk.tell(PlaceTold(place=shown))


def pad_command(kit_path: Path, url: str, talk: PersonAtPage, hold: Holding = held_head) -> str:
    """Let the person move the head by the pad; returns the last sentence. Raises InputError, WorldError."""
    people = talk.people(LEAD_AGAIN_NS)
    with _held(talk, hold, kit_path, url, PURPOSE, people) as (hand, program):
        PadTalk(hand, program, talk, people).converse()
    return ENDED


def step_command(kit_path: Path, url: str, step: str, talk: PersonAtPage, hold: Holding = held_head) -> str:
    """Look at a step of setting up with the person; returns what was found. Raises InputError, WorldError."""
    guide = Guide(
        tell=talk.say,
        ask=lambda _: "",
        agree=lambda words: agreed(talk, words),
        people=talk.people(LEAD_AGAIN_NS),
        port=url,
        hold=partial(_held, talk, hold),
    )
    found = look_at_step(kit_path, step, guide)
    if found is None:
        raise InputError("The program cannot look at this step. Do it, then mark it as done.")
    if not found.good:
        raise WorldError(found.sentence)
    return found.sentence


@contextmanager
def _held(
    talk: PersonAtPage, hold: Holding, kit_path: Path, url: str, purpose: str, people: People
) -> Iterator[tuple[Hand, Program]]:
    """The head for this person, with a board that stops soon after this process falls silent."""

    def respondent(_now: object, interrupts: Interrupts, _people: People) -> PersonAtPage:
        talk.heed(interrupts.next_request)
        return talk

    with hold(kit_path, url, purpose, people, respondent=respondent, adapted=watched) as held:
        yield held


def agreed(talk: PersonAtPage, words: str) -> bool:
    """Ask while no head is held, and wait for the answer."""
    talk.ask(YesNoQuestion(words))
    while (wanted := talk.next_request()) is None:
        clock.wait_ns(LOOK_NS)
    talk.withdraw()
    return wanted.kind is EventKind.ANSWERED


def main(words: list[str]) -> int:
    """Hold the head for the page that started this process. Returns the exit status."""
    ends = PipeEnds(sys.stdin.fileno(), sys.stdout.fileno())
    talk = PersonAtPage(ends, clock.monotonic_ns)
    status: Literal[0, 1, 2] = 0
    try:
        kit, url, *step = words
        sentence = step_command(Path(kit), url, step[0], talk) if step else pad_command(Path(kit), url, talk)
    except InputError as error:
        sentence, status = str(error), 2
    except WorldError as error:
        sentence, status = str(error), 1
    talk.tell(TalkEnded(end=sentence, status=status))
    ends.finish()
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
