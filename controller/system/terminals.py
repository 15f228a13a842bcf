"""Whether a person is at a stream, and how text is written to it."""

from collections.abc import Callable
from contextlib import suppress
from io import TextIOWrapper
from typing import Any, Protocol


class Terminals(Protocol):
    """The streams of a program."""

    def is_terminal(self, stream: Any) -> bool:
        """Whether a person may be at the stream; None is no stream."""

    def prepare(self, stream: Any) -> None:
        """Prepare a stream for every text that this program writes: none raises UnicodeError."""


class PosixTerminals:
    """Terminals in the encoding of the user's locale."""

    def is_terminal(self, stream: Any) -> bool:
        """See `Terminals`."""
        return stream is not None and stream.isatty()

    def prepare(self, stream: Any) -> None:
        """A file's name may contain bytes that are no text, and a locale may lack a sign. See `Terminals`."""
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


class WindowsTerminals:
    """Consoles, to which Python writes Unicode, and files and pipes, which get UTF-8 as on other systems."""

    def __init__(self, is_console: Callable[[int], bool]) -> None:
        self._is_console = is_console

    def is_terminal(self, stream: Any) -> bool:
        """`isatty` is true for the null device as well. See `Terminals`."""
        with suppress(OSError, ValueError):  # a stream without a descriptor is none
            return stream is not None and stream.isatty() and self._is_console(stream.fileno())
        return False

    def prepare(self, stream: Any) -> None:
        """Lines end with a single line feed, so that the same command writes the same file. See `Terminals`."""
        if isinstance(stream, TextIOWrapper):
            if self.is_terminal(stream):
                stream.reconfigure(errors="backslashreplace")
            else:
                stream.reconfigure(encoding="utf-8", errors="backslashreplace", newline="\n")
