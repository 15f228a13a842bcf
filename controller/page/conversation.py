"""The person at the page, as the child that holds the head knows them: what they touch, ask for and answer.

An answer counts only for the question that is open. Everything that can start motion carries the time at which the person
did it, so that nothing counts that was under way for long. A person who was not heard of for a while is gone: the head
is stopped and the conversation ends.
"""

from collections import deque
from collections.abc import Callable
from typing import Protocol

from controller.capture.events import EventKind, Wanted
from controller.capture.lease import Lease, Leases
from controller.capture.pad import Clearance
from controller.capture.people import THEN_ENTER, NoLines, People, YesNoQuestion
from controller.errors import InputError
from controller.page.messages import (
    AnswerGiven,
    AskedAloud,
    Deed,
    FromChild,
    HaltSent,
    HereSent,
    LeaseSent,
    ReleaseSent,
    Rung,
    Said,
    StopSent,
    ToChild,
    WithdrawnQuestion,
    as_line,
    message_to_child,
)
from protocol.units import MS, NS

ABSENT_NS = 5 * NS
"""A person not heard of for this long is gone. Common practice, no source."""
FRESH_NS = 1000 * MS
"""A request to move that is older than this is dropped. Common practice, no source."""
TOO_OLD = "The head was busy too long, so nothing was moved. Ask again."
STOPS_BY = "The Stop button"


class LineEnds(Protocol):
    """Lines in and out, without waiting."""

    @property
    def gone(self) -> bool:
        """Whether the other side is gone."""

    def read_lines(self) -> list[bytes]:
        """The lines that have arrived."""

    def write(self, line: bytes) -> None:
        """Send a line."""


class PersonAtPage:
    """Everything said with one person, and what they want now. It is a `Respondent` for a `Hand`.

    `now` is the system's monotonic clock (ns), which the page stamps its messages with.
    """

    def __init__(self, ends: LineEnds, now: Callable[[], int]) -> None:
        self._ends, self._now = ends, now
        self._leases = Leases()
        self._number, self._open = 0, ""
        self._wanted: deque[Wanted] = deque()
        self._deed: Deed | None = None
        self._here_ns, self._ended = now(), False
        self._signal: Callable[[], Wanted | None] = lambda: None
        self.clearance = Clearance(now)

    def people(self, lead_ns: int) -> People:
        """The person as somebody to warn, `lead_ns` before the head moves by itself."""
        return People(self.say, self.ring, NoLines(), at_terminal=True, lead_ns=lead_ns, stops_by=STOPS_BY)

    def heed(self, signal: Callable[[], Wanted | None]) -> None:
        """Take requests from signals of the system too."""
        self._signal = signal

    @property
    def gone(self) -> bool:
        """Whether to end: the page closed the line, or has not heard of the person, or the system told us to end."""
        return self._ended or self._ends.gone or self._now() - self._here_ns > ABSENT_NS

    # Out.

    def tell(self, message: FromChild) -> None:
        """Send a message to the page."""
        self._ends.write(as_line(message))

    def say(self, sentence: str) -> None:
        """Show a sentence."""
        self.tell(Said(say=sentence.strip()))

    def ring(self) -> None:
        """Call for attention."""
        self.tell(Rung())

    # In.

    def held(self) -> Lease | None:
        """The lease that holds now, if there is one."""
        self._listen()
        return self._leases.current

    def next_deed(self) -> Deed | None:
        """The latest request to move, unless it was overtaken or is old; it is returned once."""
        self._listen()
        deed, self._deed = self._deed, None
        if deed is not None and self._now() - deed.sent_ns > FRESH_NS:
            self.say(TOO_OLD)
            return None
        return deed

    def forget(self) -> None:
        """Drop everything that was asked for and not begun; every press is over."""
        self._listen()
        self._deed, self._leases = None, self._leases.all_back()

    def next_request(self) -> Wanted | None:
        """The next request or answer, or None; a person who is gone wants the head to stop."""
        self._listen()
        if self.gone:
            return Wanted(EventKind.STOP)
        if (signal := self._signal()) is not None:
            self._ended = True
            return signal
        return self._wanted.popleft() if self._wanted else None

    def _listen(self) -> None:
        self.clearance.look()
        for line in self._ends.read_lines():
            try:
                self._take_in(message_to_child(line))
            except InputError as error:
                self.say(str(error))
        self._leases = Leases().given_back(2**62) if self.gone else self._leases.at(self._now())

    def _take_in(self, message: ToChild) -> None:
        match message:
            case LeaseSent():
                self._leases = self._leases.renewed(message.value, self._now())
            case ReleaseSent():
                self._leases = self._leases.given_back(message.release)
            case HereSent():
                self._here_ns = max(self._here_ns, min(message.here, self._now()))
            case StopSent() | HaltSent():
                self._deed, self._leases = None, self._leases.all_back()
                self._wanted.append(Wanted(EventKind.STOP if isinstance(message, StopSent) else EventKind.HALT))
            case AnswerGiven():
                self._take_answer(message)
            case _:
                self._deed = message

    def _take_answer(self, given: AnswerGiven) -> None:
        if given.answer != self._number or not self._open:
            return
        if self._open == "yesno":
            if given.yes is None:
                return
            kind, text = EventKind.ANSWERED if given.yes else EventKind.DECLINED, ""
        else:
            kind, text = EventKind.ANSWERED, given.text or ""
        self._close()
        self._wanted.append(Wanted(kind, text=text))

    # A `Respondent`.

    def ask(self, question: YesNoQuestion) -> bool | None:
        """Show a question; the answer comes from `next_request`."""
        self._show(AskedAloud(ask=question.words.strip(), number=self._number + 1, kind="yesno"))
        return None

    def ask_text(self, words: str) -> bool:
        """Ask for a line of text, or whether the person is ready."""
        kind = "ready" if words.endswith(THEN_ENTER) else "text"
        words = f"{words.removesuffix(THEN_ENTER).strip()}."
        self._show(AskedAloud(ask=words, number=self._number + 1, kind="ready" if kind == "ready" else "text"))
        return True

    def _show(self, question: AskedAloud) -> None:
        self._listen()
        self._close()
        self._wanted = deque(each for each in self._wanted if each.kind not in {EventKind.ANSWERED, EventKind.DECLINED})
        self._number, self._open = question.number, question.kind
        self.tell(question)
        self.ring()

    def hear_lines(self, _: bool) -> None:
        """Do nothing: keys and lines do not share a terminal here."""

    def withdraw(self) -> None:
        """Withdraw the open question."""
        self._close()

    def _close(self) -> None:
        if self._open:
            self._open = ""
            self.tell(WithdrawnQuestion(withdraw=self._number))
