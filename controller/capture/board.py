"""The client of one board: requests in, events out.

Notices from the board may get lost, so nothing relies on one alone. If a command is due to have ended and no end was
received, the client requests the status, which tells the same. It also requests the status whenever the line has been
quiet for a while, which keeps the board's watchdog from stopping the head.

Every report is checked against what can be true (`belief.py`). After the first contradiction nothing that the board
reports of its work is passed on, only whether the head is at rest.
"""

from collections import deque
from collections.abc import Callable

from controller.capture import belief
from controller.capture.belief import CommandOutcome, Contradiction
from controller.capture.board_belief import BoardBelief
from controller.capture.events import Event, EventKind, Wanted
from controller.capture.gate import Gate
from controller.capture.line import BoardLine
from controller.capture.port import Port
from controller.capture.words.board import other_version, unreadable_refusal
from controller.capture.words.untruths import Untruth
from controller.program.program import Program
from protocol.codec import PROTOCOL_VERSION, kind_of
from protocol.host_link import Answered, HostLink, LinkEvent, Noticed, Restarted, Silent, Unreadable
from protocol.messages import (
    Accepted,
    Arm,
    BoardState,
    Cause,
    Expose,
    Finished,
    GetIndex,
    GetStatus,
    Halt,
    Held,
    Hello,
    Index,
    Move,
    Notice,
    Outcome,
    Reason,
    Reference,
    Refused,
    Reply,
    Request,
    Status,
    StatusFlag,
    Stop,
    Welcome,
)
from protocol.statistics import LinkStatistics
from protocol.units import MS, NO_COMMAND, Nanos

# Ask when half of the board's patience is over: the other half is left for repeating the question.
ASKS_PER_SILENCE = 2
LATE_NS = 20 * MS  # delay from a command's expected end to the first question about it; the delay doubles each time

OperatorPoll = Callable[[], Wanted | None]
"""The operator's next request, or None."""

ENDINGS = {
    Outcome.ARRIVED: EventKind.ARRIVED,
    Outcome.REFERENCED: EventKind.REFERENCED,
    Outcome.EXPOSED_SYNC: EventKind.EXPOSED,
    Outcome.EXPOSED_BLIND: EventKind.EXPOSED,
    Outcome.NO_SYNC: EventKind.NOT_CONFIRMED,
    Outcome.CUT_SHORT: EventKind.CUT_SHORT,
}
UNMET = {Cause.LIMIT, Cause.ZERO_NOT_FOUND}  # causes that end a reference run that has not met a switch
ALWAYS_OBEYED = (Hello, GetStatus, GetIndex, Stop, Halt)
WORD_ON_WORK = {
    *ENDINGS.values(),
    EventKind.WELCOMED,
    EventKind.ARMED,
    EventKind.CHECKED,
    EventKind.CALM,
    EventKind.GUSTY,
    EventKind.REFUSED,
}


