"""People before motion: telling them, asking them, and what makes that necessary again."""

from typing import Any

from controller.capture.acting import Acting
from controller.capture.effects import Announce, Ask, Timer
from controller.capture.events import Event
from controller.capture.people import MOMENT_NS, Question
from controller.program.program import AskStep, MoveStep

CAMERA_BACK = "Is the camera back on the head and locked, and are hands and cables clear of what turns?"
CLEAR = "Is the head clear of hands and cables, so that it may move again?"


class Announcing(Acting):
    """Conditions, notes and actions between standing still and moving."""

    # Conditions.

    def must_ask_first(self, _: Any) -> bool:
        """Motion comes next, and a person has to say that it may begin."""
        people = self.people
        if people.care is None or not self.motion_is_next():
            return False
        asks = people.care.always_asks or (people.care.asks and people.person_seen)
        return people.in_hand or (asks and people.begun and not people.announced and not people.may_move)

    def must_warn(self, _: Any) -> bool:
        """Motion comes next, and people have not been told."""
        return not self.people.announced and self.motion_is_next()

    def holds_camera(self, _: Any) -> bool:
        """What was answered is that the camera is held for a frame by hand."""
        return self.people.question is not None and self.people.question.hold_deg is not None

    def declined_motion(self, _: Any) -> bool:
        """The operator does not want the head to move yet."""
        return not self.holds_camera(None)

    def ask_is_due(self, _: Any) -> bool:
        """The step that comes next is a frame by hand."""
        return isinstance(self.steps[self.cursor], AskStep)

    # Notes.

    def note_warned(self, data: Any) -> None:
        """The time that was promised has passed. Where a host slept over it, people are told once more."""
        event: Event = data.kwargs["event"]
        if event.at_ns > self.people.opens_ns + MOMENT_NS:
            return
        self.people.announced = self.people.begun = True
        self.people.may_move = self.people.person_seen = False

    def note_answered(self, _: Any) -> None:
        """Yes."""
        if not self.holds_camera(None):
            self.people.in_hand, self.people.may_move = False, True

    def note_declined(self, _: Any) -> None:
        """No: motion waits; a frame by hand is left out."""
        if self.holds_camera(None):
            self._leave_out()

    # Actions.

    def ask(self, _: Any) -> None:
        """Ask whether the camera is back, whether the head may move, or for a frame by hand."""
        if self.motion_is_next():
            self.people.question = Question(CAMERA_BACK if self.people.in_hand else CLEAR, needs_person=True)
        else:
            step = self.step(AskStep)
            words = (
                f"Frame {step.frame} is shot by hand: aim at yaw {step.yaw_deg:.1f}°, pitch {step.pitch_deg:.1f}° and "
                "hold still. Ready? (n leaves it out)"
            )
            self.people.question = Question(words, needs_person=True, hold_deg=(step.yaw_deg, step.pitch_deg))
            self.people.in_hand = True  # from now on, whatever the answer is
        self.shut()
        self.effects += [Timer(None, overdue=False), Ask(self.people.question)]

    def warn(self, data: Any) -> None:
        """Tell people, and give them time."""
        event: Event = data.kwargs["event"]
        assert self.people.care is not None
        lead_ns = self.people.care.lead_again_ns if self.people.begun else self.people.care.lead_ns
        self.people.opens_ns = event.at_ns + lead_ns
        self.effects.append(Announce(self._why(), lead_ns))

    def _why(self) -> str:
        to = self.steps[min(self.cursor, len(self.steps) - 1)]
        begins = "the run goes on" if self.people.begun else "the run begins"
        if not self.position_known:
            return f"{begins} by finding zero on both axes, then turns to frame {to.frame}"
        if isinstance(to, MoveStep):
            pan_deg = to.pan_steps / self.program.pan.steps_per_degree
            tilt_deg = to.tilt_steps / self.program.tilt.steps_per_degree
            return f"{begins} with frame {to.frame} (pan {pan_deg:z.0f}°, tilt {tilt_deg:z.0f}°)"
        return f"{begins} with frame {to.frame}"

    def _leave_out(self) -> None:
        """The frame by hand that was asked for stays missing, and the run goes on behind it."""
        exposures = self.skip_rest_of(self.step(AskStep).frame)
        self.left_out |= exposures
        self.left -= exposures
        self.next_step()
