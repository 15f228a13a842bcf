"""Lines typed at the terminal while something else goes on. The one place that asks the system in its own way."""

import os
import sys

if sys.platform == "win32":
    import msvcrt
else:
    import select


class TypedLines:
    """Gathers what is typed; nobody waits for it. Where standard input is no terminal, nothing is ever typed."""

    def __init__(self) -> None:
        self._open = sys.stdin is not None and sys.stdin.isatty()
        self._begun = ""
        self._lines: list[str] = []

    def next_line(self) -> str | None:
        """The next whole line without its end, or None."""
        if self._open:
            self._begun += self._new()
            *lines, self._begun = self._begun.replace("\r", "\n").split("\n")
            self._lines += lines
        return self._lines.pop(0) if self._lines else None

    def _new(self) -> str:
        if sys.platform == "win32":
            text = ""
            while msvcrt.kbhit():
                text += msvcrt.getwche()
            return text
        number = sys.stdin.fileno()
        if not select.select([number], [], [], 0)[0]:
            return ""
        data = os.read(number, 4096)
        self._open = bool(data)
        return data.decode(errors="replace")
