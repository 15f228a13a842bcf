"""A machine in virtual time as the port of the host's programs."""

from __future__ import annotations

from tests.protocol.board.talker import Machine

MS = 1_000_000


class MachinePort:
    """A `Port`: waiting lets virtual time pass."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def now(self) -> int:
        return self._machine.now_ms * MS

    def reopen(self) -> None:
        """The line is never lost."""

    def write(self, data: bytes) -> None:
        self._machine.feed(data)

    def wait_bytes(self, deadline_ns: int | None) -> bytes:
        assert deadline_ns is not None
        while True:
            data = self._machine.take()
            if data or self.now() >= deadline_ns:
                return data
            self._machine.run(1)