class BoardClient:
    """One board on one port, addressed as `program` says; commands that can start motion pass the `gate`."""

    def __init__(self, port: Port, program: Program, gate: Gate) -> None:
        self._port, self._program = port, program
        self._line = BoardLine(port, self._new_link, gate)
        self._quiet_ns = program.silence_ms * MS // ASKS_PER_SILENCE
        self._ask_at: int | None = None
        self._due_at: int | None = None  # when the end of the command under way should have been received
        self._armed = False
        self._coming_to_rest = self._listening = False
        self._braking_since_ns: int | None = None
        self._events: deque[Event] = deque()
        self._believed = BoardBelief(program)
        self._distrusted = False

    @property
    def line(self) -> LinkStatistics:
        """The link's counters since the last greeting."""
        return self._line.statistics

    def greet(self) -> None:
        """Open the conversation. Nothing remains of an earlier one except the knowledge of the board."""
        self._line.begin_again()
        self._believed.greet()
        self._due_at = self._braking_since_ns = None
        self._armed = self._coming_to_rest = self._listening = self._distrusted = False
        self.send(Hello(*PROTOCOL_VERSION, nonce=self._port.now() & 0xFFFFFFFF))

    def _new_link(self) -> HostLink:
        program = self._program
        return HostLink(retry_ns=Nanos(program.retry_ns), tries=program.tries, hello_tries=program.hello_tries)

    def send(self, request: Request, expected_ns: int = 0) -> None:
        """Send a request; for a command whose end is awaited, `expected_ns` is the time until then."""
        if isinstance(request, Reference | Move | Expose):
            now = self._port.now()
            self._believed.send(request, now)
            self._due_at = now + expected_ns
            self._plan_question()
        if isinstance(request, Arm) and self._believed.knows_place:
            self.send(GetStatus())  # a disarmed board does not report a lost position, as when its battery is changed
        if isinstance(request, GetStatus):
            self._believed.ask(armed=self._armed, stopped=self._coming_to_rest)
        self._line.send(request)

    def listen(self) -> None:
        """Ask whether it is too windy."""
        self._listening = True
        self.send(GetStatus())

    def send_urgent(self, request: Stop | Halt) -> None:
        """Send a stop or a halt ahead of everything else, and find out when the head is at rest."""
        self._armed = False
        self._coming_to_rest, self._braking_since_ns = True, None
        self._believed.stop(request)
        self._line.send_urgent(request)

    def wait_event(self, deadline_ns: int | None, poll: OperatorPoll = lambda: None) -> Event | None:
        """Wait for the next event until `deadline_ns`; None if there is none by then.

        `poll` is called whenever the port returns; a request from it is an event like any other.
        """
        while True:
            while (news := self._line.next_news()) is not None:
                self._take_in(news)
            now = self._port.now()
            if self._events:  # before any request: an event must not reach a state that no longer expects it
                return self._events.popleft()
            if (wanted := poll()) is not None:
                return Event(wanted.kind, now, frames=wanted.frames, text=wanted.text)
            self._line.write()
            if deadline_ns is not None and now >= deadline_ns:
                return None
            moments = (deadline_ns, self._ask_at)
            self._line.wait_turn(min((m for m in moments if m is not None), default=None))
            if self._ask_at is not None and self._port.now() >= self._ask_at:
                self._ask()

    def wait_stopped(self, request: Stop | Halt, patience_ns: int) -> bool:
        """Send a stop or a halt and wait until the board reports the head at rest. Returns whether it did in time."""
        self.send_urgent(request)
        deadline_ns = self._port.now() + patience_ns
        while (event := self.wait_event(deadline_ns)) is not None:
            if event.kind is EventKind.AT_REST:
                return True
            if event.kind is EventKind.LINK_LOST:
                return False
        return False

    def _ask(self) -> None:
        if self._line.idle:
            self.send(GetStatus())
        self._plan_question()

    def _plan_question(self) -> None:
        """Set the time of the next question: before the board loses patience, and soon after a command is overdue."""
        now = self._port.now()
        self._ask_at = now + (LATE_NS if self._coming_to_rest else self._quiet_ns)
        if self._due_at is not None:
            late_ns = max(LATE_NS, now - self._due_at)  # doubles the time since it was due
            self._ask_at = min(self._ask_at, max(now, self._due_at) + late_ns)

    # From news of the link to events.

    def _tell(self, event: Event) -> None:
        if not (self._distrusted and event.kind in WORD_ON_WORK):
            self._events.append(event)

    def _hold_against(self, lie: Contradiction | None) -> None:
        """Report a lie, if there is one, as an event. Only the first one is reported."""
        if lie is not None and not self._distrusted:
            self._distrusted = True
            self._events.append(Event(EventKind.CONTRADICTED, self._port.now(), sentence=lie.sentence, place=lie.place))

    def _take_in(self, news: LinkEvent) -> None:
        now = self._port.now()
        if isinstance(news, Answered):
            self._take_answer(news.request, news.reply, now)
        elif isinstance(news, Unreadable):
            self._take_unreadable(news, now)
        elif isinstance(news, Noticed):
            self._take_notice(news.message, now)
        elif isinstance(news, Restarted):
            self._believed.forget()
            self._armed = False
            self._tell(Event(EventKind.RESTARTED, now, boot_id=news.boot_id))
        elif isinstance(news, Silent):
            self._ask_at = None
            self._tell(Event(EventKind.LINK_LOST, now, trouble=news.trouble))

    def _take_notice(self, notice: Notice, now: int) -> None:
        if isinstance(notice, Held):
            if self._believed.asked is not None and self._believed.referencing and notice.cause in UNMET:
                self._ask_at = now  # a status also tells which axis has not found its switch
            else:
                self._take_hold(notice.cause, now)
        elif isinstance(notice, Finished) and self._believed.is_ours(notice.command_id):
            self._take_ending(CommandOutcome(notice.outcome, (notice.pan_steps, notice.tilt_steps), notice.clock_ms, now))

    def _take_answer(self, request: Request, reply: Reply, now: int) -> None:
        if isinstance(reply, Status):
            self._take_status(reply, now)
        elif isinstance(reply, Index):
            self._hold_against(self._believed.index(reply))
            self._tell(Event(EventKind.CHECKED, now, index=reply))
        elif isinstance(reply, Refused):
            self._take_refusal(request, reply.reason, now)
        elif isinstance(reply, Welcome):
            self._take_welcome(reply, now)
        elif isinstance(request, Arm) and isinstance(reply, Accepted):
            self._armed = True
            self._believed.accept(request)
            self._plan_question()
            self._tell(Event(EventKind.ARMED, now))
        elif isinstance(request, Stop | Halt):
            self._ask()  # it may be at rest already
        elif isinstance(reply, Accepted):
            self._believed.accept(request)

    def _take_welcome(self, welcome: Welcome, now: int) -> None:
        if welcome.version_major != PROTOCOL_VERSION.major:
            sentence = other_version(welcome.version_major)
            self._tell(Event(EventKind.REFUSED, now, reason=Reason.VERSION, sentence=sentence))
            return
        self._hold_against(self._believed.welcome(welcome))
        self._tell(
            Event(
                EventKind.WELCOMED,
                now,
                command_id=welcome.last_command_id,
                boot_id=welcome.boot_id,
                capabilities=welcome.offers,
            )
        )

    def _take_refusal(self, request: Request, reason: Reason, now: int) -> None:
        if isinstance(request, Hello) and reason is Reason.VERSION:
            self._tell(Event(EventKind.REFUSED, now, reason=reason, sentence=other_version(None)))
        elif isinstance(request, ALWAYS_OBEYED):
            self._hold_against(belief.lie(Untruth.REFUSED, request=type(request).__name__, reason=reason.name))
        else:
            self._give_up_command()
            self._tell(Event(EventKind.REFUSED, now, reason=reason))

    def _take_unreadable(self, news: Unreadable, now: int) -> None:
        """Take in an answer that this version cannot read. The first bytes of a Welcome or a Refused are readable."""
        if isinstance(news.request, GetStatus):
            self._believed.unanswered()
        first = news.payload[0] if news.payload else 0
        request, refused = type(news.request).__name__, news.kind == kind_of(Refused)
        if isinstance(news.request, Hello) and first == Reason.VERSION and refused:
            self._tell(Event(EventKind.REFUSED, now, reason=Reason.VERSION, sentence=other_version(None)))
        elif isinstance(news.request, Hello) and first != PROTOCOL_VERSION.major and not refused:
            self._tell(Event(EventKind.REFUSED, now, reason=Reason.VERSION, sentence=other_version(first)))
        elif refused and not isinstance(news.request, ALWAYS_OBEYED):
            self._give_up_command()
            self._tell(Event(EventKind.REFUSED, now, sentence=unreadable_refusal(request, first)))
        elif refused:
            self._hold_against(belief.lie(Untruth.REFUSED, request=request, reason=f"reason {first}"))
        else:
            payload = news.payload.hex(" ")
            self._hold_against(belief.lie(Untruth.UNREADABLE, request=request, kind=news.kind, payload=payload))

    def _take_status(self, status: Status, now: int) -> None:
        self._hold_against(self._believed.status(status, now))
        if self._believed.is_ours(status.finished_id):
            at_steps = (status.pan_steps, status.tilt_steps)
            self._take_ending(CommandOutcome(status.finished_outcome, at_steps, status.finished_clock_ms, now))
        if self._listening and status.state is BoardState.READY:
            self._listening = False
            self._tell(Event(EventKind.GUSTY if status.flags & StatusFlag.GUSTY else EventKind.CALM, now))
        disarmed = status.state is BoardState.DISARMED
        if disarmed and not self._armed and belief.at_rest(status) is None:
            self._believed.lose_place()
        if self._coming_to_rest:
            if disarmed:
                self._take_rest(status, now)
            else:
                self._ask_at = now + LATE_NS
        elif self._armed and not status.flags & StatusFlag.ARMED:
            if disarmed:
                self._take_hold(status.cause, now, self._unmet(status))
            else:  # it has lost patience and is still braking
                self._wait_for_brakes(now)

    def _wait_for_brakes(self, now: int) -> None:
        self._ask_at = now + LATE_NS
        if self._braking_since_ns is None:
            self._braking_since_ns = now
        elif now - self._braking_since_ns > self._program.stop_deadline_ns:
            self._hold_against(belief.lie(Untruth.BRAKES))

    def _take_rest(self, status: Status, now: int) -> None:
        """Take in that the head is at rest. The reported outcome of the exposure under way is checked."""
        self._coming_to_rest, self._ask_at, self._due_at = False, None, None
        self._hold_against(self._believed.rest(status, now))
        self._tell(
            Event(
                EventKind.AT_REST,
                now,
                command_id=NO_COMMAND if self._distrusted else status.finished_id,
                outcome=Outcome.NONE if self._distrusted else status.finished_outcome,
                board_clock_ms=status.finished_clock_ms,
                cause=status.cause,
                known=belief.at_rest(status) is not None,
                at_steps=(status.pan_steps, status.tilt_steps),
                unmet=self._unmet(status),
            )
        )

    def _unmet(self, status: Status) -> tuple[str, ...]:
        """The axes that have not found their switch, if the board stopped for that reason."""
        if not self._believed.referencing or status.cause not in UNMET:
            return ()
        flags = {"pan": StatusFlag.PAN_KNOWN, "tilt": StatusFlag.TILT_KNOWN}
        return tuple(axis for axis, flag in flags.items() if not status.flags & flag)

    def _take_hold(self, cause: Cause, now: int, unmet: tuple[str, ...] = ()) -> None:
        """Report that the board has stopped by itself."""
        self._armed = False
        self._believed.hold()
        self._tell(Event(EventKind.HELD, now, cause=cause, unmet=unmet))

    def _take_ending(self, told: CommandOutcome) -> None:
        """Turn the end of the command under way into an event."""
        asked = self._believed.asked
        assert asked is not None
        lie = self._believed.end(told)
        self._due_at = None
        self._plan_question()
        self._hold_against(lie)
        if lie is None:
            self._tell(
                Event(
                    ENDINGS[told.outcome],
                    told.heard_ns,
                    command_id=asked.request.command_id,
                    outcome=told.outcome,
                    board_clock_ms=told.clock_ms,
                    at_steps=told.at_steps,
                )
            )

    def _give_up_command(self) -> None:
        self._believed.give_up()
        self._due_at = None
