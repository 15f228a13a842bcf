"""A port and a clock in one: waiting runs the world to its next event, so hours pass at once."""

from sim.rig import Rig


class DeadlockError(Exception):
    """The host waits without a deadline for a world in which nothing will ever happen: a bug in the host."""


class HostKilled(Exception):
    """The host was killed; nothing it would have done afterwards happens."""


class VirtualPort:
    """The host's end of the simulated wire."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._now_ns = 0
        self._wakes: list[int] = []
        self._unheard = b""  # received while the host slept

    def wake_at(self, moment_ns: int) -> None:
        """End the wait that is under way at `moment_ns`, as a key press would."""
        self._wakes.append(moment_ns)
        self._wakes.sort()

    def now(self) -> int:
        """The host's clock: virtual time since the rig was switched on, in nanoseconds, plus its jumps ahead."""
        return self._now_ns + self._rig.host.clock_ahead_ns

    def reopen(self) -> None:
        """Do nothing: there is nothing to open. The wire itself may be dead or alive."""

    def write(self, data: bytes) -> None:
        """Put bytes on the wire. Raises HostKilled if the host was killed."""
        self._live()
        self._rig.to_board.send(self._now_ns, data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        """Wait for bytes from the board until `deadline_ns`; empty if there are none by then.

        A deadline in the past returns what is there and never turns time back. Raises DeadlockError if nothing can ever
        end the wait, HostKilled if the host is killed meanwhile.
        """
        if deadline_ns is not None:
            deadline_ns -= self._rig.host.clock_ahead_ns
        while not (data := self._arrived()):
            event_ns = self._rig.next_deadline()
            limits = [moment for moment in (deadline_ns, *self._wakes[:1]) if moment is not None]
            if limits and (event_ns is None or event_ns > min(limits)):
                self._now_ns = max(self._now_ns, min(limits))
                self._wakes = [moment for moment in self._wakes if moment > self._now_ns]
                return b""
            if event_ns is None:
                raise DeadlockError("nothing will happen and no deadline was given")
            before_ns = self._rig.host.clock_ahead_ns
            self._now_ns = max(self._now_ns, event_ns)
            self._rig.advance(self._now_ns)
            self._live()
            if deadline_ns is not None:
                deadline_ns -= self._rig.host.clock_ahead_ns - before_ns
        return data

    def _arrived(self) -> bytes:
        data = self._unheard + self._rig.to_host.arrived(self._now_ns)
        self._unheard = b""
        return data

    def _live(self) -> None:
        """Run the world while the host sleeps."""
        host = self._rig.host
        if host.killed:
            raise HostKilled
        while self._now_ns < host.asleep_until_ns:
            event_ns = self._rig.next_deadline()
            self._now_ns = max(self._now_ns, min(event_ns or host.asleep_until_ns, host.asleep_until_ns))
            self._rig.advance(self._now_ns)
            self._unheard += self._rig.to_host.arrived(self._now_ns)
