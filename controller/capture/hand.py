"""Moving the head for a person or a measurement: one motion at a time, each waited for.

What goes wrong is an exception here, with the sentence for the operator; a run that must go on by itself is the business
of the state machine.
"""

from typing import NoReturn

from controller.capture import requests
from controller.capture.board import BoardClient, Wish
from controller.capture.events import Event, Kind
from controller.capture.port import Port
from controller.capture.sentences import TROUBLES, hold, refusal
from controller.errors import BoardRefused, InputError, LinkLost, RunStopped, WorldError
from controller.program import timing
from controller.program.program import Program
from protocol.messages import ZERO_SWITCHES, Capability, Halt, Move, Stop
from protocol.units import BootId, CommandId, Steps, next_id


class Hand:
    """A head that somebody moves. `known` says whether its position is; `at_steps` is where it stands, if so."""

    def __init__(self, port: Port, program: Program, wish: Wish = lambda: None) -> None:
        self._port, self._program, self._wish = port, program, wish
        self._board = BoardClient(port, program)
        self._next_id = CommandId(1)
        self.known = False
        self.at_steps = (0, 0)
        self.capabilities = Capability(0)
        self.boot_id = BootId(0)

    @property
    def finds_zero(self) -> bool:
        """Whether both axes have a switch to find zero by."""
        return self.capabilities & ZERO_SWITCHES == ZERO_SWITCHES

    @property
    def steps_per_degree(self) -> tuple[float, float]:
        """Of pan and tilt."""
        return self._program.pan.steps_per_degree, self._program.tilt.steps_per_degree

    @property
    def pose_deg(self) -> tuple[float, float]:
        """Yaw and pitch in degrees."""
        pan, tilt = self.at_steps
        per_pan, per_tilt = self.steps_per_degree
        return pan / per_pan, tilt / per_tilt

    def wait_ready(self) -> None:
        """Greet the board, hear where the head stands, arm it. Raises WorldError, LinkLost."""
        self._board.greet()
        welcome = self._wait(Kind.WELCOMED, None)
        assert welcome.boot_id is not None
        self.boot_id, self.capabilities = welcome.boot_id, welcome.capabilities or Capability(0)
        self._next_id = next_id(welcome.command_id)
        self.wait_rest()
        for request in requests.arming(self._program, self.boot_id, self._take_id):
            self._board.send(request)
        self._wait(Kind.ARMED, None)

    def wait_zero(self) -> None:
        """Find zero; an axis without a switch takes the place where it stands. Raises WorldError, LinkLost."""
        program = self._program
        self._board.send(requests.reference(program, self._take_id()), program.reference_expected_ns)
        self._wait(Kind.REFERENCED, program.reference_deadline_ns)
        self.known, self.at_steps = True, (0, 0)

    def wait_move(self, pan_steps: int, tilt_steps: int) -> None:
        """Go there. Raises InputError outside the limits; WorldError, LinkLost."""
        axes = (self._program.pan, self._program.tilt)
        target = (pan_steps, tilt_steps)
        for name, axis, goal in zip(("pan", "tilt"), axes, target, strict=True):
            if not axis.min_steps <= goal <= axis.max_steps:
                raise InputError(
                    f"{goal / axis.steps_per_degree:.2f} degrees lies outside the limits of head.{name}: "
                    f"{axis.min_steps / axis.steps_per_degree:.2f} to {axis.max_steps / axis.steps_per_degree:.2f}."
                )
        expected_ns = max(
            timing.motion_ns(goal - here, axis.speed_steps_s, axis.accel_steps_s2)
            for axis, here, goal in zip(axes, self.at_steps, target, strict=True)
        )
        self._board.send(Move(self._take_id(), Steps(pan_steps), Steps(tilt_steps)), expected_ns)
        self._wait(Kind.ARRIVED, timing.deadline_ns(expected_ns, self._program.kit.board.baud))
        self.at_steps = target

    def wait_rest(self) -> None:
        """Bring the head to rest, disarmed. Raises WorldError, LinkLost."""
        self._board.send_urgent(Stop())
        rest = self._wait(Kind.AT_REST, self._program.stop_deadline_ns)
        self.known = rest.known
        if rest.known:
            self.at_steps = rest.at_steps

    def _take_id(self) -> CommandId:
        command_id, self._next_id = self._next_id, next_id(self._next_id)
        return command_id

    def _wait(self, wanted: Kind, patience_ns: int | None) -> Event:
        deadline_ns = None if patience_ns is None else self._port.now() + patience_ns
        while True:
            event = self._board.wait_event(deadline_ns, self._wish)
            if event is None:
                self._board.wait_stopped(Stop(), self._program.stop_deadline_ns)
                raise WorldError("The board took far longer than expected; check that both axes turn freely.")
            if event.kind is wanted:
                return event
            if event.kind not in {Kind.AT_REST, Kind.CUT_SHORT, Kind.PAUSE_AFTER_ROW, Kind.GO_ON, Kind.RETAKE}:
                self._fail(event, beginning=wanted in {Kind.WELCOMED, Kind.AT_REST, Kind.ARMED})

    def _fail(self, event: Event, *, beginning: bool) -> None:
        if event.kind is Kind.LINK_LOST:
            raise LinkLost(TROUBLES[event.trouble])
        if event.kind is Kind.REFUSED:
            raise BoardRefused(refusal(event))
        if event.kind is Kind.CONTRADICTED:
            self.known = False
            self._board.wait_stopped(Stop(), self._program.stop_deadline_ns)
            raise WorldError(event.sentence)
        if event.kind in {Kind.PAUSE, Kind.STOP, Kind.HALT}:
            self._stop_as_asked(event.kind)
        if event.kind in {Kind.HELD, Kind.RESTARTED} and not beginning:
            self.known = False
            raise WorldError(hold(event) if event.kind is Kind.HELD else "The board has restarted; begin again.")

    def _stop_as_asked(self, kind: Kind) -> NoReturn:
        self._board.wait_stopped(Halt() if kind is Kind.HALT else Stop(), self._program.stop_deadline_ns)
        raise RunStopped("Stopped as asked.")
