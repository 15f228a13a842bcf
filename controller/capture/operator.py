"""What the operator wants of a run, whichever way it comes: Ctrl-C, a typed line, another terminal."""

import json
from collections.abc import Callable
from pathlib import Path

from controller.capture.events import Kind, Wanted
from controller.capture.interrupts import Interrupts
from controller.errors import InputError
from controller.session.rows import WishRow
from controller.session.session import Session
from protocol.units import MS

WORDS: dict[str, Kind] = {
    "pause": Kind.PAUSE,
    "pause-after-row": Kind.PAUSE_AFTER_ROW,
    "go-on": Kind.GO_ON,
    "retake": Kind.RETAKE,
    "stop": Kind.STOP,
    "halt": Kind.HALT,
}
LOOKS_EVERY_NS = 50 * MS  # into the session, for wishes from elsewhere; a fifth of a second is promised


class Operator:
    """Asked again and again for the next wish; looks at everything a wish may come from.

    `typed` gives a line that was typed, if there is one; `complain` is told of a line that is no wish; `now` is the
    time in nanoseconds.
    """

    def __init__(
        self,
        session: Session,
        interrupts: Interrupts,
        now: Callable[[], int],
        typed: Callable[[], str | None] = lambda: None,
        complain: Callable[[str], None] = lambda _: None,
    ) -> None:
        self._session, self._interrupts, self._now = session, interrupts, now
        self._typed, self._complain = typed, complain
        self._looks_ns = 0

    def next_wish(self) -> Wanted | None:
        """The next wish, or None."""
        wanted = self._interrupts.next_wish() or self._typed_wish() or self._told_wish()
        if wanted is not None and wanted.kind is Kind.GO_ON:
            self._interrupts.begin_again()
        return wanted

    def _typed_wish(self) -> Wanted | None:
        line = self._typed()
        if line is None:
            return None
        try:
            return as_wanted(wish_of(line.split() or ["go-on"]))
        except InputError as error:
            self._complain(str(error))
            return None

    def _told_wish(self) -> Wanted | None:
        now = self._now()
        if now < self._looks_ns:
            return None
        self._looks_ns = now + LOOKS_EVERY_NS
        wish = self._session.take_wish()
        return None if wish is None else as_wanted(wish)


def wish_of(words: list[str]) -> WishRow:
    """A wish from words like these: pause; retake 12,13. Raises InputError."""
    word, *rest = words
    if word not in WORDS:
        raise InputError(f"{word}: is not a wish; there are {', '.join(WORDS)}.")
    numbers = [number for text in rest for number in _numbers(text)]
    if not all(number.isdecimal() for number in numbers):
        raise InputError(f"{' '.join(rest)}: frames are numbers like 12,13.")
    if (word == "retake") != bool(numbers):
        raise InputError("Say which frames: retake 12,13." if word == "retake" else f"{word} is said without frames.")
    return WishRow(word, tuple(sorted({int(number) for number in numbers})))


def _numbers(text: str) -> list[str]:
    """12,13 as two numbers; or what the table of `fullturn match` wants, where that is named. Raises InputError."""
    if not text.endswith(".json"):
        return [number for number in text.split(",") if number]
    try:
        frames = json.loads(Path(text).read_text(encoding="utf-8"))["retake"]
        return [str(int(frame)) for frame in frames]
    except (OSError, ValueError, KeyError, TypeError):
        raise InputError(f"{text}: is not a table that `fullturn match` wrote.") from None


def as_wanted(wish: WishRow) -> Wanted:
    """The wish as an event of the run."""
    return Wanted(WORDS[wish.wanted], wish.frames)
