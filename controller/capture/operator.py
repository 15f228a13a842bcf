"""Requests and answers of the operator, from Ctrl-C, a typed line or another terminal.

A question is answered only after it was shown. Earlier typing is dropped, and an answer from another terminal names its
question.
"""

from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from controller import clock
from controller.capture.events import EventKind, Wanted
from controller.capture.interrupts import Interrupts
from controller.capture.people import People, YesNoQuestion
from controller.errors import InputError
from controller.reading import MATCH, read_json
from controller.session.rows import QuestionKind, RequestRow, Word
from controller.session.session import Session
from controller.session.talk_rows import SentenceKind
from protocol.units import MS

ANSWERS: dict[str, EventKind] = {Word.YES: EventKind.ANSWERED, Word.NO: EventKind.DECLINED}
SHORT: dict[str, str] = {"y": Word.YES, "n": Word.NO}
WORDS: dict[str, EventKind] = {
    Word.PAUSE: EventKind.PAUSE,
    Word.PAUSE_AFTER_ROW: EventKind.PAUSE_AFTER_ROW,
    Word.GO_ON: EventKind.GO_ON,
    Word.RETAKE: EventKind.RETAKE,
    Word.STOP: EventKind.STOP,
    Word.HALT: EventKind.HALT,
}
LOOKS_EVERY_NS = 50 * MS  # into the session, for requests from another terminal; the promise is a fifth of a second
HOW_TO_ANSWER = "Type y or n, then Enter."
NOTHING_ASKED = "Nothing is being asked now."


class Respondent(Protocol):
    """A person who can make requests and answer questions."""

    def next_request(self) -> Wanted | None:
        """The next request or answer, or None. Never waits."""

    def ask(self, question: YesNoQuestion) -> bool | None:
        """Show a question. Returns the answer if it is known at once; None if `next_request` brings it later."""

    def ask_text(self, words: str) -> bool:
        """Ask for a line of text, which `next_request` brings as ANSWERED. Returns whether anybody can type it."""

    def hear_lines(self, heard: bool) -> None:
        """Set whether typed lines are read; they are not while single keys are."""

    def withdraw(self) -> None:
        """Withdraw the open question."""


class Nobody:
    """Nobody is there: no requests, and every question counts as answered. For a simulated head."""

    def next_request(self) -> Wanted | None:
        """Return None: nobody asks for anything."""
        return None

    def ask(self, _: YesNoQuestion) -> bool | None:
        """Return True: every answer is yes."""
        return True

    def ask_text(self, _: str) -> bool:
        """Return False: nobody types."""
        return False

    def hear_lines(self, _: bool) -> None:
        """Do nothing: nobody types."""

    def withdraw(self) -> None:
        """Do nothing: no question is open."""


NOBODY = Nobody()


