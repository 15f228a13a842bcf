"""The two ends of the conversation in the child: lines in and lines out, never waiting."""

from controller import clock
from controller.page.messages import LONGEST_LINE
from controller.system.chosen import pipes
from protocol.units import MS

UNREAD_BYTES = 1 << 18
"""How much may wait for a page that does not read before it counts as gone."""
LAST_WORDS_NS = 500 * MS


class PipeEnds:
    """Lines over two descriptors, `source` and `drain`. `gone` is whether the other side is."""

    def __init__(self, source: int, drain: int) -> None:
        self._source, self._drain = source, drain
        pipes.prepare(source, drain)
        self._begun, self._unsent = b"", b""
        self.gone = False

    def read_lines(self) -> list[bytes]:
        """The whole lines that have arrived. At the end of the input, or after a line that is too long, it is gone."""
        lines: list[bytes] = []
        while not self.gone:
            try:
                data = pipes.read(self._source)
            except OSError:
                data = b""
            if data is None:
                break
            self.gone = not data
            *whole, self._begun = (self._begun + data).split(b"\n")
            lines += whole
            self.gone |= any(len(line) > LONGEST_LINE for line in (*whole, self._begun))
        self._push()
        return [] if self.gone else lines

    def write(self, line: bytes) -> None:
        """Send a line, or keep it until it can be sent."""
        self._unsent += line
        self._push()

    def finish(self) -> None:
        """Wait a moment until the page has read everything."""
        end_ns = clock.monotonic_ns() + LAST_WORDS_NS
        while self._unsent and not self.gone and clock.monotonic_ns() < end_ns:
            self._push()
            clock.wait_ns(MS)

    def _push(self) -> None:
        try:
            while self._unsent and (count := pipes.write(self._drain, self._unsent)) is not None:
                self._unsent = self._unsent[count:]
        except BrokenPipeError:
            self.gone, self._unsent = True, b""
        self.gone |= len(self._unsent) > UNREAD_BYTES
