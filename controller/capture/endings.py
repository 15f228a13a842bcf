"""How a run ends early: with the head brought to rest, or at once where nothing more can be said to the board."""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.effects import End, SendUrgent, Timer
from controller.capture.events import Event
from controller.capture.sentences import CAUSES, REASONS
from controller.session.rows import DoubtReason
from protocol.messages import Cause, Halt


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
        self.why = _refusal(data)
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
        self._fail(
            "The board does not say that the head stands still; support the camera and cut the motor power before "
            "you reach in."
        )

    def fail_refused(self, data: Any) -> None:
        """The board does not let us begin."""
        self._fail(_refusal(data))

    def fail_held(self, data: Any) -> None:
        """The board stopped by itself and says why; what may have been shot askew before it noticed does not count."""
        self.conclude(data)
        event: Event = data.kwargs["event"]
        if event.cause in {Cause.STALL, Cause.LIMIT}:
            self.once_more({made for axis in self.unchecked.values() for made in axis}, DoubtReason.SUSPECT)
        self._fail(CAUSES[event.cause])

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

    def fail_link_lost(self, _: Any) -> None:
        """The board does not answer any more."""
        self._fail("The board does not answer; check the cable and the board's supply, then go on.")


def _refusal(data: Any) -> str:
    event: Event = data.kwargs["event"]
    assert event.reason is not None
    return REASONS[event.reason]
