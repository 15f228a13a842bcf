"""The loop: wait for an event, pass it to the machine, carry out the effects in order."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

from controller.capture.board import BoardClient, OperatorPoll
from controller.capture.effects import (
    Announce,
    Ask,
    Conclude,
    Doubt,
    Effect,
    End,
    Greet,
    Intend,
    Listen,
    RampsTold,
    Record,
    Reopen,
    Send,
    SendUrgent,
    Shut,
    SwitchesChecked,
    Timer,
    Zeroed,
    ZeroLost,
)
from controller.capture.events import Event, EventKind
from controller.capture.gate import Gate
from controller.capture.machine import handle
from controller.capture.people import Precautions, YesNoQuestion
from controller.capture.port import Port
from controller.capture.run import Run
from controller.capture.states import RunState
from controller.capture.tether import Tether
from controller.capture.words.board import LOST, ramps_lost
from controller.errors import LinkLost
from controller.program.program import Program
from controller.session.rows import BOARD_SHAPES, NO, YES, Happening
from controller.session.session import Session
from protocol.messages import Capability, Expose, Halt, Stop
from protocol.statistics import LinkStatistics
from protocol.units import MS

LOOK_NS = 50 * MS  # between two looks for a file


@dataclass(frozen=True, slots=True)
class RunResult:
    """How a run ended. `zero_lost`: only the operator can tell where the head points now. `early`: it was stopped before
    it was through.
    """

    complete: bool
    sentence: str
    began_ns: int
    ended_ns: int
    zero_lost: bool = False
    early: bool = False

    @property
    def seconds(self) -> float:
        """How long the run took."""
        return (self.ended_ns - self.began_ns) / 1e9


class Runner:
    """One run of `program` on the board behind `port`, recorded in `session`.

    `on_exposure` is called after every confirmed or assumed exposure, `on_change` after every change of state.
    `ask(question)` shows a question and returns its answer if that is known at once. If it returns None, `operator`
    answers later (ANSWERED or DECLINED), unless `withdraw` withdraws the question. With a `tether` an exposure is made
    when its file has arrived. If people may be near the head, `care` tells what they need and `gate` warns them; see
    `Run` for the rest.
    """

    def __init__(
        self,
        program: Program,
        port: Port,
        session: Session,
        operator: OperatorPoll = lambda: None,
        *,
        on_exposure: Callable[[], None] = lambda: None,
        ask: Callable[[YesNoQuestion], bool | None] = lambda _: True,
        first_id: int = 1,
        on_change: Callable[[Happening], None] = lambda _: None,
        tether: Tether | None = None,
        withdraw: Callable[[], None] = lambda: None,
        care: Precautions | None = None,
        gate: Gate | None = None,
        zero_is_here: bool = True,
        warn: Callable[[str], None] = lambda _: None,
    ) -> None:
        assert gate is not None or care is None, "people are told through the gate"
        self._gate = Gate.of_simulation() if gate is None else gate
        self._program, self._port, self._session = program, port, session
        self._began_ns = port.now()
        self._operator, self._on_exposure, self._ask, self._withdraw = operator, on_exposure, ask, withdraw
        self._on_change, self._warn, self._tether = on_change, warn, tether
        self._answer: bool | None = None
        self._lost = False
        self._board = BoardClient(port, program, self._gate)
        self._run = Run(
            program, first_id, session.remembered(), care, zero_is_here=zero_is_here, tethered=tether is not None
        )
        self._timer: Timer | None = None
        self._result: RunResult | None = None

    @property
    def line(self) -> LinkStatistics:
        """The link's counters so far."""
        return self._board.line

    @property
    def pause(self) -> EventKind | None:
        """The requested pause, if any."""
        return self._run.pause_wanted

    @property
    def shaped(self) -> bool:
        """Whether the board shapes its ramps. Until it has answered, it is taken to be able to."""
        return self._run.board.shapes or self._run.state in {RunState.IDLE, RunState.CONNECTING}

    @property
    def supply_low(self) -> bool | None:
        """Whether the supply voltage is low; None before the board was first at rest or armed."""
        patience, board = self._run.patience, self._run.board
        return patience.supply_low_since_ns is not None if patience.rested or board.was_armed else None

    @property
    def gusts(self) -> bool | None:
        """Whether it is too windy; None without a sensor."""
        if not self._run.board.capabilities & Capability.WIND_SENSOR:
            return None
        return self._run.patience.windy_since_ns is not None

    def run(self) -> RunResult:
        """Run to the end. Raises StorageFailed or LinkLost if one of them ends it."""
        try:
            self._handle(Event(EventKind.START, self._port.now()))
            while self._result is None:
                self._handle(self._wait_event())
        except BaseException:
            # Whatever the error, a full disk or a bug: do not leave the head moving unwatched.
            with suppress(LinkLost):
                self._board.wait_stopped(Stop(), self._program.stop_deadline_ns)
            raise
        return self._result

    def _wait_event(self) -> Event:
        if self._answer is not None:
            kind, self._answer = (EventKind.ANSWERED if self._answer else EventKind.DECLINED), None
            return Event(kind, self._port.now())
        timer = self._timer
        if self._lost:
            self._lost = False
            return Event(EventKind.LINK_LOST, self._port.now(), port_gone=True)
        deadline_ns = timer.at_ns if timer else None
        event = self._wait_file(deadline_ns) if self._run.awaits_file else self._wait_board(deadline_ns)
        if event is not None:
            return event
        assert timer is not None
        self._timer = None
        return Event(EventKind.OVERDUE if timer.overdue else EventKind.WAITED, self._port.now())

    def _wait_board(self, deadline_ns: int | None) -> Event | None:
        """The next event from the board or the operator by then; a lost line is an event as well."""
        try:
            return self._board.wait_event(deadline_ns, self._operator)
        except LinkLost:
            return Event(EventKind.LINK_LOST, self._port.now(), port_gone=True)

    def _wait_file(self, deadline_ns: int | None) -> Event | None:
        """The next event by then while a photograph is awaited: its arrival, or anything else."""
        while deadline_ns is None or self._port.now() < deadline_ns:
            now = self._port.now()
            if (name := self._new_file()) is not None:
                return Event(EventKind.FILED, now, text=name)
            look_ns = now + LOOK_NS
            event = self._wait_board(look_ns if deadline_ns is None else min(look_ns, deadline_ns))
            if event is not None:
                return event
        return None

    def _new_file(self) -> str | None:
        """The name of the latest photograph that has arrived, if any, recorded in the session."""
        files = [] if self._tether is None else self._tether.new_files()
        if not files:
            return None
        now, run = self._port.now(), self._run
        self._session.note(Happening(now, run.state.value, EventKind.FILED.value, run.frame, files[-1]))
        return files[-1]

    def _handle(self, event: Event) -> None:
        before, shaped = self._run.state, self.shaped
        effects = handle(self._run, event)
        if shaped and not self.shaped and self._program.counts_on_shaping:
            self._warn(ramps_lost(self._run.progress.longer_ns()))
        if self._run.state is not before:
            if before is RunState.ASKING:
                self._withdraw()
            happening = Happening(event.at_ns, self._run.state.value, event.kind.value, self._run.frame)
            self._session.note(happening)
            self._on_change(happening)
            if event.kind is EventKind.LINK_LOST and self._run.state is RunState.SUSPENDED:
                self._warn(LOST[event.trouble])
        for effect in effects:
            try:
                self._perform(effect, event.at_ns)
            except LinkLost:
                self._lost = True  # the port itself is gone; the remaining effects could not be sent either
                break

    def _perform(self, effect: Effect, at_ns: int) -> None:
        match effect:
            case Timer(when):
                self._timer = None if when is None else effect
            case Ask(question):
                self._answer = self._ask(question)
            case Announce(why, lead_ns):
                self._timer = Timer(self._gate.announce(why, lead_ns), overdue=False)
            case Shut():
                self._gate.shut()
            case Send(request, expected_ns):
                if isinstance(request, Expose):
                    self._new_file()  # a late file belongs to an exposure that was given up
                self._board.send(request, expected_ns)
            case SendUrgent(request):
                assert isinstance(request, Stop | Halt)
                self._board.send_urgent(request)
            case Listen():
                self._board.listen()
            case Reopen():
                self._port.reopen()
            case Greet():
                self._board.greet()
            case End(complete, sentence, early):
                zero_lost = self._run.zero_is_lost
                self._result = RunResult(complete, sentence, self._began_ns, at_ns, zero_lost, early)
            case _:
                self._write(effect, at_ns)

    def _write(self, effect: Record, at_ns: int) -> None:
        match effect:
            case Intend(intent):
                self._session.intend(intent, at_ns)
            case Conclude(command_id, outcome, clock_ms, reported_steps):
                self._session.conclude(command_id, outcome, at_ns, clock_ms, reported_steps)
                if outcome.made:
                    self._on_exposure()
            case RampsTold(shaped):
                self._session.note_about(BOARD_SHAPES, YES if shaped else NO)
            case Zeroed(boot_id):
                self._session.note_zero(boot_id)
            case ZeroLost():
                self._session.forget_zero()
            case SwitchesChecked(axes):
                self._session.note_checked(axes)
            case Doubt(exposures, why):
                self._session.doubt(exposures, why)
