"""Making a head ready for a run: setting zero at its mark if no switch finds it, and walking round the extremes."""

from collections.abc import Sequence
from dataclasses import dataclass

from controller.capture.hand import Hand
from controller.capture.jog import Keys, jog_by_keys
from controller.capture.people import People, YesNoQuestion
from controller.capture.walk import corners, walk
from controller.capture.zero import AT_MARK, find_zero
from controller.errors import WorldError
from controller.program.program import Program
from controller.session.rows import WalkRow
from controller.session.session import Session

SAME_MARK = YesNoQuestion(
    "The board knows a zero that this session has not set. Was it set at the same mark, with `fullturn jog`?",
    needs_person=True,
)
ROUND = YesNoQuestion("The head has been round its extremes. Was everything clear, cables and tripod legs included?")


@dataclass(frozen=True, slots=True)
class Readying:
    """A head to be made ready for a run, the people beside it, and the session that stores what is found out.

    `keys` lets a person move the head to its mark; None if nobody is there.
    """

    hand: Hand
    session: Session
    people: People
    keys: Keys | None

    def wait_ready(self, program: Program, *, sweep: bool) -> None:
        """Set zero if no switch finds it, and with `sweep` walk round the extremes of what is left.

        The session then contains what is known of zero, so the run need not find it again. Raises WorldError, LinkLost.
        """
        head, hand = program.kit.head, self.hand
        by_hand = not (head.pan.zero_switch and head.tilt.zero_switch)
        if not by_hand and not sweep:
            return
        hand.wait_known()
        if by_hand and not self._wait_trusted():
            self._wait_zero()
        if sweep:
            self._wait_swept(corners(program))
        if hand.known:
            self.session.note_zero(hand.boot_id)
        hand.wait_rest()

    def _wait_trusted(self) -> bool:
        """Whether the board's zero is the one by which this session was shot, or a person says that it is as good."""
        if not self.hand.known:
            return False
        begun = bool(self.session.shots())
        same = self.session.remembered().boot_id == self.hand.boot_id
        return not begun or same or self.hand.wait_answer(SAME_MARK)

    def _wait_zero(self) -> None:
        """Make the head's place the board's zero once the operator says that it is at its mark."""
        if self.keys is not None:
            self.people.say("Move the head to its zero mark, level and at yaw 0, then press Enter.")
            jog_by_keys(self.hand, self.keys, self.people)
        elif not self.hand.wait_answer(AT_MARK):
            raise WorldError("Zero is not set: move the head to its mark with `fullturn jog`, then start again.")
        find_zero(self.hand, self.people)

    def _wait_swept(self, way: Sequence[tuple[int, int]]) -> None:
        if not way:
            return
        if self._was_walked(way):
            self.people.say("Skipping the walk round the extremes: it was made before, and zero is still known.")
            return
        walk(self.hand, self.people, way)
        if not self.hand.wait_answer(ROUND):
            self.hand.wait_rest()
            raise WorldError("Not started. Clear the obstruction; only the slow test turn was made.")
        self.session.note_walk(_extent(way))

    def _was_walked(self, way: Sequence[tuple[int, int]]) -> bool:
        """Whether a walk of this session went at least as far, and the board has known its place ever since."""
        hand, walked = self.hand, self.session.latest_walk()
        if walked is None or not hand.known or hand.boot_id != self.session.remembered().boot_id:
            return False
        return walked.covers(_extent(way))


def _extent(way: Sequence[tuple[int, int]]) -> WalkRow:
    """How far a walk goes on each axis."""
    pans, tilts = zip(*way, strict=True)
    return WalkRow(min(pans), max(pans), min(tilts), max(tilts))
