"""Moves the head for a person or a measurement: one motion at a time, each announced and waited for.

Trouble is an exception here, with the sentence for the operator; only the state machine lets a run recover by itself.
While a person is asked or thinks, the board's watchdog is kept quiet and its other reports are received.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import NoReturn, TypeVar

from controller.capture import requests
from controller.capture.board import BoardClient
from controller.capture.events import Event, EventKind
from controller.capture.gate import Gate
from controller.capture.operator import NOBODY, Respondent
from controller.capture.people import MOMENT_NS, YesNoQuestion
from controller.capture.port import Port
from controller.capture.words.board import TROUBLES, hold, refusal
from controller.errors import BoardRefused, InputError, LinkLost, RunStopped, WorldError
from controller.program import timing
from controller.program.arrival import with_shapers
from controller.program.kinematics import angles_of_steps, pose_at
from controller.program.program import Program, slowed
from protocol.messages import ZERO_SWITCHES, Capability, Halt, Move, Stop
from protocol.shaper import PLAIN, Shaper
from protocol.units import MS, BootId, CommandId, Steps, next_id

LOOK_NS = 50 * MS  # between two looks for a pressed key
TOUCH_NS = 10 * MS  # between two looks whether a finger is still on the pad
Pressed = TypeVar("Pressed")
UNSHAPED = (PLAIN, PLAIN)
STOPPING = {EventKind.PAUSE, EventKind.STOP, EventKind.HALT}


class Hand:
    """A head that a person moves. `known` tells whether its position is known; `at_steps` is the position, if so.

    `operator` gives the requests and answers meanwhile; every command to move passes `gate`.
    """

    def __init__(self, port: Port, program: Program, operator: Respondent = NOBODY, gate: Gate | None = None) -> None:
        self._port, self._program, self._operator = port, program, operator
        self.gate = Gate.of_simulation() if gate is None else gate
        self._board = BoardClient(port, program, self.gate)
        self._next_id = CommandId(1)
        self._greeted = self._armed = False
        self._shapers, self._share = UNSHAPED, 1.0
        self.known = False
        self.at_steps = (0, 0)
        self.capabilities = Capability(0)
        self.boot_id = BootId(0)

    @property
    def finds_zero(self) -> bool:
        """Whether both axes have a switch at zero."""
        return self.capabilities & ZERO_SWITCHES == ZERO_SWITCHES

    @property
    def shapes(self) -> bool:
        """Whether the board shapes its ramps."""
        return bool(self.capabilities & Capability.SHAPER)

    @property
    def steps_per_degree(self) -> tuple[float, float]:
        """Steps per degree of pan and tilt."""
        return self._program.pan.steps_per_degree, self._program.tilt.steps_per_degree

    @property
    def pose_deg(self) -> tuple[float, float]:
        """Yaw and pitch of the camera in degrees, with the kit's lean included."""
        head = self._program.kit.head
        pose = pose_at(head, *angles_of_steps(head, *self.at_steps))
        return pose.yaw_deg, pose.pitch_deg

    # People.

    def wait_announced(self, why: str, lead_ns: int) -> None:
        """Warn people that the head moves in `lead_ns` and why, and wait that long. Raises RunStopped."""
        while True:
            told_ns = self._port.now()
            self.gate.announce(why, lead_ns)
            self._wait(None, lead_ns)
            # Warn again if the host slept through it or the board restarted meanwhile: somebody may be at the head.
            if self.gate.announced is not None and self._port.now() <= told_ns + lead_ns + MOMENT_NS:
                return

    def wait_answer(self, question: YesNoQuestion) -> bool:
        """Ask, and return the answer, however long it takes. Motion needs a new warning afterwards.

        Raises RunStopped; WorldError or LinkLost if the board fails meanwhile.
        """
        self.gate.shut()
        answer = self._operator.ask(question)
        return self._wait_said().kind is EventKind.ANSWERED if answer is None else answer

    def wait_text(self, words: str) -> str | None:
        """Ask for a line of text; None if nobody can type it. Raises the same as `wait_answer`."""
        self.gate.shut()
        return self._wait_said().text if self._operator.ask_text(words) else None

    def _wait_said(self) -> Event:
        try:
            while True:
                event = self._board.wait_event(None, self._operator.next_request)
                assert event is not None
                if event.kind in {EventKind.ANSWERED, EventKind.DECLINED}:
                    return event
                self._heed(event)
        finally:
            self._operator.withdraw()

    def wait_key(self, pressed: Callable[[], Pressed | None]) -> Pressed:
        """The next pressed key, or whatever else `pressed` returns, while everything else is received too.

        `pressed` never waits. Raises RunStopped.
        """
        while True:
            key = pressed()
            if key is not None:
                return key
            self._wait(None, LOOK_NS)

    @contextmanager
    def keys_only(self) -> Iterator[None]:
        """Read single keys and no lines: both come from the same terminal."""
        self._operator.hear_lines(False)
        try:
            yield
        finally:
            self._operator.hear_lines(True)

    def wait_until(self, over: Callable[[], bool]) -> None:
        """Wait until `over` is true, while everything else is received too. Raises RunStopped."""
        while not over():
            self._wait(None, LOOK_NS)

    def wait_pass(self, lasts_ns: int) -> None:
        """Let this time pass, while everything else is received too. Raises RunStopped."""
        self._wait(None, lasts_ns)

    # The head.

    def wait_known(self) -> None:
        """Greet the board and receive the position of the head; nothing is armed. Raises WorldError, LinkLost."""
        self._board.greet()
        self._greeted, self._armed = True, False
        welcome = self._wait(EventKind.WELCOMED, None)
        assert welcome is not None
        assert welcome.boot_id is not None
        self.boot_id, self.capabilities = welcome.boot_id, welcome.capabilities or Capability(0)
        self._next_id = next_id(welcome.command_id)
        self.wait_rest()

    def wait_armed(self, shapers: tuple[Shaper, Shaper] = UNSHAPED, share: float = 1.0) -> None:
        """Allow the board to move, with these shapers of pan and tilt and this share of the speed until it rests.

        Does nothing if it is already allowed. Raises WorldError, LinkLost.
        """
        if self._armed:
            return
        if shapers != UNSHAPED and not self.shapes:
            raise WorldError("This board does not shape its ramps; it needs firmware of protocol 1.2 or later.")
        slow = self._program if share == 1.0 else slowed(self._program, share)
        pan, tilt = with_shapers(slow.axes, shapers)
        program = replace(slow, pan=pan, tilt=tilt)
        for request in requests.arming(program, self.boot_id, self._take_id, shaped=self.shapes):
            self._board.send(request)
        self._wait(EventKind.ARMED, None)
        self._armed, self._shapers, self._share = True, shapers, share

    def wait_ready(self) -> None:
        """Greet the board, receive the position of the head, arm the board. Raises WorldError, LinkLost."""
        self.wait_known()
        self.wait_armed()

    def wait_zero(self) -> None:
        """Find zero; an axis without a switch takes its present place for zero. Raises WorldError, LinkLost."""
        program = self._program
        self._board.send(requests.reference(program, self._take_id()), program.reference_expected_ns)
        self._wait(EventKind.REFERENCED, program.reference_deadline_ns)
        self.known, self.at_steps = True, (0, 0)

    def wait_move(self, pan_steps: int, tilt_steps: int) -> None:
        """Turn to that position. Raises InputError outside the limits; WorldError, LinkLost."""
        target = (pan_steps, tilt_steps)
        self.must_reach(target)
        expected_ns = self.motion_ns(target)
        self._board.send(Move(self._take_id(), Steps(pan_steps), Steps(tilt_steps)), expected_ns)
        self._wait(EventKind.ARRIVED, timing.deadline_ns(expected_ns, self._program.kit.board.baud))
        self.at_steps = target

    def wait_touch(self, pan_steps: int, tilt_steps: int, ends_ns: Callable[[], int]) -> None:
        """Turn toward that position until the time that `ends_ns` returns, which may move on; then stop with a ramp.

        Turns nowhere if that time is past already. Raises InputError outside the limits; WorldError, LinkLost,
        RunStopped.
        """
        target = (pan_steps, tilt_steps)
        self.must_reach(target)
        if ends_ns() > self._port.now():
            expected_ns = self.motion_ns(target)
            overdue_ns = self._port.now() + timing.deadline_ns(expected_ns, self._program.kit.board.baud)
            self._board.send(Move(self._take_id(), Steps(pan_steps), Steps(tilt_steps)), expected_ns)
            while (left_ns := min(ends_ns(), overdue_ns) - self._port.now()) > 0:
                event = self._board.wait_event(self._port.now() + min(left_ns, TOUCH_NS), self._operator.next_request)
                if event is not None and event.kind is EventKind.ARRIVED:
                    break
                if event is not None:
                    self._heed(event)
        self.wait_rest()

    def must_reach(self, target: tuple[int, int]) -> None:
        """Raise InputError for a target outside the limits."""
        axes = (self._program.pan, self._program.tilt)
        for name, axis, goal in zip(("pan", "tilt"), axes, target, strict=True):
            if not axis.min_steps <= goal <= axis.max_steps:
                raise InputError(
                    f"{goal / axis.steps_per_degree:.2f} degrees lies outside the limits of head.{name}: "
                    f"{axis.min_steps / axis.steps_per_degree:.2f} to {axis.max_steps / axis.steps_per_degree:.2f}."
                )

    def motion_ns(self, target: tuple[int, int], start: tuple[int, int] | None = None) -> int:
        """The time to turn from `start`, or from the present position, to `target`."""
        axes = (self._program if self._share == 1.0 else slowed(self._program, self._share)).axes
        return max(
            timing.motion_ns(goal - here, axis.speed_steps_s, axis.accel_steps_s2)
            + (shaper.duration_ms * MS if goal != here else 0)
            for axis, here, goal, shaper in zip(axes, start or self.at_steps, target, self._shapers, strict=True)
        )

    def wait_rest(self) -> None:
        """Bring the head to rest, disarmed. Motion needs a new warning afterwards. Raises WorldError, LinkLost."""
        self._armed, self._shapers, self._share = False, UNSHAPED, 1.0
        self._board.send_urgent(Stop())
        rest = self._wait(EventKind.AT_REST, self._program.stop_deadline_ns)
        assert rest is not None
        self.known = rest.known
        if rest.known:
            self.at_steps = rest.at_steps

    def _take_id(self) -> CommandId:
        command_id, self._next_id = self._next_id, next_id(self._next_id)
        return command_id

    def _wait(self, wanted: EventKind | None, patience_ns: int | None) -> Event | None:
        """Wait for an event of a kind; if it is None, let `patience_ns` pass."""
        deadline_ns = None if patience_ns is None else self._port.now() + patience_ns
        while True:
            event = self._board.wait_event(deadline_ns, self._operator.next_request)
            if event is None and wanted is None:
                return None
            if event is None:
                self._armed = False
                self._board.wait_stopped(Stop(), self._program.stop_deadline_ns)
                raise WorldError("The board took far longer than expected; check that both axes turn freely.")
            if event.kind is wanted:
                return event
            self._heed(event, beginning=wanted in {EventKind.WELCOMED, EventKind.AT_REST, EventKind.ARMED})

    def _heed(self, event: Event, *, beginning: bool = False) -> None:
        """Handle an event that was not waited for: raise if it ends the wait."""
        if event.kind is EventKind.LINK_LOST:
            raise LinkLost(TROUBLES[event.trouble])
        if event.kind is EventKind.REFUSED:
            raise BoardRefused(refusal(event))
        if event.kind is EventKind.CONTRADICTED:
            self.known = self._armed = False
            self._board.wait_stopped(Stop(), self._program.stop_deadline_ns)
            raise WorldError(event.sentence)
        if event.kind in STOPPING:
            self._stop_as_asked(event.kind)
        if event.kind is EventKind.RESTARTED and not self._armed and event.boot_id is not None:
            self.known, self.boot_id = False, event.boot_id
            self.gate.shut()
        elif event.kind in {EventKind.HELD, EventKind.RESTARTED} and self._armed and not beginning:
            self.known = self._armed = False
            raise WorldError(hold(event) if event.kind is EventKind.HELD else "The board has restarted; begin again.")

    def _stop_as_asked(self, kind: EventKind) -> NoReturn:
        self._armed = False
        if self._greeted:  # before that, nothing was asked of a board
            self._board.wait_stopped(Halt() if kind is EventKind.HALT else Stop(), self._program.stop_deadline_ns)
        raise RunStopped("Stopped as asked.")
