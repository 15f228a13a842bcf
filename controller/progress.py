"""Progress of long work: a bar on a terminal, otherwise plain lines. Always on stderr.

Plain lines go to a pipe, to a terminal that cannot move its cursor (TERM=dumb), and if NO_COLOR is set, because a bar
works by its colours.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from controller import clock
from protocol.units import NS

PLAIN_LINES = 10  # for the whole of a piece of work, at least
QUIET_NS = 3 * NS  # after this time without a line, the next piece gets one

Begin = Callable[[int], Callable[[], None]]


def worth_a_line(done: int, total: int) -> bool:
    """Whether a plain line should report this piece: PLAIN_LINES for the whole, and the last."""
    return done == total or done * PLAIN_LINES // total > (done - 1) * PLAIN_LINES // total


def can_redraw(console: Console) -> bool:
    """Whether the console can redraw in place."""
    return console.is_terminal and not console.is_dumb_terminal


@contextmanager
def progress(what: str) -> Iterator[Begin]:
    """Yield `begin(total)`, which returns a function to call after each piece."""
    console = Console(stderr=True)
    if can_redraw(console) and not os.environ.get("NO_COLOR"):
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=console, transient=True) as bar:

            def begin(total: int) -> Callable[[], None]:
                task = bar.add_task(what, total=total)
                return lambda: bar.advance(task)

            yield begin
    else:
        yield lambda total: _plain(console, what, total)


def _plain(console: Console, what: str, total: int) -> Callable[[], None]:
    done, told_ns = 0, clock.monotonic_ns()
    console.print(f"{what}: 0 of {total}", highlight=False)

    def advance() -> None:
        nonlocal done, told_ns
        done += 1
        now_ns = clock.monotonic_ns()
        if worth_a_line(done, total) or now_ns - told_ns >= QUIET_NS:
            told_ns = now_ns
            console.print(f"{what}: {done} of {total}", highlight=False)

    return advance
