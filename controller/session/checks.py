"""The axes that were not checked, derived from the rows of a session."""

from collections.abc import Container, Iterable
from dataclasses import dataclass

from controller.kit.kit import Kit
from controller.program.index import zone_of
from controller.session.rows import AXES, ShotRow


@dataclass(frozen=True, slots=True)
class CheckRow:
    """The switch at zero of this axis was seen in its place, which checks all exposures up to number `upto`."""

    axis: str
    upto: int


def unchecked_axes(
    kit: Kit, shots: Iterable[ShotRow], checks: Iterable[CheckRow], by_hand: Container[int] = frozenset()
) -> tuple[str, ...]:
    """The axes that may have lost steps unnoticed during exposures that count, in the order of AXES.

    These are axes with no switch at zero, or no room to pass it, and axes with an exposure after their last check.
    `shots` are the rows that count (made, and under no doubt). Frames shot `by_hand` depend on no axis.
    """
    latest = max((shot.number for shot in shots if shot.intent.frame not in by_hand and _made(shot)), default=0)
    checked = dict.fromkeys(AXES, 0)
    for check in checks:
        checked[check.axis] = max(checked[check.axis], check.upto)
    for axis, spec in (("pan", kit.head.pan), ("tilt", kit.head.tilt)):
        if zone_of(kit.head, spec) is None:
            checked[axis] = 0
    return tuple(axis for axis in AXES if checked[axis] < latest)


def _made(shot: ShotRow) -> bool:
    return shot.outcome is not None and shot.outcome.made
