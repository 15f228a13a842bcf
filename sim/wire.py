"""A serial line: bytes take time (8N1, ten bits a byte) and arrive in order."""

from collections import deque
from dataclasses import dataclass
from random import Random


@dataclass(frozen=True, slots=True)
class LineTrouble:
    """The faults of a line: the shares of bytes that arrive damaged, that are lost, and that arrive twice.

    All arrive `delay_ns` late; none arrives while it is `cut`.
    """

    byte_error_rate: float = 0.0
    drop_share: float = 0.0
    double_share: float = 0.0
    delay_ns: int = 0
    cut: bool = False

    def touch(self, data: bytes, random: Random) -> bytes:
        """Damage, drop and repeat bytes that enter the line."""
        if self.cut:
            return b""
        if self.byte_error_rate > 0:
            rate = self.byte_error_rate
            data = bytes(byte ^ random.randrange(1, 256) if random.random() < rate else byte for byte in data)
        if self.drop_share > 0:
            data = bytes(byte for byte in data if random.random() >= self.drop_share)
        if self.double_share > 0:
            data = b"".join(bytes((byte,)) * (1 + (random.random() < self.double_share)) for byte in data)
        return data


SOUND = LineTrouble()


class Wire:
    """One direction. Each write arrives when its last byte has passed."""

    def __init__(self, baud: int, random: Random, trouble: LineTrouble = SOUND) -> None:
        self._random = random
        self.trouble = trouble
        self._byte_ns = 10_000_000_000 // baud
        self._free_ns = 0
        self._under_way: deque[tuple[int, bytes]] = deque()

    def send(self, now_ns: int, data: bytes) -> None:
        """Put bytes on the line, behind everything still under way."""
        data = self.trouble.touch(data, self._random)
        self._free_ns = max(now_ns + self.trouble.delay_ns, self._free_ns) + len(data) * self._byte_ns
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
