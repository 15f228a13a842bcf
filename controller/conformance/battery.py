"""Run the battery of rules on one board, announcing each before anything moves, and judge the result."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from controller.conformance.rules import RULES, Rule, wait_verdict
from controller.conformance.talk import NotChecked, RuleBroken, Talk
from controller.errors import WorldError
from protocol.messages import Stop
from protocol.units import MS, NS

TOTAL_S = 900.0
"""The longest time for the battery; rules not reached by then are left out."""
TO_STOP = (
    "To stop it: Ctrl-C, or the stop switch, which cuts the motors' power. Support the camera first: a tilt may drop."
)
STILL = "a board is asked for what it must refuse; one that is broken may move"


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One rule's result: `kept` is None if the rule was left out; `seen` says why, or what was wrong."""

    rule: str
    demands: str
    kept: bool | None
    seen: str = ""

    def words(self) -> str:
        """The result in a line, and what was seen in a second one."""
        word = {True: "kept", False: "BROKEN", None: "left out"}[self.kept]
        return f"{word:9}{self.rule}: {self.demands}" + (f"\n{self.seen}" if self.seen else "")


def wait_battery(
    talk: Talk,
    may_move: Callable[[], bool],
    tell: Callable[[RuleResult], None],
    lead_ns: int = 0,
    rules: Sequence[Rule] = RULES,
) -> list[RuleResult]:
    """Check each of `rules` and tell its result.

    `may_move` is asked once, before the first rule that may turn anything. Before the first rule, and before each rule
    that switches the motors on, people are told through the talk's gate what will move, for how long, and how to stop it,
    `lead_ns` ahead. The board is told to stop if anything ends this early, Ctrl-C included. Raises LinkLost,
    OtherVersion.
    """
    verdicts: list[RuleResult] = []
    moving: bool | None = None
    begin = talk.port.now()
    try:
        _wait_announced(talk, STILL, lead_ns, "The check begins")
        for rule in rules:
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
