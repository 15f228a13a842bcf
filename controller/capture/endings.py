"""How a run ends early: with the head brought to rest, or at once where nothing more can be said to the board."""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.effects import Conclude, End, SendUrgent, Timer, ZeroLost
from controller.capture.events import Event
from controller.capture.sentences import TROUBLES, hold, refusal
from controller.session.rows import DoubtReason, ShotOutcome
from protocol.messages import Cause, Halt

SUSPECT = DoubtReason.SUSPECT


class Endings(Acting):
    """Actions that stop a run or say why it failed."""

    def stop_as_asked(self, data: Any) -> None:
        """The operator wants to stop."""
        self.why = "Stopped as asked."
        self._stop(data)

    def stop_overdue(self, data: Any) -> None:
        """A command did not end in its time."""
        self.why = "The board took far longer than planned; check that both axes turn freely and the motors run."
        self._stop(data)

    def stop_refused(self, data: Any) -> None:
        """The board refused a command in the middle of the run."""
        event: Event = data.kwargs["event"]
        self.why = refusal(event)
        self._stop(data)

    def halt_as_asked(self, data: Any) -> None:
        """Stop the pulses at once, and make sure that the board has heard it."""
        event: Event = data.kwargs["event"]
        self.why = "Halted as asked: the position of the head is no longer known."
        self.is_armed = False
        deadline_ns = event.at_ns + self.program.stop_deadline_ns
        self.effects += [SendUrgent(Halt()), Timer(deadline_ns, overdue=True)]

    def halt_unheard(self, _: Any) -> None:
        """Halted before the board had answered: it is told, and may not hear it."""
        self.effects.append(SendUrgent(Halt()))
        self._fail("Halted as asked, before the board had answered; nothing was armed.")

    def fail_stopped(self, _: Any) -> None:
        """Stopped before anything could move."""
        self._fail("Stopped as asked.")

    def fail_at_rest(self, _: Any) -> None:
        """The head stands still after a stop."""
        self._fail(self.why)

    def fail_not_at_rest(self, _: Any) -> None:
        """The head should stand still by now."""
        still = "The board does not say that the head stands still; support the camera and cut the motor power before "
        still += "you reach in."
        self.lie = self.lie and f"{self.lie} {still}"
        self._fail(still)

    # What cannot be true.

    def fail_contradicted(self, data: Any) -> None:
        """The board contradicts itself before anything could move."""
        self.note_contradicted(data)
        self._fail(self.lie)

    def stop_contradicted(self, data: Any) -> None:
        """The board says what cannot be true: bring the head to rest, as far as it obeys."""
        self.note_contradicted(data)
        self._stop(data)

    def note_contradicted(self, data: Any) -> None:
        """Nothing counts that rests on the board's word: not the exposure under way and, if its word on where the head
        points is worth nothing, not what was made since zero was last checked.
        """
        event: Event = data.kwargs["event"]
        self.lie = self.lie or event.sentence
        if self.exposing_id:
            self.effects.append(Conclude(self.exposing_id, ShotOutcome.UNCONFIRMED, None))
            self.lose_turn()
            self.forget_exposing()
        if event.place:
            self.once_more({*self.uncheckable, *(made for axis in self.unchecked.values() for made in axis)}, SUSPECT)
            self.lose_place()
            self.effects.append(ZeroLost())

    def fail_refused(self, data: Any) -> None:
        """The board does not let us begin."""
        event: Event = data.kwargs["event"]
        self._fail(refusal(event))

    def fail_held(self, data: Any) -> None:
        """The board stopped by itself and says why; what may have been shot askew before it noticed does not count."""
        self.conclude(data)
        event: Event = data.kwargs["event"]
        if event.cause in {Cause.STALL, Cause.LIMIT}:
            self.once_more({made for axis in self.unchecked.values() for made in axis}, SUSPECT)
        self._fail(self.why if self.why and event.cause is Cause.HOST_SILENCE else hold(event))

    def stop_stuck(self, data: Any) -> None:
        """Nothing is gained by trying on."""
        self.why = (
            f"The run was interrupted {self.interruptions} times without an exposure in between; "
            "look at line, board and supply, then go on."
        )
        self._stop(data)

    def fail_incomplete(self, _: Any) -> None:
        """The run is through, and some exposures were not confirmed."""
        if self.left_out:
            frames = ", ".join(str(frame) for frame in sorted({frame for frame, _ in self.left_out}))
            why = f"Frames by hand were left out: {frames}. `fullturn resume` at a terminal asks for them again."
        elif self.given_up:
            frames = ", ".join(str(frame) for frame in sorted({frame for frame, _ in self.given_up}))
            why = f"The camera stayed silent at frames {frames}, also at the end; go on to try them once more."
        else:
            why = "The set was complete when frames were wanted once more; go on to make them."
        self.effects.append(End(False, why))

    def stop_zero_lost(self, data: Any) -> None:
        """Nobody but the operator can set zero on a head without switches."""
        self.why = (
            "Where the head points is not known any more, and it has no switch to find out: "
            "set zero at its mark again with `fullturn jog`, then go on."
        )
        self._stop(data)

    def fail_stopped_while_lost(self, _: Any) -> None:
        """Stopped while the board could not be reached."""
        self._fail("Stopped as asked while the board was out of reach; it stops by itself when it hears nothing.")

    def fail_link_lost(self, data: Any) -> None:
        """The board does not answer any more."""
        event: Event = data.kwargs["event"]
        self._fail(TROUBLES[event.trouble])

    def fail_in_vain(self, _: Any) -> None:
        """Waiting does not mend it."""
        self._fail(
            f"The board answered {self.in_vain} greetings in a row, and each time it restarted or fell silent before it "
            "said that the head is at rest; check its supply, and its firmware with `fullturn board check`, then go on."
        )
