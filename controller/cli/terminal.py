"""The terminal and whoever sits at it: where sentences go, how to ring, what is typed, and that it may go away."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

import click

from controller.capture.people import People
from controller.typed import TypedLines
from protocol.units import NS


def say(sentence: str) -> None:
    """Show a sentence on standard error, so that a result on standard output stays alone."""
    click.echo(sentence, err=True)


def ring() -> None:
    """The terminal's bell."""
    if sys.stderr.isatty():
        sys.stderr.write("\a")
        sys.stderr.flush()


def people_here(*, yes: bool, countdown_s: float, ask_before_moving: bool = False) -> People:
    """Whoever sits at this terminal, if anybody does."""
    return People(
        say=say,
        ring=ring,
        lines=TypedLines(),
        at_terminal=sys.stdin is not None and sys.stdin.isatty(),
        yes=yes,
        lead_ns=round(countdown_s * NS),
        ask_before_moving=ask_before_moving,
    )


class Lasting:
    """A stream that drops what cannot be written: a terminal that has gone away must not end a run."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write as far as that is possible."""
        with suppress(OSError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush as far as that is possible."""
        with suppress(OSError):
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def lasting_terminal() -> Iterator[None]:
    """Let standard output and error outlive the terminal."""
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Lasting(out), Lasting(err)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err
