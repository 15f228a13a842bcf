"""What every action of a run may use: where the run stands, and how it says what is to be done."""

from typing import Any

from controller.capture.effects import Conclude, Effect, End, Send, SendUrgent, Timer
from controller.capture.events import Event
from controller.capture.states import RunState
from controller.program.program import AskStep, ExposeStep, MoveStep, Program
from controller.session.session import Intent, ShotOutcome
from protocol.messages import Expose, Move, Outcome, Reference, Stop
from protocol.units import BootId, CommandId

OUTCOMES = {
    Outcome.EXPOSED_SYNC: ShotOutcome.CONFIRMED,
    Outcome.EXPOSED_BLIND: ShotOutcome.ASSUMED,
    Outcome.NO_SYNC: ShotOutcome.UNCONFIRMED,
    Outcome.CUT_SHORT: ShotOutcome.INTERRUPTED,
}


class Acting:
    """Where one run through a program stands. Actions append to `effects` and change nothing else in the world."""

    def __init__(self, program: Program, first_id: int) -> None:
        self.state = RunState.IDLE
        self.program = program
        self.next_id = first_id
        self.cursor = 0  # of the step that is being carried out or comes next
        self.tries = 0
        self.ready_at_ns = 0  # when the camera can take the next exposure
        self.exposing_id = 0  # the exposure whose outcome is not known yet
        self.why = ""
        self.boot_id: BootId | None = None
        self.position_known = False
        self.suspended_since_ns: int | None = None
        self.next_pause_ns = 0
        self.brought_to_rest = False  # since it was last suspended
        self.supply_low_since_ns: int | None = None  # when the board was first found at rest with a low supply
        self.late_commands = 0  # commands that took too long since the last exposure that was made
        self.from_anywhere = False  # the next move begins where the program did not foresee
        self.skip_to = 0  # the exposure to go on with after an interruption, once the head is back at its frame
        self.effects: list[Effect] = []

    @property
    def frame(self) -> int | None:
        """The frame that is being worked on."""
        steps = self.program.steps
        return steps[min(self.cursor, len(steps) - 1)].frame if self.state is not RunState.IDLE else None

    def aim_before(self, cursor: int, *, last: bool) -> int:
        """The number of the step that aims the frame of step `cursor`: the first such step, or the `last` of them."""
        steps = self.program.steps
        frame, at = steps[cursor].frame, cursor
        while isinstance(steps[at], ExposeStep):
            at -= 1
        while not last and at > 0 and isinstance(steps[at - 1], MoveStep) and steps[at - 1].frame == frame:
            at -= 1
        return at

    def conclude(self, data: Any) -> None:
        """Write how the exposure under way ended, if there is one."""
        event: Event = data.kwargs["event"]
        if self.exposing_id and event.command_id == self.exposing_id and event.outcome in OUTCOMES:
            self.effects.append(Conclude(self.exposing_id, OUTCOMES[event.outcome], event.board_clock_ms))
            self.exposing_id = 0

    def _take_id(self) -> CommandId:
        command_id = CommandId(self.next_id)
        self.next_id += 1
        return command_id

    def _command(self, data: Any, request: Reference | Move | Expose, expected_ns: int, deadline_ns: int) -> None:
        event: Event = data.kwargs["event"]
        self.effects += [Send(request, expected_ns), Timer(event.at_ns + deadline_ns, overdue=True)]

    def _intent(self, step: ExposeStep, command_id: int) -> Intent:
        aim = self.program.steps[self.aim_before(self.cursor, last=True)]
        assert isinstance(aim, MoveStep | AskStep)
        if isinstance(aim, AskStep):
            yaw_deg, pitch_deg = aim.yaw_deg, aim.pitch_deg
        else:
            yaw_deg = aim.pan_steps / self.program.pan.steps_per_degree
            pitch_deg = aim.tilt_steps / self.program.tilt.steps_per_degree
        return Intent(
            frame=step.frame,
            exposure=step.exposure,
            attempt=self.tries,
            command_id=command_id,
            yaw_deg=yaw_deg,
            pitch_deg=pitch_deg,
            shutter_s=step.shutter_s,
        )

    def _finish_exposure(self, data: Any) -> None:
        self.late_commands = 0
        event: Event = data.kwargs["event"]
        step = self.program.steps[self.cursor]
        assert isinstance(step, ExposeStep)
        self.conclude(data)
        self.ready_at_ns = event.at_ns + step.ready_ns
        self.cursor += 1
        self.tries = 0

    def _stop(self, data: Any) -> None:
        event: Event = data.kwargs["event"]
        self.effects += [SendUrgent(Stop()), Timer(event.at_ns + self.program.stop_deadline_ns, overdue=True)]

    def _fail(self, sentence: str) -> None:
        self.effects.append(End(False, sentence))
