"""The terminal and the person at it: output, bell, input, and a terminal that goes away."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

import click
from rich.console import Console
from rich.live import Live

from controller.capture.people import BY_KEYS, BY_REQUEST, People
from controller.commands.watch import JsonView, LineView, ScreenView, WatchView
from controller.progress import can_redraw
from controller.shown import escaped
from controller.system.chosen import terminals
from controller.typed import TypedLines
from protocol.units import NS


def say(sentence: str) -> None:
    """Print a sentence to standard error, so that standard output contains only the result."""
    click.echo(sentence, err=True)


def ring() -> None:
    """Ring the terminal's bell."""
    if terminals.is_terminal(sys.stderr):
        sys.stderr.write("\a")
        sys.stderr.flush()


def people_here(
    *, yes: bool, countdown_s: float, ask_before_moving: bool = False, through_session: bool = False
) -> People:
    """The person at this terminal, if there is one, or whoever answers `through_session`."""
    return People(
        show=say,
        ring=ring,
        lines=TypedLines(),
        at_terminal=terminals.is_terminal(sys.stdin),
        yes=yes,
        lead_ns=round(countdown_s * NS),
        ask_before_moving=ask_before_moving,
        through_session=through_session,
        stops_by=BY_REQUEST if through_session else BY_KEYS,
    )


@contextmanager
def watching(*, as_json: bool) -> Iterator[WatchView]:
    """The view of a run in this terminal: a screen, plain lines where there is none, or lines of JSON."""
    if as_json:
        yield JsonView(_print_line)
        return
    console = Console(stderr=True)
    if not can_redraw(console):
        yield LineView(say, ring)
        return

    def write(words: str) -> None:
        console.print(escaped(words, "\n"), highlight=False, soft_wrap=True, markup=False)

    with Live(console=console, auto_refresh=False, transient=True) as live:
        yield ScreenView(lambda screen: live.update(screen, refresh=True), write, ring)


def _print_line(text: str) -> None:
    click.echo(text)
    sys.stdout.flush()


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
