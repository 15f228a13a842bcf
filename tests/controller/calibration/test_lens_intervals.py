"""Marks, photographs and vibrations: the stated intervals contain the truth, also when assumptions are violated.

With only a few rigs here, the bounds are those that chance breaks once in ten thousand (the binomial distribution). The
bench has 400 of each.
"""

from __future__ import annotations

import pytest
from scipy.stats import binom

from tests.controller.calibration.lens_rigs import HOLDING, STRAINED, share_held

LEAST_HOLDING, LEAST_STRAINED = 0.92, 0.90
BY_CHANCE = 1e-4
MOST_REFUSED = 0.05  # of sound rigs


def rigs_of(name: str) -> int:
    """The number of rigs that take about a second."""
    return {"ring": 16, "settle": 24, "shaping": 24}.get(name.split(",", maxsplit=1)[0], 24 if "picture" in name else 200)


def fewest(rigs: int, share: float) -> int:
    """How many of `rigs` at least contain the truth, but for one chance in ten thousand, if `share` of all do."""
    return int(binom.ppf(BY_CHANCE, rigs, share))


@pytest.mark.parametrize("name", HOLDING)
def test_a_sound_rig_is_held_and_not_refused(name: str) -> None:
    rigs = rigs_of(name)
    held, refused = share_held(HOLDING[name], rigs)
    assert round(refused * rigs) <= binom.ppf(1 - BY_CHANCE, rigs, MOST_REFUSED)
    stated = round((1 - refused) * rigs)
    assert min(held) * stated >= fewest(stated, LEAST_HOLDING)


@pytest.mark.parametrize("name", STRAINED)
def test_a_strained_rig_is_held_or_refused(name: str) -> None:
    rigs = rigs_of(name)
    held, refused = share_held(STRAINED[name], rigs)
    stated = round((1 - refused) * rigs)
    assert min(held) * stated >= fewest(stated, LEAST_STRAINED)
