"""What the page refuses, each in one line on stderr: escaped, and at most so many a minute."""

from collections.abc import Callable

from controller import clock
from controller.shown import shown
from protocol.units import NS

MOST_A_MINUTE = 30
MINUTE_NS = 60 * NS


class Refusals:
    """Writes a line for each refusal; counts what it leaves out when there are too many."""

    def __init__(self, write: Callable[[str], None], now_ns: Callable[[], int] = clock.monotonic_ns) -> None:
        self._write, self._now_ns = write, now_ns
        self._since_ns, self._lines, self._left_out = now_ns(), 0, 0

    def note(self, why: str, client: str = "", path: str = "") -> None:
        """Write why something was refused, from which address, and for which path."""
        now_ns = self._now_ns()
        if now_ns - self._since_ns >= MINUTE_NS:
            if self._left_out:
                self._write(f"Refused: {self._left_out} more in the last minute.")
            self._since_ns, self._lines, self._left_out = now_ns, 0, 0
        if self._lines >= MOST_A_MINUTE:
            self._left_out += 1
            return
        self._lines += 1
        where = f" ({shown(client, 60)})" if client else ""
        what = f": {shown(path, 80)}" if path else ""
        self._write(f"Refused{where}: {why}{what}")
