"""Carries out the table of `states.py` with the transitions library: an event in, a list of effects out.

The library only decides which state comes next. Actions append effects and nothing else: no I/O, no clock, no
further events.
"""

from typing import Any

from transitions import Machine

from controller.capture.effects import (
    Ask,
    Conclude,
    Effect,
    End,
    Greet,
    Intend,
    Send,
    SendUrgent,
    Timer,
)
from controller.capture.events import Event
from controller.capture.sentences import CAUSES, REASONS
from controller.capture.states import ROWS, Row, RunState
from controller.program.program import AskStep, ExposeStep, MoveStep, Program
from controller.session.session import Intent, ShotOutcome
from protocol.messages import Arm, Expose, Halt, Move, Outcome, Reference, SetAxis, Stop
from protocol.units import Axis, CommandId, Steps

MOST_TRIES = 3
OUTCOMES = {
    Outcome.EXPOSED_SYNC: ShotOutcome.CONFIRMED,
    Outcome.EXPOSED_BLIND: ShotOutcome.ASSUMED,
    Outcome.NO_SYNC: ShotOutcome.UNCONFIRMED,
    Outcome.CUT_SHORT: ShotOutcome.INTERRUPTED,
}


class Run:
    """One run through a program. `handle` is the only way in; `state` says where it stands.

    `first_id` is the smallest command id that the session has not used.
    """

    def __init__(self, program: Program, first_id: int = 1) -> None:
        self.state = RunState.IDLE
        self.program = program
        self.next_id = first_id
        self.cursor = 0  # of the step that is being carried out or comes next
        self.tries = 0
        self.ready_at_ns = 0  # when the camera can take the next exposure
        self.exposing_id = 0  # the exposure whose outcome is not known yet
        self.why = ""
        self.effects: list[Effect] = []
        _check_names(self)
        self._machine = Machine(
            model=self,
            states=RunState,
            initial=RunState.IDLE,
            transitions=[_as_transition(row) for row in ROWS],
            auto_transitions=False,
            send_event=True,
        )

    def handle(self, event: Event) -> list[Effect]:
        """Take one event; return what is to be done, in order.

        Raises transitions.MachineError, changing nothing, for an event that the state does not know.
        """
        self.effects = []
        self._machine.events[event.kind.value].trigger(self, event=event)
        return self.effects

    @property
    def frame(self) -> int | None:
        """The frame that is being worked on."""
        steps = self.program.steps
        return steps[min(self.cursor, len(steps) - 1)].frame if self.state is not RunState.IDLE else None

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

    # Actions: the photographs, one after the other.

    def greet(self, _: Any) -> None:
        """Say hello."""
        self.effects.append(Greet())

    def arm(self, data: Any) -> None:
        """Tell the board about both axes and allow it to move them."""
        event: Event = data.kwargs["event"]
        # A board remembers the last id it took, also from a session before this one.
        self.next_id = max(self.next_id, event.command_id + 1)
        for name, axis in ((Axis.PAN, self.program.pan), (Axis.TILT, self.program.tilt)):
            low, high = Steps(axis.min_steps), Steps(axis.max_steps)
            self.effects.append(Send(SetAxis(self._take_id(), name, low, high, axis.speed_steps_s, axis.accel_steps_s2)))
        assert event.boot_id is not None
        self.effects.append(Send(Arm(self._take_id(), event.boot_id, self.program.silence_ms)))

    def reference(self, data: Any) -> None:
        """Let the board find zero."""
        program = self.program
        request = Reference(
            self._take_id(), program.pan_search_steps_s, program.tilt_search_steps_s, program.creep_divisor
        )
        self._command(data, request, program.reference_expected_ns, program.reference_deadline_ns)

    def move(self, data: Any) -> None:
        """Turn to the next frame."""
        step = self.program.steps[self.cursor]
        assert isinstance(step, MoveStep)
        request = Move(self._take_id(), Steps(step.pan_steps), Steps(step.tilt_steps))
        self._command(data, request, step.expected_ns, step.deadline_ns)

    def settle(self, data: Any) -> None:
        """Wait for vibration to die down, and for the camera if it needs longer."""
        event: Event = data.kwargs["event"]
        step = self.program.steps[self.cursor]
        assert isinstance(step, MoveStep)
        self.cursor += 1
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
        self.cursor += 1
        self.effects.append(Timer(max(event.at_ns, self.ready_at_ns), overdue=False))

    def close(self, data: Any) -> None:
        """Note the last exposure and disarm the board."""
        self._finish_exposure(data)
        self._stop(data)

    def complete(self, _: Any) -> None:
        """Every exposure of the program was made."""
        self.effects.append(End(True, "The set is complete."))

    # Actions: the camera stays silent.

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

    # Actions: endings.

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

    def conclude(self, data: Any) -> None:
        """Write how the exposure under way ended, if there is one."""
        event: Event = data.kwargs["event"]
        if self.exposing_id and event.command_id == self.exposing_id:
            self.effects.append(Conclude(self.exposing_id, OUTCOMES[event.outcome], event.board_clock_ms))
            self.exposing_id = 0

    def halt_as_asked(self, data: Any) -> None:
        """Stop the pulses at once, and make sure that the board has heard it."""
        event: Event = data.kwargs["event"]
        self.why = "Halted as asked: the position of the head is no longer known."
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
        self._fail("The board does not say that the head stands still; cut the motor power before going near it.")

    def fail_refused(self, data: Any) -> None:
        """The board does not let us begin."""
        self._fail(_refusal(data))

    def fail_cut_short(self, data: Any) -> None:
        """The board ended a command by itself."""
        self.conclude(data)
        self._fail("The board stopped by itself; its position must be found again before the run can go on.")

    def fail_held(self, data: Any) -> None:
        """The board stopped by itself and says why."""
        event: Event = data.kwargs["event"]
        self._fail(CAUSES[event.cause])

    def fail_restarted(self, _: Any) -> None:
        """The board lost power or was reset."""
        self._fail("The board has restarted, so the head's position is unknown; check its supply, then go on.")

    def fail_link_lost(self, _: Any) -> None:
        """The board does not answer any more."""
        self._fail("The board does not answer; check the cable and the board's supply, then go on.")

    # Inside.

    def _take_id(self) -> CommandId:
        command_id = CommandId(self.next_id)
        self.next_id += 1
        return command_id

    def _command(self, data: Any, request: Reference | Move | Expose, expected_ns: int, deadline_ns: int) -> None:
        event: Event = data.kwargs["event"]
        self.effects += [Send(request, expected_ns), Timer(event.at_ns + deadline_ns, overdue=True)]

    def _intent(self, step: ExposeStep, command_id: int) -> Intent:
        aim = next(s for s in reversed(self.program.steps[: self.cursor]) if isinstance(s, MoveStep | AskStep))
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


def _refusal(data: Any) -> str:
    event: Event = data.kwargs["event"]
    assert event.reason is not None
    return REASONS[event.reason]


def _as_transition(row: Row) -> dict[str, Any]:
    return {
        "trigger": row.kind.value,
        "source": list(row.sources),
        "dest": row.target,
        "conditions": row.condition,
        "after" if row.target is not None else "before": row.action,
    }


def _check_names(run: Run) -> None:
    """A misspelt name would otherwise be found out only when it fires, hours into a run."""
    wanted = {name for row in ROWS for name in (row.action, row.condition) if name}
    missing = sorted(name for name in wanted if not callable(getattr(run, name, None)))
    if missing:
        raise AttributeError(f"the table names what the machine does not have: {', '.join(missing)}")
