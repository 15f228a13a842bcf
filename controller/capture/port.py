"""What the host needs of a line to a board: the only place where anything may block is `wait_bytes`."""

from typing import Protocol


class Port(Protocol):
    """A line and the clock that goes with it.

    The simulator's port, a pseudo-terminal and a real port all have this shape. Implementations raise
    LinkLost when the line itself is gone.
    """

    def now(self) -> int:
        """Monotonic time in nanoseconds."""

    def reopen(self) -> None:
        """Open the line anew, as when a cable was pulled and put back. Raises LinkLost while it cannot be."""

    def write(self, data: bytes) -> None:
        """Hand bytes to the line without waiting."""

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        """Wait for bytes until `deadline_ns` (for ever if None); empty when it passes first.

        A deadline in the past returns what is there at once. May return empty earlier when the operator wants
        something: callers look at the time, not at the return alone.
        """
