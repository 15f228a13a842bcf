"""The photographs, one after the other; and a camera that stays silent."""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.effects import Ask, End, Greet, Intend, Send, Timer
from controller.capture.events import Event
from controller.program.program import AskStep, ExposeStep, MoveStep
from protocol.messages import Arm, Expose, Move, Reference, SetAxis
from protocol.units import Axis, Steps

MOST_TRIES = 3


class Shooting(Acting):
    """Conditions and actions of an undisturbed run."""

    # Conditions.

    def was_last(self, _: Any) -> bool:
        """No step follows the one under way."""
        return self.cursor + 1 == len(self.program.steps)

    def move_is_next(self, _: Any) -> bool:
        """The step after the one under way is a move."""
        return isinstance(self.program.steps[self.cursor + 1], MoveStep)

    def ask_is_next(self, _: Any) -> bool:
        """The step after the one under way is a question."""
        return isinstance(self.program.steps[self.cursor + 1], AskStep)

    def ask_is_due(self, _: Any) -> bool:
        """The step that comes next is a question."""
        return isinstance(self.program.steps[self.cursor], AskStep)

    def may_try_again(self, _: Any) -> bool:
        """The exposure under way has tries left."""
        return self.tries < MOST_TRIES

    # Actions.

    def greet(self, _: Any) -> None:
        """Say hello."""
        self.effects.append(Greet())

    def arm(self, data: Any) -> None:
        """Tell the board about both axes and allow it to move them."""
        event: Event = data.kwargs["event"]
        # A board remembers the last id it took, also from a session before this one.
        self.next_id = max(self.next_id, event.command_id + 1)
        self.boot_id = event.boot_id
        self.send_arming()

    def send_arming(self) -> None:
        """Describe both axes and arm."""
        for name, axis in ((Axis.PAN, self.program.pan), (Axis.TILT, self.program.tilt)):
            low, high = Steps(axis.min_steps), Steps(axis.max_steps)
            self.effects.append(Send(SetAxis(self._take_id(), name, low, high, axis.speed_steps_s, axis.accel_steps_s2)))
        assert self.boot_id is not None
        self.effects.append(Send(Arm(self._take_id(), self.boot_id, self.program.silence_ms)))

    def reference(self, data: Any) -> None:
        """Let the board find zero."""
        program = self.program
        self.position_known = False
        request = Reference(
            self._take_id(), program.pan_search_steps_s, program.tilt_search_steps_s, program.creep_divisor
        )
        self._command(data, request, program.reference_expected_ns, program.reference_deadline_ns)

    def move(self, data: Any) -> None:
        """Turn to the next frame."""
        self.position_known = True
        step = self.program.steps[self.cursor]
        assert isinstance(step, MoveStep)
        request = Move(self._take_id(), Steps(step.pan_steps), Steps(step.tilt_steps))
        longer_ns = self.program.longest_move_ns if self.from_anywhere else 0
        self.from_anywhere = False
        self._command(data, request, step.expected_ns, step.deadline_ns + longer_ns)

    def settle(self, data: Any) -> None:
        """Wait for vibration to die down, and for the camera if it needs longer."""
        event: Event = data.kwargs["event"]
        step = self.program.steps[self.cursor]
        assert isinstance(step, MoveStep)
        self._go_to_exposures()
        self.effects.append(Timer(max(event.at_ns + step.settle_ns, self.ready_at_ns), overdue=False))

    def expose(self, data: Any) -> None:
        """Make the intent durable, then release the shutter."""
        step = self.program.steps[self.cursor]
        assert isinstance(step, ExposeStep)
        self.tries += 1
        command_id = self._take_id()
        self.exposing_id = command_id
        self.effects.append(Intend(self._intent(step, command_id)))
        request = Expose(command_id, step.frame, step.exposure, step.focus_ms, step.press_ms, step.limit_ms)
        self._command(data, request, step.expected_ns, step.deadline_ns)

    def recover(self, data: Any) -> None:
        """Note the exposure and let the camera get ready for the next."""
        self._finish_exposure(data)
        self.effects.append(Timer(self.ready_at_ns, overdue=False))

    def move_on(self, data: Any) -> None:
        """Note the exposure and turn on at once: the camera gets ready meanwhile."""
        self._finish_exposure(data)
        self.move(data)

    def come_back(self, data: Any) -> None:
        """The play of the gears is taken up: now to the frame itself."""
        self.cursor += 1
        self.move(data)

    def ask(self, _: Any) -> None:
        """Ask for a frame that is taken by hand."""
        step = self.program.steps[self.cursor]
        assert isinstance(step, AskStep)
        self.effects += [Timer(None, overdue=False), Ask(step.frame, step.yaw_deg, step.pitch_deg)]

    def ask_next(self, data: Any) -> None:
        """Note the exposure and ask for the next frame."""
        self._finish_exposure(data)
        self.ask(data)

    def take_by_hand(self, data: Any) -> None:
        """The camera is held in place: go on as soon as it is ready."""
        event: Event = data.kwargs["event"]
        self._go_to_exposures()
        self.effects.append(Timer(max(event.at_ns, self.ready_at_ns), overdue=False))

    def _go_to_exposures(self) -> None:
        self.cursor, self.skip_to = max(self.cursor + 1, self.skip_to), 0

    def close(self, data: Any) -> None:
        """Note the last exposure and disarm the board."""
        self._finish_exposure(data)
        self._stop(data)

    def close_down(self, data: Any) -> None:
        """Nothing is left to do: disarm the board."""
        self._stop(data)

    def complete(self, _: Any) -> None:
        """Every exposure of the program was made."""
        self.effects.append(End(True, "The set is complete."))

    def complete_unheard(self, _: Any) -> None:
        """Every exposure was made, and then the line went dead: the board disarms itself when it hears nothing."""
        self.effects.append(
            End(True, "The set is complete; the board did not answer at the end, so cut the motor power by hand.")
        )

    def try_again(self, data: Any) -> None:
        """Note that nothing was confirmed and wait as long as after an exposure."""
        event: Event = data.kwargs["event"]
        step = self.program.steps[self.cursor]
        assert isinstance(step, ExposeStep)
        self.conclude(data)
        self.ready_at_ns = event.at_ns + step.ready_ns
        self.effects.append(Timer(self.ready_at_ns, overdue=False))

    def stop_silent_camera(self, data: Any) -> None:
        """The tries are used up."""
        self.conclude(data)
        self.why = (
            f"The camera did not answer {MOST_TRIES} times running (its sync contact stayed silent); "
            "check the camera, its battery and the cables, then go on with the rest."
        )
        self._stop(data)
