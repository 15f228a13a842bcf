"""The terminal and the person at it: output, bell, input, and a terminal that goes away."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

import click

from controller.capture.people import People
from controller.typed import TypedLines
from protocol.units import NS


def say(sentence: str) -> None:
    """Print a sentence to standard error, so that standard output contains only the result."""
    click.echo(sentence, err=True)


def ring() -> None:
    """Ring the terminal's bell."""
    if sys.stderr.isatty():
        sys.stderr.write("\a")
        sys.stderr.flush()


def people_here(*, yes: bool, countdown_s: float, ask_before_moving: bool = False) -> People:
    """The person at this terminal, if there is one."""
    return People(
        show=say,
        ring=ring,
        lines=TypedLines(),
        at_terminal=sys.stdin is not None and sys.stdin.isatty(),
        yes=yes,
        lead_ns=round(countdown_s * NS),
        ask_before_moving=ask_before_moving,
    )


class Lasting:
    """A stream that drops what it cannot write: a terminal that has gone away must not end a run."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write if possible."""
        with suppress(OSError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush if possible."""
        with suppress(OSError):
            self._stream.flush()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@contextmanager
def lasting_terminal() -> Iterator[None]:
    """Make standard output and error outlive the terminal."""
    out, err = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = Lasting(out), Lasting(err)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = out, err
