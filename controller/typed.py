"""What is typed at the terminal during other work: lines, or single keys. Reading never blocks.

This is the only module that calls the system's terminal functions.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

if sys.platform == "win32":
    import msvcrt
else:
    import select

    with suppress(ImportError):  # a system without pseudo-terminals has no terminal settings either
        import termios
        import tty

ARROW_BYTES = 3


class TypedLines:
    """Collects typed lines. If standard input is no terminal, or is gone, nothing is ever typed."""

    def __init__(self) -> None:
        self._open = sys.stdin is not None and sys.stdin.isatty()
        self._begun = ""
        self._lines: list[str] = []

    def next_line(self) -> str | None:
        """The next complete line without its end, or None."""
        self._begun += self._new()
        *lines, self._begun = self._begun.replace("\r", "\n").split("\n")
        self._lines += lines
        return self._lines.pop(0) if self._lines else None

    def forget(self) -> None:
        """Discard everything typed so far, including an incomplete line."""
        self._new()
        self._begun, self._lines = "", []
        if self._open and sys.platform != "win32":
            with suppress(termios.error):  # the system keeps an incomplete line
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
    """The next key pressed, or None; the end of the input counts as Enter. Use it inside `single_keys`.

    An arrow is one key, as the terminal or the system encodes it.
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
    """Deliver keys one by one, without Enter; Ctrl-C remains an interrupt."""
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
    """The available input without waiting; None if there will never be any more."""
    try:
        number = sys.stdin.fileno()
        if not select.select([number], [], [], 0)[0]:
            return b""
        return os.read(number, count) or None
    except OSError:  # the terminal has hung up
        return None
