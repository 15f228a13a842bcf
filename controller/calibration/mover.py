"""Moving one axis at a time, for a measurement."""

from controller.amounts import duration
from controller.calibration.records import AxisName
from controller.capture.hand import Hand
from controller.capture.people import People
from controller.capture.zero import find_zero
from protocol.units import NS


class HandMover:
    """Moves one axis at a time, for a measurement. `moved` is the axis that moved last."""

    def __init__(self, hand: Hand, people: People) -> None:
        self._hand, self._people = hand, people
        self.moved = AxisName.PAN

    def wait_go_to(self, axis: AxisName, *stops: int) -> None:
        """Announce, then move one axis to these absolute steps in turn, and come to rest. Zero is found first if needed.

        Between calls the head rests disarmed, so that the board waits for a reading for as long as it takes. Raises
        InputError, WorldError.
        """
        hand = self._hand
        hand.wait_known()
        pan, tilt = hand.at_steps
        targets = [(steps, tilt) if axis is AxisName.PAN else (pan, steps) for steps in stops]
        for target in targets:
            hand.must_reach(target)
        per_degree = hand.steps_per_degree[0 if axis is AxisName.PAN else 1]
        if not hand.known:
            find_zero(hand, self._people)
            hand.wait_rest()
        ways = zip([hand.at_steps, *targets], targets, strict=False)
        lasts_ns = sum(hand.motion_ns(there, here) for here, there in ways)
        why = f"{axis.value} turns to {stops[-1] / per_degree:.1f}°, about {duration(lasts_ns / NS)}"
        hand.wait_announced(why, self._people.lead_ns)
        hand.wait_armed()
        self.moved = axis
        for target in targets:
            hand.wait_move(*target)
        hand.wait_rest()
        hand.gate.shut()
