"""Which moves pass the switches at zero, where the board notes whether the steps that were counted were really made.

A switch is passed for sure only between two stops that stand clear of it on either side; one that stands at it may have
changed already, or not yet.
"""

from collections.abc import Sequence
from dataclasses import replace

from controller.kit.kit import Axis, Kit
from controller.program.program import MoveStep, Step

CLEAR_DEG = 0.25  # far beyond the scatter of an optical switch. Common practice, no source
BEYOND_DEG = 1.0  # how far past zero the last move of a program ends, to pass what has not been passed


def tolerance_steps(axis: Axis) -> int:
    """How far from zero a switch may be seen to change.

    A motor that loses its place loses whole electrical cycles of four full steps (makers' handbooks of stepper motors;
    value from memory): half of one tells. Play comes on top when the switch is passed the other way.
    """
    return round(2 * axis.microsteps + axis.backlash_deg * axis.steps_per_degree)


class Side:
    """On which side of zero an axis last stood clear of its switch: 1 above, -1 below, 0 not yet on either."""

    def __init__(self, axis: Axis) -> None:
        self._axis = axis
        self._clear = max(1.0, CLEAR_DEG * axis.steps_per_degree)
        self.last = 0

    def passes(self, steps: int) -> bool:
        """Whether going there has surely taken it past the switch since it last stood clear."""
        side = 0 if abs(steps) < self._clear else 1 if steps > 0 else -1
        passed = self._axis.zero_switch and side * self.last < 0
        self.last = side or self.last
        return passed

    def beyond(self, steps: int) -> int:
        """Where it would have passed, a little past zero; `steps`, where it stands, if it cannot or need not go there."""
        goal = beyond(self._axis, -self.last)
        return goal if goal and self._axis.zero_switch else steps


def beyond(axis: Axis, side: int) -> int:
    """A place a little past zero on that side, 0 where the limits leave no room or side is 0."""
    goal = side * round(BEYOND_DEG * axis.steps_per_degree)
    return goal if axis.min_deg <= goal / axis.steps_per_degree <= axis.max_deg else 0


def with_passes(steps: Sequence[Step], kit: Kit, standing: tuple[int, int]) -> tuple[list[Step], tuple[int, int] | None]:
    """The same steps, each move knowing whether it passes the switches; and where to go for a last look, if anywhere.

    `standing` is where the head stands before them, in steps.
    """
    pan, tilt = Side(kit.head.pan), Side(kit.head.tilt)
    marked: list[Step] = []
    here = standing
    pan.passes(here[0])
    tilt.passes(here[1])
    for step in steps:
        if isinstance(step, MoveStep):
            here = (step.pan_steps, step.tilt_steps)
            marked.append(replace(step, passes_pan=pan.passes(here[0]), passes_tilt=tilt.passes(here[1])))
        else:
            marked.append(step)
    look = (pan.beyond(here[0]), tilt.beyond(here[1]))
    return marked, None if look == here else look
