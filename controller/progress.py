"""Progress of long work: a bar on a terminal, a plain line now and then elsewhere. Always on stderr."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

PLAIN_LINES = 10  # for the whole of a piece of work

Begin = Callable[[int], Callable[[], None]]


def worth_a_line(done: int, total: int) -> bool:
    """Whether a plain line should tell of this piece: PLAIN_LINES of the whole, and the last."""
    return done == total or done * PLAIN_LINES // total > (done - 1) * PLAIN_LINES // total


@contextmanager
def progress(what: str) -> Iterator[Begin]:
    """Yield `begin(total)`, which returns what is to be called after each piece."""
    console = Console(stderr=True)
    if console.is_terminal:
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Progress(*columns, console=console, transient=True) as bar:

            def begin(total: int) -> Callable[[], None]:
                task = bar.add_task(what, total=total)
                return lambda: bar.advance(task)

            yield begin
    else:
        yield lambda total: _plain(console, what, total)


def _plain(console: Console, what: str, total: int) -> Callable[[], None]:
    done = 0

    def advance() -> None:
        nonlocal done
        done += 1
        if worth_a_line(done, total):
            console.print(f"{what}: {done} of {total}", highlight=False)

    return advance
