"""The host's knowledge of one board during a conversation: its requests, the position of the head, the board's clock.

Reports come in. If `belief.py` finds one that cannot be true, a `Contradiction` comes out. This knowledge survives a lost
line. Another boot of the board starts without any.
"""

from collections import deque
from dataclasses import replace

from controller.capture import belief
from controller.capture.belief import CommandOutcome, Contradiction, Known, SentCommand
from controller.program.arrival import Place
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
    SetAxis,
    SetShaper,
    Status,
    Stop,
    Welcome,
)
from protocol.shaper import Shaper, impulses_of
from protocol.units import ID_SPAN, MS, BootId, CommandId

STRETCH_NS = 500 * MS


class BoardBelief:
    """The host's knowledge of a board. `asked` is the command under way, `latest` the last one sent, ended or not."""

    def __init__(self, program: Program) -> None:
        self._program = program
        self._boot_id: BootId | None = None
        self._capabilities = Capability(0)
        self.asked: SentCommand | None = None
        self.latest: SentCommand | None = None
        self._at_steps: Place | None = None
        self._shaped_ms = [0, 0]  # by the shapers that pan and tilt were given
        self._clock_ms: int | None = None
        self._clock_at_ns = 0
        self._mark: tuple[int, int] | None = None  # an earlier reading of its clock, and when it was read
        self._rate: float | None = None
        self._status_clock_ms: int | None = None
        self._index: Index | None = None
        self._questions: deque[Known | None] = deque()  # the knowledge at the time of each status request

    @property
    def referencing(self) -> bool:
        """Whether the latest command was a reference run."""
        return self.latest is not None and isinstance(self.latest.request, Reference)

    @property
    def knows_place(self) -> bool:
        """Whether the position of the head is known."""
        return self._at_steps is not None

    # The host's actions.

    def greet(self) -> None:
        """Begin a new conversation. Nothing is under way in it; what was may have been carried out or not."""
        self._lose_place_if_turning()
        self.asked = None
        self._questions.clear()

    def send(self, request: Reference | Move | Expose, now: int) -> None:
        """Note a command that is sent."""
        pan_ms, tilt_ms = self._shaped_ms
        self.asked = self.latest = SentCommand(
            request,
            now,
            self._at_steps,
            self._clock_ms,
            self._clock_at_ns,
            self._rate,
            shaped_ms=(pan_ms, tilt_ms),
        )
        self._change()

    def stop(self, request: Stop | Halt) -> None:
        """Note a stop or halt. It replaces every request that waits for an answer."""
        self._questions.clear()
        self._lose_place_if_turning()
        if isinstance(request, Halt):
            self._at_steps = None

    def ask(self, *, armed: bool, stopped: bool) -> None:
        """Note a request for the status."""
        self._questions.append(Known(self.asked, self._at_steps, armed, stopped, self._status_clock_ms))

    # The board's reports.

    def welcome(self, welcome: Welcome) -> Contradiction | None:
        """Take in a Welcome."""
        if welcome.boot_id != self._boot_id:
            self.forget()
        self._boot_id, self._capabilities = welcome.boot_id, welcome.offers
        return belief.of_welcome(welcome)

    def accept(self, request: Request) -> None:
        """Note that the board has accepted a request."""
        if self.asked is not None and request is self.asked.request:
            self.asked = self.latest = replace(self.asked, accepted=True)
        if isinstance(request, SetAxis):
            self._shaped_ms[request.axis] = 0
        elif isinstance(request, SetShaper):
            self._shaped_ms[request.axis] = Shaper(impulses_of(request)).duration_ms
        self._change()

    def give_up(self) -> None:
        """Note that the command under way is void."""
        self.asked = None
        self._change()

    def hold(self) -> None:
        """Note that the board has stopped by itself. A status tells whether its position is still known."""
        self.lose_place()
        self._change()

    def lose_place(self) -> None:
        """Note that the board no longer knows the position of the head."""
        self._at_steps = None

    def forget(self) -> None:
        """Forget everything: it is another boot of the board."""
        self.asked = self.latest = self._at_steps = self._boot_id = None
        self._clock_ms = self._status_clock_ms = self._index = self._mark = self._rate = None
        self._shaped_ms = [0, 0]
        self._change()

    def is_ours(self, command_id: CommandId) -> bool:
        """Whether that is the command under way."""
        return self.asked is not None and command_id == self.asked.request.command_id

    def end(self, told: CommandOutcome) -> Contradiction | None:
        """Note how the command under way ended."""
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
        """Take the oldest request for a status as answered. Returns the knowledge at its time, None if it has changed
        since.
        """
        return self._questions.popleft() if self._questions else None

    def status(self, status: Status, now: int) -> Contradiction | None:
        """Take in the answer to the oldest request for a status."""
        known = self.unanswered()
        lie = belief.of_status(status, known) if known is not None else None
        self._status_clock_ms = status.clock_ms
        self._read_clock(status.clock_ms, now)
        return lie

    def rest(self, status: Status, now: int) -> Contradiction | None:
        """Take in the status of a board at rest and disarmed, with the outcome of the exposure under way."""
        outcome, at_steps = status.finished_outcome, belief.at_rest(status)
        self.asked, self._at_steps = None, at_steps
        latest = self.latest
        if latest is not None and isinstance(latest.request, Expose) and latest.request.command_id == status.finished_id:
            if at_steps is None:
                latest = replace(latest, from_steps=None)
            told = CommandOutcome(outcome, (status.pan_steps, status.tilt_steps), status.finished_clock_ms, now)
            return belief.of_end(latest, told, self._program, self._capabilities)
        return belief.of_outcome(outcome, self._capabilities) if outcome in belief.MADE else None

    def index(self, index: Index) -> Contradiction | None:
        """Take in where the board has seen the switches."""
        before, self._index = self._index, index
        return belief.of_index(index, before, self._capabilities)

    def _read_clock(self, clock_ms: int, now: int) -> None:
        """Note the clock. The least rate counts, over intervals long enough to measure: a clock that jumps is not a fast
        one.
        """
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
        """Void the knowledge behind open status requests: their answers may be older than the change, so check them no
        further.
        """
        self._questions = deque(None for _ in self._questions)
