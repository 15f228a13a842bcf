"""A port and a clock in one: waiting is running the world to its next event, so hours pass in no time."""

from sim.rig import Rig


class DeadlockError(Exception):
    """The host waits without a deadline for a world in which nothing will ever happen: a bug in the host."""


class VirtualPort:
    """The host's end of the simulated wire."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._now_ns = 0
        self._wakes: list[int] = []

    def wake_at(self, moment_ns: int) -> None:
        """End the wait that is under way at `moment_ns`, as a key press would."""
        self._wakes.append(moment_ns)
        self._wakes.sort()

    def now(self) -> int:
        """Virtual time since the rig was switched on, in nanoseconds."""
        return self._now_ns

    def reopen(self) -> None:
        """Nothing to open: the wire itself may be dead or alive."""

    def write(self, data: bytes) -> None:
        """Put bytes on the wire."""
        self._rig.to_board.send(self._now_ns, data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        """Wait for bytes from the board until `deadline_ns`; empty when it passes first.

        A deadline in the past returns what is there and never turns time back. Raises DeadlockError where
        nothing can ever end the wait.
        """
        while not (data := self._rig.to_host.arrived(self._now_ns)):
            event_ns = self._rig.next_deadline()
            limits = [moment for moment in (deadline_ns, *self._wakes[:1]) if moment is not None]
            if limits and (event_ns is None or event_ns > min(limits)):
                self._now_ns = max(self._now_ns, min(limits))
                self._wakes = [moment for moment in self._wakes if moment > self._now_ns]
                return b""
            if event_ns is None:
                raise DeadlockError("nothing will happen and no deadline was given")
            self._now_ns = max(self._now_ns, event_ns)
            self._rig.advance(self._now_ns)
        return data
