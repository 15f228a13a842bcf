"""What is typed at the terminal: lines, or single keys. Reading never blocks."""

import os
import select
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from typing import Protocol

if sys.platform != "win32":
    with suppress(ImportError):  # a system without pseudo-terminals has no terminal settings either
        import termios
        import tty

ARROW_BYTES = 3
SPECIAL = "\x00\xe0"  # Windows: the first of two characters of an arrow or a function key
BACKSPACE, INTERRUPT = "\x08", "\x03"


class Keyboard(Protocol):
    """The keyboard of the terminal at standard input."""

    def typed(self) -> str | None:
        """What has been typed since the last call and can be read; None if nothing ever will be again."""

    def key(self) -> str | None:
        """The next key pressed, or None; the end of the input counts as Enter. Use it inside `single`."""

    def forget(self) -> None:
        """Discard what the system keeps of an incomplete line."""

    def single(self) -> AbstractContextManager[None]:
        """Deliver keys one by one, without Enter; Ctrl-C remains an interrupt."""


class PosixKeyboard:
    """The terminal of a POSIX system, which keeps a line until it is complete."""

    def typed(self) -> str | None:
        """Whole lines. See `Keyboard`."""
        data = _read()
        return None if data is None else data.decode(errors="replace")

    def key(self) -> str | None:
        """An arrow is one key, as the terminal encodes it. See `Keyboard`."""
        data = _read(1)
        if data is None:
            return "\r"
        if data == b"\x1b":
            data += _read(ARROW_BYTES - 1) or b""
        return data.decode(errors="replace") or None

    def forget(self) -> None:
        """See `Keyboard`."""
        if sys.platform != "win32":
            with suppress(termios.error):
                termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

    @contextmanager
    def single(self) -> Iterator[None]:
        """See `Keyboard`."""
        if sys.platform == "win32":
            yield
        else:
            number = sys.stdin.fileno()
            before = termios.tcgetattr(number)
            tty.setcbreak(number)
            try:
                yield
            finally:
                with suppress(termios.error):  # the terminal may be gone
                    termios.tcsetattr(number, termios.TCSADRAIN, before)


def _read(count: int = 4096) -> bytes | None:
    """The available input without waiting; None if there will never be any more."""
    try:
        number = sys.stdin.fileno()
        if not select.select([number], [], [], 0)[0]:
            return b""
        return os.read(number, count) or None
    except OSError:  # the terminal has hung up
        return None


class ConsoleCalls(Protocol):
    """What is used of Python's module msvcrt."""

    def kbhit(self) -> bool:
        """Whether a key is waiting."""

    def getwch(self) -> str:
        """The next character, which is not shown."""

    def putwch(self, unicode_char: str, /) -> None:
        """Show a character."""


class WindowsKeyboard:
    """The console of Windows, which delivers each key at once and shows none: a line is edited here."""

    def __init__(self, console: ConsoleCalls) -> None:
        self._console = console
        self._line = ""

    def typed(self) -> str | None:
        """Whole lines. See `Keyboard`. Raises KeyboardInterrupt at Ctrl-C."""
        whole = ""
        while (key := self.key()) is not None:
            if key == BACKSPACE:
                if self._line:
                    self._line = self._line[:-1]
                    self._show("\b \b")
            elif key in "\r\n":
                self._show("\r\n")
                whole, self._line = whole + self._line + "\n", ""
            elif key[0] not in SPECIAL:
                self._line += key
                self._show(key)
        return whole

    def _show(self, text: str) -> None:
        for letter in text:
            self._console.putwch(letter)

    def key(self) -> str | None:
        """An arrow is one key of two characters. See `Keyboard`. Raises KeyboardInterrupt at Ctrl-C."""
        if not self._console.kbhit():
            return None
        key = self._console.getwch()
        if key == INTERRUPT:
            raise KeyboardInterrupt
        # The letter à has the same first character as an arrow; only an arrow has a second one that is there already.
        return key + self._console.getwch() if key in SPECIAL and self._console.kbhit() else key

    def forget(self) -> None:
        """See `Keyboard`."""
        while self._console.kbhit():
            self._console.getwch()
        self._line = ""

    def single(self) -> AbstractContextManager[None]:
        """Nothing to do: keys always come one by one. See `Keyboard`."""
        return nullcontext()
