"""What is typed at the terminal while something else goes on: lines, or single keys. Nobody waits for either.

The one place that asks the system in its own way.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

if sys.platform == "win32":
    import msvcrt
else:
    import select

    with suppress(ImportError):  # a system without pseudo-terminals has no terminal to ask either
        import termios
        import tty

ARROW_BYTES = 3


class TypedLines:
    """Gathers what is typed. Where standard input is no terminal, or is gone, nothing is ever typed."""

    def __init__(self) -> None:
        self._open = sys.stdin is not None and sys.stdin.isatty()
        self._begun = ""
        self._lines: list[str] = []

    def next_line(self) -> str | None:
        """The next whole line without its end, or None."""
        self._begun += self._new()
        *lines, self._begun = self._begun.replace("\r", "\n").split("\n")
        self._lines += lines
        return self._lines.pop(0) if self._lines else None

    def forget(self) -> None:
        """Drop everything typed so far, also what has no end yet."""
        self._new()
        self._begun, self._lines = "", []
        if self._open and sys.platform != "win32":
            with suppress(termios.error):  # the system keeps a line that has no end yet
                termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)

    def _new(self) -> str:
        if not self._open:
            return ""
        if sys.platform == "win32":
            text = ""
            while msvcrt.kbhit():
                text += msvcrt.getwche()
            return text
        data = _read()
        self._open = data is not None
        return (data or b"").decode(errors="replace")


def next_key() -> str | None:
    """The next key pressed, None if there is none; the end of a terminal counts as Enter. Inside `single_keys`.

    An arrow is one key, as the terminal or the system writes it.
    """
    if sys.platform == "win32":
        if not msvcrt.kbhit():
            return None
        key = msvcrt.getwch()
        return key + msvcrt.getwch() if key in "\x00\xe0" else key
    data = _read(1)
    if data is None:
        return "\r"
    if data == b"\x1b":
        data += _read(ARROW_BYTES - 1) or b""
    return data.decode(errors="replace") or None


@contextmanager
def single_keys() -> Iterator[None]:
    """Let keys come one by one, without Enter; Ctrl-C stays an interrupt."""
    if sys.platform == "win32":
        yield
        return
    number = sys.stdin.fileno()
    before = termios.tcgetattr(number)
    tty.setcbreak(number)
    try:
        yield
    finally:
        with suppress(termios.error):  # the terminal may be gone
            termios.tcsetattr(number, termios.TCSADRAIN, before)


def _read(count: int = 4096) -> bytes | None:
    """What is there without waiting; None if there will never be anything again."""
    try:
        number = sys.stdin.fileno()
        if not select.select([number], [], [], 0)[0]:
            return b""
        return os.read(number, count) or None
    except OSError:  # the terminal has hung up
        return None