class Operator:
    """The operator, polled for the next request or answer from every source.

    `now` is the time in nanoseconds. Requests and answers from another terminal come through `session`, if there is one.
    """

    def __init__(
        self, now: Callable[[], int], interrupts: Interrupts, people: People, session: Session | None = None
    ) -> None:
        self._now, self._interrupts, self._people, self._session = now, interrupts, people, session
        self._looks_ns = 0
        self._question: YesNoQuestion | None = None
        self._text_is_next = False
        self._hears_lines = True
        self._number = 0

    def next_request(self) -> Wanted | None:
        """The next request or answer, or None."""
        wanted = self._interrupts.next_request() or self._typed_request() or self._told_request()
        if wanted is not None and wanted.kind in {EventKind.GO_ON, EventKind.ANSWERED}:
            self._interrupts.begin_again()
        return wanted

    def ask(self, question: YesNoQuestion) -> bool | None:
        """Show a question, unless it is already answered: by --yes, or because nobody can answer."""
        people = self._people
        if people.yes and not question.needs_person:
            return True
        if not people.can_answer:
            people.say(f"{question.words} Nobody is there to answer, so the answer is no.")
            return False
        people.lines.forget()
        self._question = question
        people.ring()
        if self._session is None:
            self._number = 0
        else:
            self._number = self._session.ask(question.words, clock.wall_time(), _kind_of(question))
        people.tell(self._asked(question), SentenceKind.ASKED)
        return None

    def ask_text(self, words: str) -> bool:
        """Ask for a line of text, which is the next one typed. Returns whether anybody can type it."""
        if not self._people.at_terminal:
            return False
        self._people.lines.forget()
        self._text_is_next = True
        self._people.say(words)
        return True

    def hear_lines(self, heard: bool) -> None:
        """Set whether typed lines are read; not while single keys are, which come from the same terminal."""
        self._hears_lines = heard

    def withdraw(self) -> None:
        """Withdraw the open question."""
        self._close(None)

    def _asked(self, question: YesNoQuestion) -> str:
        return f"{question.words} {HOW_TO_ANSWER}" if self._people.at_terminal else question.words

    def _close(self, answer: Word | None) -> None:
        self._text_is_next = False
        if self._question is not None and self._session is not None:
            self._session.close_question(answer)
        self._question = None

    def _typed_request(self) -> Wanted | None:
        line = self._people.lines.next_line() if self._hears_lines else None
        if line is None:
            return None
        if self._text_is_next:
            self._text_is_next = False
            return Wanted(EventKind.ANSWERED, text=line)
        words = line.split()
        if self._question is not None and not words:
            self._people.tell(self._asked(self._question), SentenceKind.ASKED)
            return None
        try:
            request = request_of(words or [Word.GO_ON])
        except InputError as error:
            self._people.say(str(error) if self._question is None else f"{error} {HOW_TO_ANSWER}")
            return None
        return self._answered(request, self._number) if request.wanted in ANSWERS else as_wanted(request)

    def _told_request(self) -> Wanted | None:
        now = self._now()
        if self._session is None or now < self._looks_ns:
            return None
        self._looks_ns = now + LOOKS_EVERY_NS
        request = self._session.take_request()
        if request is None:
            return None
        return self._answered(request, request.question) if request.wanted in ANSWERS else as_wanted(request)

    def _answered(self, request: RequestRow, number: int | None) -> Wanted | None:
        """An answer to question `number`, if that one is open."""
        if self._question is None or number != self._number:
            self._people.say(NOTHING_ASKED)
            return None
        self._close(Word(request.wanted))
        return Wanted(ANSWERS[request.wanted])


def _kind_of(question: YesNoQuestion) -> QuestionKind:
    if question.hold_deg is not None:
        return QuestionKind.BY_HAND
    return QuestionKind.AT_HEAD if question.needs_person else QuestionKind.PLAIN


def request_of(words: list[str]) -> RequestRow:
    """A request or an answer from words such as: pause; retake 12,13; yes. Raises InputError."""
    word, rest = words[0].casefold(), words[1:]
    word = SHORT.get(word, word)
    if word not in WORDS and word not in ANSWERS:
        raise InputError(f"“{word}” is not known here. There are {', '.join([*WORDS, *ANSWERS])}.")
    numbers = [number for text in rest for number in _numbers(text)]
    if not all(number.isdecimal() for number in numbers):
        raise InputError(f"{' '.join(rest)}: frames are numbers like 12,13.")
    if (word == Word.RETAKE) != bool(numbers):
        raise InputError("Say which frames: retake 12,13." if word == Word.RETAKE else f"`{word}` takes no frames.")
    return RequestRow(str(word), tuple(sorted({int(number) for number in numbers})))


def _numbers(text: str) -> list[str]:
    """12,13 as two numbers; or the frames to retake from a `fullturn match` table, if one is named. Raises InputError."""
    if not text.endswith(".json"):
        return [number for number in text.split(",") if number]
    try:
        frames = read_json(Path(text), MATCH)["retake"]
        return [str(int(frame)) for frame in frames]
    except (ValueError, KeyError, TypeError, OverflowError):
        raise InputError(f"{text}: is not {MATCH.name}. {MATCH.cure}") from None


def as_wanted(request: RequestRow) -> Wanted:
    """The request as an event of the run."""
    return Wanted(WORDS[request.wanted], request.frames)
