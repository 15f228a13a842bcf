"""What the run did when, in lanes: one for each kind of time."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from controller.capture.events import EventKind
from controller.capture.states import RunState
from controller.capture.words.run import STATES
from controller.report.colours import LINE, SERIES, SOFT, token
from controller.session.rows import Happening

LANES: dict[RunState, str] = {
    RunState.REFERENCING: SOFT,
    RunState.MOVING: SERIES[0],
    RunState.SETTLING: SERIES[4],
    RunState.EXPOSING: SERIES[1],
    RunState.TRANSFERRING: SERIES[3],
    RunState.RECOVERING: SERIES[2],
}
REST = "checks, warnings, questions", LINE


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in one state, in seconds since the run began."""

    state: str
    start_s: float
    seconds: float


def stretches(happenings: Sequence[Happening], ended_s: float) -> list[Stretch]:
    """The run divided at each change of state; a run that continued a set follows the one before directly.

    The time between two runs is left out, and their clocks may be unrelated.
    """
    if not happenings:
        return []
    starts, now_s = [0.0], 0.0
    for before, happening in pairwise(happenings):
        if not (happening.state == RunState.CONNECTING and happening.what == EventKind.START):
            now_s += (happening.at_ns - before.at_ns) / 1e9
        starts.append(now_s)
    ends = [*starts[1:], ended_s]
    return [
        Stretch(happening.state, start, max(0.0, end - start))
        for happening, start, end in zip(happenings, starts, ends, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class TimeShare:
    """What one kind of time adds up to: seconds, and per cent of the whole run. The colour is a CSS value."""

    name: str
    seconds: float
    percent: float
    colour: str


def shares(parts: Sequence[Stretch]) -> list[TimeShare]:
    """All time of a run by its lanes, and the rest last; without kinds that never occurred."""
    whole_s = sum(part.seconds for part in parts)
    lane_of = {state.value: (STATES[state].lane, colour) for state, colour in LANES.items()}
    totals = dict.fromkeys([*lane_of.values(), REST], 0.0)
    for part in parts:
        totals[lane_of.get(part.state, REST)] += part.seconds
    return [
        TimeShare(name, total, 100 * total / whole_s, token(colour))
        for (name, colour), total in totals.items()
        if total > 0
    ]
