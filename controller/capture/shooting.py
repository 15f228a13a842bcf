"""The photographs, one after the other; a camera that stays silent; and the operator's pauses."""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.effects import End, Greet, Intend, Timer, Zeroed
from controller.capture.events import Event, Kind
from controller.capture.tether import PATIENCE_NS
from controller.program.program import ExposeStep, MoveStep
from controller.session.rows import AXES, DoubtReason, ShotOutcome
from protocol.messages import ZERO_SWITCHES, Capability, Expose

MOST_TRIES = 3
# So many exposures unanswered one after the other, and it is not one misfire any more: the camera is off, or full.
MOST_SILENT = 3


class Shooting(Acting):
    """Conditions, notes and actions of a run that nothing interrupts but the operator."""

    # Conditions: what comes next.

    def may_still_know(self, _: Any) -> bool:
        """The board has found zero for an earlier run of this session, and has not restarted since."""
        return self.same_boot

    def zero_is_lost(self, _: Any) -> bool:
        """It is not known any more, and there is no switch on some axis to find it again."""
        lost = not self.position_known and not self.home_left and self.capabilities & ZERO_SWITCHES != ZERO_SWITCHES
        return lost and (self.zero_was_set or not self.zero_is_here)

    def may_try_again(self, _: Any) -> bool:
        """The exposure under way has tries left."""
        return self.tries < MOST_TRIES

    def camera_is_gone(self, _: Any) -> bool:
        """It has left too many exposures unanswered, one after the other."""
        return self.silent_in_row + 1 >= MOST_SILENT

    def exposes_in_wind(self, data: Any) -> bool:
        """An exposure comes next, and the board can say whether it blows too hard for it."""
        if not self.left or self.pause_is_due(data) or not isinstance(self.steps[self.cursor], ExposeStep):
            return False
        return bool(self.capabilities & Capability.WIND_SENSOR)

    def pause_is_due(self, _: Any) -> bool:
        """The operator wants a pause, and this is the place for it."""
        if self.pause_wanted is Kind.PAUSE_AFTER_ROW:
            return self.row_done is not None and self.steps[self.cursor].row != self.row_done
        return self.pause_wanted is Kind.PAUSE

    def something_is_missing(self, _: Any) -> bool:
        """The run is through and the set is not complete."""
        return bool(self.later or self.given_up or self.left_out)

    def file_is_due(self, _: Any) -> bool:
        """The shutter has opened, and the photograph is on its way."""
        return self.awaits_file

    # Notes: taken before the conditions are looked at.

    def note_exposed(self, data: Any) -> None:
        """The exposure under way is made; with a tether only its shutter has opened."""
        event: Event = data.kwargs["event"]
        self.conclude(data)
        if not self.awaits_file:
            self._made(event.at_ns)

    def note_filed(self, data: Any) -> None:
        """The photograph has arrived, so the exposure is made. The camera was busy from when its shutter closed."""
        assert self.opened is not None
        closed_ns = self.opened.at_ns
        self.conclude_filed(data)
        self._made(closed_ns)

    def note_no_file(self, _: Any) -> None:
        """No photograph has come of the exposure under way."""
        self._conclude_opened(ShotOutcome.UNCONFIRMED)

    def _made(self, closed_ns: int) -> None:
        step = self.step(ExposeStep)
        self.late_commands = self.silent_in_row = 0
        self.ready_at_ns = closed_ns + step.ready_ns
        self.row_done = step.row
        self.count_made((step.frame, step.exposure))
        for put_off in (self.later, self.given_up):
            put_off.discard((step.frame, step.exposure))  # made with the rest of its bracket
        self.next_step()

    def note_zero(self, _: Any) -> None:
        """Zero is found, so where the head points is known."""
        self.position_known = self.zero_was_set = True
        self.standing = (0, 0)
        self.forget_edges()
        assert self.boot_id is not None
        self.effects.append(Zeroed(self.boot_id))

    def note_armed(self, _: Any) -> None:
        """What the board stops for from now on is of this run."""
        self.was_armed = self.is_armed = True

    def note_arrived(self, data: Any) -> None:
        """The move under way has ended: the next step."""
        event: Event = data.kwargs["event"]
        self.last_move = self.step(MoveStep)
        self.standing = (self.last_move.pan_steps, self.last_move.tilt_steps)
        self.still_at_ns = event.at_ns + self.last_move.settle_ns
        self.cursor += 1
        if self.home_left:
            self.home_left -= 1
            self.zero_was_set = self.home_left > 0  # at home it may be set again, by where the head stands
        elif not self.look_is_due(data):
            self.take_up_more()

    def note_go_on(self, _: Any) -> None:
        """No pause is wanted any more."""
        self.pause_wanted = None

    # Actions.

    def greet(self, _: Any) -> None:
        """Say hello."""
        self.effects.append(Greet())

    def expose(self, data: Any) -> None:
        """Make the intent durable, then release the shutter."""
        step = self.step(ExposeStep)
        self.tries += 1
        command_id = self._take_id()
        self.exposing_id, self.exposing = command_id, (step.frame, step.exposure)
        self.effects.append(Intend(self._intent(step, command_id)))
        request = Expose(command_id, step.frame, step.exposure, step.focus_ms, step.press_ms, step.limit_ms)
        self._command(data, request, step.expected_ns, step.deadline_ns)

    def await_file(self, data: Any) -> None:
        """Wait for the photograph, which comes after its dark frame."""
        event: Event = data.kwargs["event"]
        deadline_ns = event.at_ns + PATIENCE_NS + self.step(ExposeStep).ready_ns
        self.effects.append(Timer(deadline_ns, overdue=True))

    def get_ready(self, data: Any) -> None:
        """Wait for vibration to die down and for the camera, whichever takes longer."""
        event: Event = data.kwargs["event"]
        self.effects.append(Timer(max(event.at_ns, self.ready_at_ns, self.still_at_ns), overdue=False))

    def take_by_hand(self, data: Any) -> None:
        """The camera is held in place: go on as soon as it is ready."""
        self.cursor += 1
        self.still_at_ns = 0
        self.get_ready(data)

    def try_again(self, data: Any) -> None:
        """Note that nothing was confirmed and wait as long as after an exposure."""
        event: Event = data.kwargs["event"]
        self.conclude(data)
        self.ready_at_ns = event.at_ns + self.step(ExposeStep).ready_ns
        self.get_ready(data)

    def put_off(self, data: Any) -> None:
        """The tries are used up: come back to this exposure at the end, or give it up if that was the end."""
        step = self.step(ExposeStep)
        self.try_again(data)
        self.silent_in_row += 1
        exposures = {(step.frame, step.exposure)}
        if self.turn is not None:  # those after it in the bracket would be made in its place
            exposures |= self.skip_rest_of(step.frame)
        for exposure in exposures:
            (self.given_up if exposure in self.came_back else self.later).add(exposure)
        self.left -= exposures
        if self.turn is not None and self.left:
            self.begin_pass(self.left)
        else:
            self.next_step()

    def stop_silent_camera(self, data: Any) -> None:
        """The camera does not answer at all any more."""
        self.conclude(data)
        silent = "no photograph arrived" if self.tethered else "its sync contact stayed silent"
        self.why = (
            f"The camera did not answer {MOST_TRIES * MOST_SILENT} times running ({silent}); "
            "check the camera, its battery, its card and the cables, then go on with the rest."
        )
        self._stop(data)

    # What the operator wants.

    def want_pause(self, data: Any) -> None:
        """Pause at the next place for it."""
        event: Event = data.kwargs["event"]
        self.pause_wanted = event.kind

    def rest(self, _: Any) -> None:
        """Pause: stand still until the operator wants something else."""
        self.shut()
        self.effects.append(Timer(None, overdue=False))

    def want_again(self, data: Any) -> None:
        """Make these frames once more, when the rest is made."""
        event: Event = data.kwargs["event"]
        numbers = range(len(self.program.kit.exposure.bracket_ev))
        known = {frame.id for frame in self.program.frames} & set(event.frames)
        wanted = {(frame, number) for frame in known for number in numbers}
        self.given_up -= wanted
        self.left_out -= wanted
        self.came_back -= wanted
        self.once_more(wanted, DoubtReason.RETAKE)

    # The end.

    def not_checked(self) -> str:
        """A sentence about the axes whose zero nobody could check, empty if there are none."""
        axes = [axis for axis in AXES if axis not in self.zones]
        if not axes or all(frame.id in self.by_hand for frame in self.program.frames):
            return ""
        return f" Whether {' and '.join(axes)} lost steps was not checked: no switch at zero could be passed."

    def close_down(self, data: Any) -> None:
        """Nothing is left to do: disarm the board."""
        self._stop(data)

    def complete(self, _: Any) -> None:
        """Every exposure of the program was made."""
        self.effects.append(End(True, f"The run is through.{self.not_checked()}"))

    def complete_unheard(self, _: Any) -> None:
        """Every exposure was made, and then the line went dead: the board disarms itself when it hears nothing."""
        self.effects.append(
            End(
                True,
                "The run is through. The board did not answer at the end: support the camera, then cut the motor power."
                f"{self.not_checked()}",
            )
        )
