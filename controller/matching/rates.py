"""How often exposures are lost and extra files come, estimated from a card's pairs."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.matching.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Rates:
    """How often things go wrong on this card.

    `lost`: share of the exposures that count. `never`: share of these that used no file number. `extra_hz`: extra files a
    second, outside bursts. `skipped`: share of the files before which numbers are missing that no exposure used.
    """

    lost: float = 0.02
    never: float = 0.3
    extra_hz: float = 1e-3
    skipped: float = 0.02


def shooting_order(partner: NDArray[np.int64]) -> NDArray[np.int64]:
    """The order of shooting: by exposure, with each extra file after the file before it."""
    before = np.maximum.accumulate(np.where(partner >= 0, np.arange(len(partner)), -1))
    at = np.where(before >= 0, partner[before], -1)
    return np.argsort(at + 0.5 * (partner < 0), kind="stable")


def rates_of(evidence: Evidence, partner: NDArray[np.int64]) -> Rates:
    """The rates by these partners (see `alignment.Posterior`); the usual rates count as a few extra cases."""
    order = shooting_order(partner)
    partner, all_gaps = partner[order], evidence.gaps[order]
    exposures, files = len(evidence.planned_s), len(evidence.at_s)
    made = int(evidence.made_before[-1])
    chosen = np.flatnonzero(partner >= 0)
    within = np.zeros(files, dtype=np.bool_)
    if len(chosen):
        within[chosen[0] : chosen[-1]] = True
    extra = int((within & (partner < 0)).sum())
    run_s = max(float(np.ptp(evidence.planned_s)), 60.0)
    lost = never = skipped = known = 0
    gone = 0
    for gap, one in zip(all_gaps.tolist(), partner.tolist(), strict=True):
        if one < 0:
            continue
        missed = int(evidence.made_before[one] - evidence.made_before[gone])
        lost += missed
        if gap >= 0:
            known += missed
            never += max(missed - gap, 0)
            skipped += gap > one - gone
        gone = one + 1
    lost += int(evidence.made_before[exposures] - evidence.made_before[gone])
    return Rates(
        lost=min((lost + 0.5) / (made + 50), 0.5),
        never=(never + 0.3) / (known + 1),
        extra_hz=(extra + 0.3) / (run_s + 60),
        skipped=(skipped + 1) / (files + 50),
    )
