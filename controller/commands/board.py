"""`fullturn board`: find a board, check that it keeps the rules, and measure its line."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from controller.capture.gate import Gate
from controller.capture.line import BoardLine
from controller.capture.people import People
from controller.conformance.reach import Reach
from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import NotChecked, RuleBroken, Talk
from controller.errors import WorldError
from controller.kit.line import TRIES, retry_ns
from controller.ports.find import Candidate, wait_candidates, wait_known_board
from controller.ports.serial_port import SerialPort
from protocol.codec import PROTOCOL_VERSION
from protocol.host_link import Answered, HostLink, Silent
from protocol.messages import GetStatus, Hello, Stop
from protocol.units import MS, NS, Nanos

TOTAL_S = 900.0
"""The longest that the battery may take; what it has not come to by then is left out."""
TO_STOP = "To stop it: Ctrl-C, or the stop switch, which cuts the motors' power; a tilt may drop then."
STILL = "a board is asked for what it must refuse; one that is broken may move"
NOBODY_NEAR = People()
BUCKETS_MS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 500.0)


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One rule's result: `kept` is None where it was left out; `seen` says why, or what was wrong."""

    rule: str
    demands: str
    kept: bool | None
    seen: str = ""


def find_command(baud: int) -> list[Candidate]:
    """All ports and what answers at them."""
    return wait_candidates(baud)


def check_command(
    url: str,
    baud: int,
    may_move: Callable[[], bool],
    tell: Callable[[RuleResult], None],
    *,
    people: People = NOBODY_NEAR,
    reach: Reach | None = None,
) -> list[RuleResult]:
    """Run the battery on the board at `url`; see `wait_battery`. Raises LinkLost, WorldError."""
    with SerialPort(url, baud) as port:
        wait_known_board(port)
        gate = Gate.of(people, port.now)
        return wait_battery(Talk(port, reach=reach or Reach(), gate=gate), may_move, tell, people.lead_ns)


def wait_battery(
    talk: Talk, may_move: Callable[[], bool], tell: Callable[[RuleResult], None], lead_ns: int = 0
) -> list[RuleResult]:
    """Check each rule and tell what came of it.

    `may_move` is asked once, before the first rule that may turn anything. Before each rule that switches the motors on,
    and before the first of all, people are told through the talk's gate what is about to move, for how long, and how to
    stop it, `lead_ns` before. Whatever ends this early, Ctrl-C included, the board is told to stop. Raises LinkLost,
    OtherVersion.
    """
    verdicts: list[RuleResult] = []
    moving: bool | None = None
    begin = talk.port.now()
    try:
        _wait_announced(talk, STILL, lead_ns, "The check begins")
        for rule in RULES:
            if rule.moves and moving is None:
                moving = may_move()
            why = _left_out(talk, rule, moving=bool(moving), passed_s=(talk.port.now() - begin) / NS)
            sentence = rule.announcement(talk.reach, near_zero=talk.zero_is_found) if why is None else None
            if sentence is not None:
                _wait_announced(talk, sentence, lead_ns)
            verdict = _judge(talk, rule) if why is None else RuleResult(rule.name, rule.demands, None, why)
            verdicts.append(verdict)
            tell(verdict)
    except BaseException:
        with suppress(WorldError):
            talk.send(Stop())
        raise
    return verdicts


def _wait_announced(talk: Talk, why: str, lead_ns: int, what: str = "The head moves") -> None:
    talk.gate.announce(why, lead_ns, what=what, to_stop=TO_STOP)
    talk.wait_message(lambda *_: False, lead_ns // MS)


def _left_out(talk: Talk, rule: Rule, *, moving: bool, passed_s: float) -> str | None:
    """Why a rule is not checked, None if it is."""
    if rule.moves and not moving:
        return "something would move, and that was not allowed"
    if rule.searches and talk.zero_is_missing:
        return "zero was not found"
    return "the check has taken too long already" if passed_s > TOTAL_S else None


def _judge(talk: Talk, rule: Rule) -> RuleResult:
    try:
        wait_verdict(talk, rule)
    except RuleBroken as error:
        return RuleResult(rule.name, rule.demands, False, str(error))
    except NotChecked as error:
        return RuleResult(rule.name, rule.demands, None, str(error))
    return RuleResult(rule.name, rule.demands, True)


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
