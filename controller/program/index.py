"""What the switches at zero must show if no step was lost, and where an axis stands clear of its switch.

All places are steps of the motor's count, 0 where a reference run found the switch: creeping upward, at the first step
with the flag on. Let P be the play of the gears in steps. While the motor turns upward it pushes the head ahead of it,
so the head changes the flag where the motor counts 0, whatever P is. While it turns downward it must first cross the
play, so the head meets the same place when the motor counts P less, and the first step with the flag off is one further
on: -(P + 1), to within a step as P need not be whole. (Own derivation; `tests/controller/program/test_index.py` holds
it against the simulator's hysteresis.) A slip of s steps shifts either reading by s.

How far a reading may be off without any slip, n: a step and a half, as both places are rounded, and how well a switch
repeats. A reading farther off than the tolerance h tells of a slip, so a slip of more than h + n cannot hide. A gear off
its centre adds nothing: zero is always met at the same place of its turn. h is as wide as it may be for h + n to stay
within the head's error of level, for both axes together, so that a slip that hides is no worse than what a plan is proved
for; but never wider than half of what a motor loses at once (whole electrical cycles of four full steps: makers'
handbooks of stepper motors; value from memory), and never less than n. On a head with coarse steps or no error of level
h + n may be more than the head's pointing error: `unseen_deg` says how much.
"""

import math
from dataclasses import dataclass
from enum import Enum, auto

from controller.kit.kit import Axis, Head
from controller.program.program import Crossing
from protocol.messages import EdgeFlag

REPEATS_DEG = 0.02  # how well a switch repeats, and its board notes it at speed. Common practice, no source
CLEAR_DEG = 0.25  # at least so far from its switch an axis stands clear of it. Common practice, no source
BEYOND_DEG = 1.0  # at least so far past its switch an axis turns for a look
# Play that a kit may not tell of, as an angle and as a share of what it does tell. Common practice, no source
UNTOLD_DEG, UNTOLD_SHARE = 0.1, 0.5


class Found(Enum):
    """What a reading of a switch means."""

    IN_PLACE = auto()
    UNSURE = auto()
    """It was passed downward, and is off by no more than the play may be other than the kit says."""
    ELSEWHERE = auto()


@dataclass(frozen=True, slots=True)
class Zone:
    """Where one axis stands clear of its switch, and what the switch must show; in steps.

    Surely above it from `above` on, surely below it from `below` on, whatever was turned before; a look ends at `over` or
    at `under`. The switch is met at 0 on the way up and at `downward` on the way down, both give or take `tolerance`;
    `untold` is what the play may differ by.
    """

    above: int
    below: int
    over: int
    under: int
    downward: float
    tolerance: float
    untold: float

    def side(self, steps: int) -> int:
        """1 where the axis stands clear above its switch, -1 below, 0 too close to tell."""
        return 1 if steps >= self.above else -1 if steps <= self.below else 0

    def judge(self, steps: int, how: EdgeFlag) -> Found:
        """What it means that the board last saw the switch change at `steps`, and how."""
        upward = bool(how & EdgeFlag.UPWARD)
        if upward != bool(how & EdgeFlag.ON):  # the flag is on above zero and off below
            return Found.ELSEWHERE
        off = abs(steps - (0 if upward else self.downward))
        if off <= self.tolerance:
            return Found.IN_PLACE
        return Found.UNSURE if not upward and off <= self.tolerance + self.untold else Found.ELSEWHERE


def _noise_steps(axis: Axis) -> float:
    """How far off a reading may be without any slip."""
    return 1.5 + REPEATS_DEG * axis.steps_per_degree


def tolerance_steps(head: Head, axis: Axis) -> float:
    """How far from its place a switch may be seen to change."""
    noise = _noise_steps(axis)
    allowed = head.level_error_deg / math.sqrt(2) * axis.steps_per_degree
    return max(noise, min(allowed - noise, 2 * axis.microsteps))


def unseen_deg(head: Head, axis: Axis) -> float:
    """The largest slip of one axis that may go unnoticed, in degrees."""
    return (tolerance_steps(head, axis) + _noise_steps(axis)) / axis.steps_per_degree


def zone_of(head: Head, axis: Axis) -> Zone | None:
    """How the zero of this axis of the head is checked; None if it has no switch, or no room to pass it."""
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
    """Follows one axis from stop to stop: on which side of its switch it stands, and last stood clear."""

    def __init__(self, zone: Zone | None, steps: int | None) -> None:
        """Begin at `steps`, None where that is not known."""
        self._zone, self._at = zone, steps
        self._last = self._side()

    def goes(self, steps: int) -> Crossing:
        """What going to `steps` has to do with the switch."""
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
        """Where to go, stop by stop, to pass the switch from here; nowhere if it cannot be passed."""
        if self._zone is None:
            return ()
        side = self._side()
        if side:
            return (self._zone.under,) if side > 0 else (self._zone.over,)
        return (self._zone.under, self._zone.over)

    def _side(self) -> int:
        return 0 if self._zone is None or self._at is None else self._zone.side(self._at)
