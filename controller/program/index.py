"""What the switches at zero must show if no step was lost, and from where an axis is clear of its switch.

All positions are in the motor's steps. 0 is where a reference run found the switch: creeping upward, at the first step
with the flag on. Let P be the play of the gears in steps. While the motor turns upward it pushes the head ahead of it, so
the head changes the flag at the motor's 0, whatever P is. While it turns downward it must first cross the play, so the
head reaches the same point when the motor counts P less. The first step with the flag off is one further: -(P + 1), to
within a step as P need not be whole. (Own derivation; `tests/controller/program/test_index.py` checks it against the
simulator's hysteresis.) A slip of s steps shifts either reading by s.

The error n of a reading without any slip is a step and a half, because both positions are rounded, plus the repeatability
of the switch. A reading farther off than the tolerance h shows a slip, so no slip above h + n can stay hidden. An
eccentric gear adds nothing: zero is always at the same point of its turn. h is as wide as possible while h + n stays
within the head's levelling error, for both axes together. A hidden slip is then no worse than what a plan is proved for.
But h is never wider than half of what a motor loses at once (whole electrical cycles of four full steps: makers'
handbooks of stepper motors; value from memory), and never less than n. On a head with coarse steps or no levelling error,
h + n may exceed the head's pointing error; `unseen_deg` is that figure.
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

from controller.kit.kit import Axis, Head
from controller.program.program import Crossing
from protocol.messages import EdgeFlag

REPEATS_DEG = 0.02  # repeatability of a switch as recorded by its board at speed. Common practice, no source
CLEAR_DEG = 0.25  # an axis at least this far from its switch is clear of it. Common practice, no source
BEYOND_DEG = 1.0  # for a zero check, an axis turns at least this far past its switch
# Play in excess of the kit's figure, as an angle and as a share of that figure. Common practice, no source
UNTOLD_DEG, UNTOLD_SHARE = 0.1, 0.5


class Found(Enum):
    """The meaning of a switch reading."""

    IN_PLACE = auto()
    UNSURE = auto()
    """Passed downward, and off by no more than the play may differ from the kit's figure."""
    ELSEWHERE = auto()


@dataclass(frozen=True, slots=True)
class Zone:
    """The positions at which one axis is clear of its switch, and what the switch must show; in steps.

    Whatever was turned before, the axis is certainly above it from `above` on and below it from `below` on. A zero check
    ends at `over` or `under`. The switch changes at 0 on the way up and at `downward` on the way down, both to within
    `tolerance`; `untold` is how much the play may differ.
    """

    above: int
    below: int
    over: int
    under: int
    downward: float
    tolerance: float
    untold: float

    def side(self, steps: int) -> int:
        """1 if the axis is clear above its switch, -1 if below, 0 if too close to tell."""
        return 1 if steps >= self.above else -1 if steps <= self.below else 0

    def judge(self, steps: int, how: EdgeFlag) -> Found:
        """The meaning of the last switch change that the board reports: at `steps`, in the way `how`."""
        upward = bool(how & EdgeFlag.UPWARD)
        if upward != bool(how & EdgeFlag.ON):  # the flag is on above zero and off below
            return Found.ELSEWHERE
        off = abs(steps - (0 if upward else self.downward))
        if off <= self.tolerance:
            return Found.IN_PLACE
        return Found.UNSURE if not upward and off <= self.tolerance + self.untold else Found.ELSEWHERE


def _noise_steps(axis: Axis) -> float:
    """The error of a reading without any slip."""
    return 1.5 + REPEATS_DEG * axis.steps_per_degree


def tolerance_steps(head: Head, axis: Axis) -> float:
    """How far from its nominal position a switch change may be."""
    noise = _noise_steps(axis)
    allowed = head.level_error_deg / math.sqrt(2) * axis.steps_per_degree
    return max(noise, min(allowed - noise, 2 * axis.microsteps))


def unseen_deg(head: Head, axis: Axis) -> float:
    """The largest slip of one axis that may go unnoticed, in degrees."""
    return (tolerance_steps(head, axis) + _noise_steps(axis)) / axis.steps_per_degree


def zone_of(head: Head, axis: Axis) -> Zone | None:
    """How the zero of this axis is checked; None if it has no switch, or no room to pass it."""
    if not axis.zero_switch:
        return None
    rate = axis.steps_per_degree
    play, clear = axis.backlash_deg * rate, max(CLEAR_DEG, unseen_deg(head, axis)) * rate
    least, most = math.ceil(axis.min_deg * rate), math.floor(axis.max_deg * rate)
    above, below = max(1, math.ceil(clear)), min(-1, -math.ceil(clear + play))
    if most < above or least > below:
        return None
    beyond = max(BEYOND_DEG * rate, 2 * clear)
    return Zone(
        above=above,
        below=below,
        over=min(most, math.ceil(beyond)),
        under=max(least, -math.ceil(beyond + play)),
        downward=-(play + 1),
        tolerance=tolerance_steps(head, axis),
        untold=max(UNTOLD_DEG, UNTOLD_SHARE * axis.backlash_deg) * rate,
    )


class Side:
    """Follows one axis from stop to stop: the side of its switch on which it is, and on which it was last clear."""

    def __init__(self, zone: Zone | None, steps: int | None) -> None:
        """Begin at `steps`, or None if unknown."""
        self._zone, self._at = zone, steps
        self._last = self._side()

    def goes(self, steps: int) -> Crossing:
        """How a move to `steps` affects the switch."""
        if self._zone is None:
            return Crossing()
        before, start = self._side(), self._at
        self._at = steps
        after = self._side()
        crossing = Crossing(
            may=steps != start and (before != after or before == 0),
            must=after * self._last < 0,
            ends_clear=after != 0,
        )
        self._last = after or self._last
        return crossing

    def look(self) -> tuple[int, ...]:
        """The stops, in order, that pass the switch from here; empty if it cannot be passed."""
        if self._zone is None:
            return ()
        side = self._side()
        if side:
            return (self._zone.under,) if side > 0 else (self._zone.over,)
        return (self._zone.under, self._zone.over)

    def _side(self) -> int:
        return 0 if self._zone is None or self._at is None else self._zone.side(self._at)
