"""Progress of a search on standard error; Ctrl-C ends it and keeps the best plan so far."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from rich.console import Console
from rich.live import Live
from rich.text import Text

from controller.planning.effort import Effort, Sign
from controller.system.signals import INTERRUPT, caught

LINE_EVERY_S = 5.0  # between plain lines, if none can be rewritten


def sign_text(sign: Sign) -> str:
    """One line about a running search."""
    return (
        f"Searching: {sign.elapsed_s:.0f} of {sign.effort_s:g} s; best so far {sign.best} frames, trying {sign.trying}; "
        "Ctrl-C keeps the best"
    )


def stopped_text(effort: Effort, frames: int) -> str:
    """The sentence for a search that ended early."""
    return f"The search was stopped after {effort.elapsed_s:.0f} s; the best plan so far has {frames} frames."


def plain_lines(console: Console) -> Callable[[Sign], None]:
    """Print progress as separate lines: the first, then one every LINE_EVERY_S and one for each better plan."""
    told: Sign | None = None

    def tell(sign: Sign) -> None:
        nonlocal told
        if told is None or sign.best != told.best or sign.elapsed_s >= told.elapsed_s + LINE_EVERY_S:
            told = sign
            console.print(sign_text(sign), highlight=False, soft_wrap=True)

    return tell


@contextmanager
def searching(seconds: float, console: Console | None = None) -> Iterator[Effort]:
    """Yield the effort for searches of `seconds`. The first Ctrl-C ends the search, the second one the program."""
    console = console or Console(stderr=True)
    if console.is_terminal and not console.is_dumb_terminal:
        with Live(console=console, auto_refresh=False, transient=True) as live:
            effort = Effort(seconds, tell=lambda sign: live.update(Text(sign_text(sign)), refresh=True))
            with _interruptible(effort):
                yield effort
    else:
        effort = Effort(seconds, tell=plain_lines(console))
        with _interruptible(effort):
            yield effort


@contextmanager
def _interruptible(effort: Effort) -> Iterator[None]:
    def on_signal(_number: int, _frame: FrameType | None) -> None:
        if effort.stopped:
            raise KeyboardInterrupt
        effort.stop()

    with caught([INTERRUPT], on_signal):
        yield
