"""How well a line carries its traffic."""

from dataclasses import asdict, dataclass
from typing import Any

from controller.capture.line import BoardLine
from controller.capture.port import Port
from controller.kit.line import TRIES, retry_ns
from protocol.codec import PROTOCOL_VERSION
from protocol.host_link import Answered, HostLink, Silent
from protocol.messages import GetStatus, Hello
from protocol.units import NS, Nanos

BUCKETS_MS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0)


@dataclass(frozen=True, slots=True)
class LineHealth:
    """The result of a soak: round trips in milliseconds (a histogram by upper bound), and what went wrong."""

    seconds: float
    exchanges: int
    retransmitted: int
    damaged: int
    dropped: int
    silent: bool
    median_ms: float
    worst_ms: float
    histogram: dict[str, int]

    def as_json(self) -> dict[str, Any]:
        """For other programs."""
        return asdict(self)


def wait_soak(port: Port, baud: int, seconds: float) -> LineHealth:
    """Ask for the status as fast as answers come, for `seconds`. Raises LinkLost."""
    line = BoardLine(port, lambda: HostLink(retry_ns=Nanos(retry_ns(baud)), tries=TRIES))
    begin = asked_at = port.now()
    trips: list[float] = []
    silent = False
    line.send(Hello(*PROTOCOL_VERSION, begin & 0xFFFFFFFF))
    while port.now() < begin + seconds * NS and not silent:
        line.wait_turn(None)
        while (news := line.next_news()) is not None:
            silent = silent or isinstance(news, Silent)
            if isinstance(news, Answered):
                trips.append((port.now() - asked_at) / 1e6)
                asked_at = port.now()
                line.send(GetStatus())
    counted = line.statistics
    trips = sorted(trips) or [0.0]
    histogram = dict.fromkeys((*(f"<={bound:g}" for bound in BUCKETS_MS), "more"), 0)
    for trip in trips:
        bound = next((f"<={bound:g}" for bound in BUCKETS_MS if trip <= bound), "more")
        histogram[bound] += 1
    return LineHealth(
        seconds=round((port.now() - begin) / 1e9, 3),
        exchanges=len(trips),
        retransmitted=counted.retransmitted,
        damaged=counted.damaged,
        dropped=counted.dropped,
        silent=silent,
        median_ms=round(trips[len(trips) // 2], 3),
        worst_ms=round(trips[-1], 3),
        histogram=histogram,
    )
