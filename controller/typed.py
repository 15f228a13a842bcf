"""What is typed at the terminal during other work, line by line. Reading never blocks."""

import sys

from controller.system.chosen import keyboard, terminals


class TypedLines:
    """Collects typed lines. If standard input is no terminal, or is gone, nothing is ever typed."""

    def __init__(self) -> None:
        self._open = terminals.is_terminal(sys.stdin)
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
        if self._open:
            keyboard.forget()

    def _new(self) -> str:
        if not self._open:
            return ""
        text = keyboard.typed()
        self._open = text is not None
        return text or ""
