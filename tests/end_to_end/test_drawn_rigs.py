"""Whatever a head does within what its kit states, every exposure is still."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from tests.end_to_end.drawn_rigs import drawn_frames, drawn_kit, inside, outside, shoot

# Of each kind one: plain, tables over pitch, second modes, play, and two that swing on after the reference run.
SEEDS = (0, 1, 3, 4, 8, 10, 12, 16, 17, 31, 149, 180)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_exposure_is_still_on_a_rig_as_its_kit_states(seed: int, tmp_path: Path) -> None:
    random = Random(seed)
    kit = drawn_kit(random)
    frames = drawn_frames(kit, random)
    shot = shoot(kit, frames, inside(kit, random), tmp_path)
    assert len(shot.truth) == len(frames)
    assert [one for one in shot.truth if not one.still] == []


def test_the_truth_can_tell(tmp_path: Path) -> None:
    """On rigs that swing otherwise than their kits state, some exposures are not still."""
    moved = 0
    for seed in range(8):
        random = Random(seed)
        kit = drawn_kit(random)
        moved += sum(not one.still for one in shoot(kit, drawn_frames(kit, random), outside(kit, random), tmp_path).truth)
    assert moved
