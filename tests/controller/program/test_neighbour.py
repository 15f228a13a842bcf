"""The move to the next frame of a row."""

from __future__ import annotations

import pytest

from controller.program.neighbour import neighbour_move
from tests.end_to_end.whole_runs import kit_of


@pytest.mark.parametrize("shaped", [True, False])
@pytest.mark.parametrize("play_deg", [0.02, 0.05, 0.2])
def test_play_is_not_met_within_a_row(play_deg: float, shaped: bool) -> None:
    """A row goes one way, so only its first move takes up the play. It may change which shaper suits the row best."""
    head = {"ring_hz": 4.0, "ring_damping": 0.03}
    play = {axis: {"backlash_deg": play_deg} for axis in ("pan", "tilt")}
    without, with_play = (neighbour_move(kit_of(100.0, head=each), shaped=shaped) for each in (head, {**head, **play}))
    assert with_play.turning_s + with_play.wait_s == pytest.approx(without.turning_s + without.wait_s, rel=0.1)
