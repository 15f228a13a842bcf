"""Moving the head for a measurement: one axis at a time, or to places in turn."""

from collections.abc import Sequence

from controller.amounts import duration
from controller.calibration.records import AxisName
from controller.capture.hand import UNSHAPED, Hand
from controller.capture.people import People
from controller.capture.zero import find_zero
from protocol.shaper import Shaper
from protocol.units import NS


class HandMover:
    """Moves the head for a measurement. `moved` is the axis that moved last."""

    def __init__(self, hand: Hand, people: People) -> None:
        self._hand, self._people = hand, people
        self.moved = AxisName.PAN

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        """Announce, then move one axis to these absolute steps in turn, and come to rest. Zero is found first if needed.

        Between calls the head rests disarmed, so that the board waits for a reading for as long as it takes. Raises
        InputError, WorldError.
        """
        self._hand.wait_known()
        pan, tilt = self._hand.at_steps
        targets = [(steps, tilt) if axis is AxisName.PAN else (pan, steps) for steps in stops]
        per_degree = self._hand.steps_per_degree[0 if axis is AxisName.PAN else 1]
        self._wait_along(targets, f"{axis.value} turns to {stops[-1] / per_degree:.1f}°", UNSHAPED)
        self.moved = axis

    def wait_visit(self, targets: Sequence[tuple[int, int]], why: str, shapers: tuple[Shaper, Shaper] = UNSHAPED) -> None:
        """Announce `why`, then move to these places in turn, with the shapers, and come to rest, as `wait_go_to` does.

        Raises InputError, WorldError.
        """
        self._hand.wait_known()
        self._wait_along(targets, why, shapers)

    def wait_pass(self, lasts_ns: int) -> None:
        """Let time pass while the head rests. Raises RunStopped."""
        self._hand.wait_pass(lasts_ns)

    @property
    def shapes(self) -> bool:
        """Whether the board shapes its ramps, as it said last."""
        return self._hand.shapes

    def _wait_along(self, targets: Sequence[tuple[int, int]], why: str, shapers: tuple[Shaper, Shaper]) -> None:
        hand = self._hand
        for target in targets:
            hand.must_reach(target)
        if not hand.known:
            find_zero(hand, self._people)
            hand.wait_rest()
        ways = zip([hand.at_steps, *targets], targets, strict=False)
        lasts_ns = sum(hand.motion_ns(there, here) for here, there in ways)
        hand.wait_announced(f"{why}, about {duration(lasts_ns / NS)}", self._people.lead_ns)
        hand.wait_armed(shapers)
        for target in targets:
            hand.wait_move(*target)
        hand.wait_rest()
        hand.gate.shut()
