"""A serial line: bytes take their time (8N1, ten bits a byte) and arrive in order."""

from collections import deque


class Wire:
    """One direction. Each write arrives when its last byte has passed."""

    def __init__(self, baud: int) -> None:
        self._byte_ns = 10_000_000_000 // baud
        self._free_ns = 0
        self._under_way: deque[tuple[int, bytes]] = deque()

    def send(self, now_ns: int, data: bytes) -> None:
        """Put bytes on the line, behind whatever is still under way."""
        self._free_ns = max(now_ns, self._free_ns) + len(data) * self._byte_ns
        self._under_way.append((self._free_ns, data))

    def next_deadline(self) -> int | None:
        """When the next bytes arrive."""
        return self._under_way[0][0] if self._under_way else None

    def arrived(self, now_ns: int) -> bytes:
        """The bytes that have arrived by now, possibly none."""
        parts = []
        while self._under_way and self._under_way[0][0] <= now_ns:
            parts.append(self._under_way.popleft()[1])
        return b"".join(parts)
