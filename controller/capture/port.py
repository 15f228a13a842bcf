"""What the host needs of a line to a board. Only `wait_bytes` may block."""

from typing import Protocol


class Port(Protocol):
    """A line and the clock that goes with it.

    The simulator's port, a pseudo-terminal and a real port all have this shape. Implementations raise
    LinkLost when the line itself is gone.
    """

    def now(self) -> int:
        """Monotonic time in nanoseconds."""

    def reopen(self) -> None:
        """Reopen the line, as after a pulled cable. Raises LinkLost if it cannot be opened."""

    def write(self, data: bytes) -> None:
        """Hand bytes to the line without waiting."""

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        """Wait for bytes until `deadline_ns` (forever if None); empty if there are none by then.

        A deadline in the past returns the bytes already received. May return empty earlier if the operator has a request,
        so callers must check the time.
        """
