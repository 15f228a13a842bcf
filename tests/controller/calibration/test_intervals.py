"""The headline: over 1,000 simulated rigs the truth lies within the stated 95 % interval in 93 to 97 % of cases."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from controller.calibration.readings import NotBelievable
from tests.controller.calibration import rigs
from tests.controller.calibration.rigs import Rng

RIGS = 1000
# A stated error that is true still looks too small in 1 of 1,000 sets, which is then refused.
MOST_REFUSED = 10


def share_of_hits(case: Callable[[Rng, int], list[bool]]) -> list[float]:
    """The share of rigs whose truth lies in the interval, for each quantity of `case`."""
    hits: list[list[bool]] = []
    for seed in range(RIGS):
        try:
            hits.append(case(np.random.default_rng(seed), seed))
        except NotBelievable:
            continue
    assert len(hits) >= RIGS - MOST_REFUSED
    return [float(share) for share in np.mean(hits, axis=0)]


@pytest.mark.parametrize(
    "case",
    [
        rigs.angles_of_part_of_a_turn,
        rigs.angles_of_a_turn_without_wave,
        rigs.angles_of_a_turn_with_a_wave,
        rigs.whole_turns,
        rigs.play,
        rigs.lean,
        pytest.param(rigs.repeatability, marks=pytest.mark.long),
    ],
)
def test_the_truth_lies_where_it_is_said_to_lie(case: Callable[[Rng, int], list[bool]]) -> None:
    for share in share_of_hits(case):
        assert 0.93 <= share <= 0.97


def test_a_wave_as_large_as_the_scatter_is_the_hardest() -> None:
    """It is seen in some sets and hides in others: there the interval may hold the truth a little less often."""
    (share,) = share_of_hits(lambda rng, seed: rigs.whole_turn(rng, seed, amplitude=0.8))
    assert share >= 0.89
