"""The axes that were not checked, derived from rows."""

from __future__ import annotations

import pytest

from controller.kit.kit import Kit
from controller.session.checks import CheckRow, unchecked_axes
from controller.session.rows import Intent, ShotOutcome, ShotRow
from tests.end_to_end.whole_runs import kit_of


def shot(number: int, outcome: ShotOutcome | None = ShotOutcome.CONFIRMED) -> ShotRow:
    """The exposure of this number, of the frame with the same number."""
    return ShotRow(number, Intent(number, 0, 1, number, 0.0, 0.0, 0.01), 0, outcome, 1, 1)


BLIND = kit_of(head={"pan": {"zero_switch": False}})
NO_ROOM = kit_of(head={"tilt": {"min_deg": 0.0}})
BOTH = [CheckRow("pan", 2), CheckRow("tilt", 2)]


@pytest.mark.parametrize(
    ("kit", "shots", "checks", "axes"),
    [
        (kit_of(), [], [], ()),
        (kit_of(), [shot(1)], [], ("pan", "tilt")),
        (kit_of(), [shot(1), shot(2)], BOTH, ()),
        (kit_of(), [shot(1), shot(2), shot(3)], BOTH, ("pan", "tilt")),
        (kit_of(), [shot(1), shot(2), shot(3)], [*BOTH, CheckRow("tilt", 3)], ("pan",)),
        (kit_of(), [shot(1), shot(2)], [*BOTH, CheckRow("tilt", 1)], ()),
        (kit_of(), [shot(2), shot(3, ShotOutcome.UNCONFIRMED), shot(4, None)], BOTH, ()),
        (kit_of(), [shot(2), shot(3, ShotOutcome.ASSUMED)], BOTH, ("pan", "tilt")),
        (BLIND, [shot(1), shot(2)], BOTH, ("pan",)),
        (BLIND, [], BOTH, ()),
        (NO_ROOM, [shot(1), shot(2)], BOTH, ("tilt",)),
    ],
)
def test_an_axis_is_unchecked_after_its_last_check(
    kit: Kit, shots: list[ShotRow], checks: list[CheckRow], axes: tuple[str, ...]
) -> None:
    assert unchecked_axes(kit, shots, checks) == axes


def test_a_frame_by_hand_depends_on_no_axis() -> None:
    assert unchecked_axes(kit_of(), [shot(2), shot(3)], BOTH, by_hand={3}) == ()
