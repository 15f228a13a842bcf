"""What is believed of one board while it is spoken to: what it was asked, where the head stands, what its clock said.

Its words come in here and go out as a `Lie` where `belief.py` finds that they cannot be true. It outlives a line that
dies and comes back; another boot of the board begins with nothing.
"""

from collections import deque
from dataclasses import replace

from controller.capture import belief
from controller.capture.belief import CommandOutcome, Known, Lie, Place, SentCommand
from controller.program.program import Program
from protocol.messages import (
    Capability,
    Expose,
    Halt,
    Index,
    Move,
    Outcome,
    Reference,
    Request,
    Status,
    Stop,
    Welcome,
)
from protocol.units import ID_SPAN, MS, BootId, CommandId

STRETCH_NS = 500 * MS


class Believed:
    """The picture that the host has of a board. `asked` is the command under way, `latest` the last one in any case."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._boot_id: BootId | None = None
        self._capabilities = Capability(0)
        self.asked: SentCommand | None = None
        self.latest: SentCommand | None = None
        self._at_steps: Place | None = None
        self._clock_ms: int | None = None
        self._clock_at_ns = 0
        self._mark: tuple[int, int] | None = None  # an earlier reading of its clock, and when that was
        self._rate: float | None = None
        self._status_clock_ms: int | None = None
        self._index: Index | None = None
        self._questions: deque[Known | None] = deque()  # what was known when each status was asked for

    @property
    def referencing(self) -> bool:
        """Whether the latest command was a reference run."""
        return self.latest is not None and isinstance(self.latest.request, Reference)

    @property
    def knows_place(self) -> bool:
        """Whether it is believed to know where the head stands."""
        return self._at_steps is not None

    # What the host does.

    def greet(self) -> None:
        """A new conversation: nothing is under way in it, and what was, may have been carried out or not."""
        self._lose_place_if_turning()
        self.asked = None
        self._questions.clear()

    def send(self, request: Reference | Move | Expose, now: int) -> None:
        """A command goes out."""
        self.asked = self.latest = SentCommand(
            request, now, self._at_steps, self._clock_ms, self._clock_at_ns, self._rate
        )
        self._change()

    def stop(self, request: Stop | Halt) -> None:
        """Everything that waits for an answer is given up for this."""
        self._questions.clear()
        self._lose_place_if_turning()
        if isinstance(request, Halt):
            self._at_steps = None

    def ask(self, *, armed: bool, stopped: bool) -> None:
        """A status is asked for."""
        self._questions.append(Known(self.asked, self._at_steps, armed, stopped, self._status_clock_ms))

    # What the board says.

    def welcome(self, welcome: Welcome) -> Lie | None:
        """Who it is."""
        if welcome.boot_id != self._boot_id:
            self.forget()
        self._boot_id, self._capabilities = welcome.boot_id, welcome.capabilities
        return belief.of_welcome(welcome)

    def accept(self, request: Request) -> None:
        """It has taken a request."""
        if self.asked is not None and request is self.asked.request:
            self.asked = self.latest = replace(self.asked, accepted=True)
        self._change()

    def give_up(self) -> None:
        """The command under way is not any more."""
        self.asked = None
        self._change()

    def hold(self) -> None:
        """It has stopped by itself. Whether the position is still known, a status says."""
        self.lose_place()
        self._change()

    def lose_place(self) -> None:
        """It does not know any more where the head stands."""
        self._at_steps = None

    def forget(self) -> None:
        """It is another boot of the board: nothing that was believed of the one before holds."""
        self.asked = self.latest = self._at_steps = self._boot_id = None
        self._clock_ms = self._status_clock_ms = self._index = self._mark = self._rate = None
        self._change()

    def is_ours(self, command_id: CommandId) -> bool:
        """Whether a command is the one under way."""
        return self.asked is not None and command_id == self.asked.request.command_id

    def end(self, told: CommandOutcome) -> Lie | None:
        """The command under way has ended like this."""
        asked = self.asked
        assert asked is not None
        self.give_up()
        if (lie := belief.of_end(asked, told, self._program, self._capabilities)) is not None:
            return lie
        if told.outcome is not Outcome.CUT_SHORT:
            self._at_steps = asked.ends_at
        elif not isinstance(asked.request, Expose):
            self._at_steps = None
        self._read_clock(told.clock_ms, told.heard_ns)
        return None

    def unanswered(self) -> Known | None:
        """The question that was asked first is answered: what was known by then, None if that has changed since."""
        return self._questions.popleft() if self._questions else None

    def status(self, status: Status, now: int) -> Lie | None:
        """The answer to the question that was asked first."""
        known = self.unanswered()
        lie = belief.of_status(status, known) if known is not None else None
        self._status_clock_ms = status.clock_ms
        self._read_clock(status.clock_ms, now)
        return lie

    def rest(self, status: Status, now: int) -> Lie | None:
        """It is at rest and disarmed; how the exposure ended that was under way, it says as well."""
        outcome, at_steps = status.finished_outcome, belief.at_rest(status)
        self.asked, self._at_steps = None, at_steps
        latest = self.latest
        if latest is not None and isinstance(latest.request, Expose) and latest.request.command_id == status.finished_id:
            if at_steps is None:
                latest = replace(latest, from_steps=None)
            told = CommandOutcome(outcome, (status.pan_steps, status.tilt_steps), status.finished_clock_ms, now)
            return belief.of_end(latest, told, self._program, self._capabilities)
        return belief.of_outcome(outcome, self._capabilities) if outcome in belief.MADE else None

    def index(self, index: Index) -> Lie | None:
        """Where it has seen the switches."""
        before, self._index = self._index, index
        return belief.of_index(index, before, self._capabilities)

    def _read_clock(self, clock_ms: int, now: int) -> None:
        """The least rate counts, over stretches long enough to tell: a clock that only jumps is not a fast one."""
        self._clock_ms, self._clock_at_ns = clock_ms, now
        if self._mark is None:
            self._mark = (clock_ms, now)
        elif now - self._mark[1] >= STRETCH_NS:
            rate = (clock_ms - self._mark[0]) % ID_SPAN * MS / (now - self._mark[1])
            self._rate = rate if self._rate is None else min(self._rate, rate)
            self._mark = (clock_ms, now)

    def _lose_place_if_turning(self) -> None:
        if self.asked is not None and not isinstance(self.asked.request, Expose):
            self._at_steps = None

    def _change(self) -> None:
        """An answer to an earlier question may be older than what is known now: take it for what it says, no more."""
        self._questions = deque(None for _ in self._questions)
