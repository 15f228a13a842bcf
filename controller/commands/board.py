"""`fullturn board`: find a board, check that it keeps the rules, and measure its line."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import RuleBroken, Talk
from controller.kit.line import TRIES, retry_ns
from controller.ports.find import Candidate, wait_candidates, wait_known_board
from controller.ports.serial_port import SerialPort
from protocol.codec import PROTOCOL_VERSION
from protocol.host_link import Answered, HostLink, Silent
from protocol.messages import GetStatus, Hello
from protocol.units import Nanos

BUCKETS_MS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0)


@dataclass(frozen=True, slots=True)
class Verdict:
    """One rule's result: None where it was left out, because something might have moved."""

    rule: str
    demands: str
    kept: bool | None
    seen: str = ""


def find_command(baud: int) -> list[Candidate]:
    """All ports and what answers at them."""
    return wait_candidates(baud)


def check_command(url: str, baud: int, may_move: Callable[[], bool], tell: Callable[[Verdict], None]) -> list[Verdict]:
    """Run the battery on the board at `url`; `may_move` is asked once, before the first rule that may move anything.

    Raises LinkLost, WorldError.
    """
    verdicts = []
    with SerialPort(url, baud) as port:
        wait_known_board(port)
        talk = Talk(port)
        moving: bool | None = None
        for rule in RULES:
            if rule.moves and moving is None:
                moving = may_move()
            verdict = Verdict(rule.name, rule.demands, None) if rule.moves and not moving else _judge(talk, rule)
            verdicts.append(verdict)
            tell(verdict)
    return verdicts


def _judge(talk: Talk, rule: Rule) -> Verdict:
    try:
        wait_verdict(talk, rule)
    except RuleBroken as error:
        return Verdict(rule.name, rule.demands, False, str(error))
    return Verdict(rule.name, rule.demands, True)


@dataclass(frozen=True, slots=True)
class LineHealth:
    """What a soak found: round trips in milliseconds (a histogram by upper bound), and what went wrong."""

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


def soak_command(url: str, baud: int, seconds: float) -> LineHealth:
    """Ask for the status as fast as answers come, for `seconds`. Raises LinkLost, WorldError."""
    with SerialPort(url, baud) as port:
        wait_known_board(port)
        return _wait_soak(port, baud, seconds)


def _wait_soak(port: SerialPort, baud: int, seconds: float) -> LineHealth:
    link = HostLink(retry_ns=Nanos(retry_ns(baud)), tries=TRIES)
    begin = port.now()
    link.send(Hello(*PROTOCOL_VERSION, begin & 0xFFFFFFFF))
    trips: list[float] = []
    asked_at, silent = begin, False
    while port.now() < begin + seconds * 1e9 and not silent:
        port.write(link.take(Nanos(port.now())))
        data = port.wait_bytes(link.next_deadline())
        link.receive(data, Nanos(port.now()))
        link.handle_deadline(Nanos(port.now()))
        while (news := link.next_event()) is not None:
            silent = silent or isinstance(news, Silent)
            if isinstance(news, Answered):
                trips.append((port.now() - asked_at) / 1e6)
                asked_at = port.now()
                link.send(GetStatus())
    counted = link.statistics
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
