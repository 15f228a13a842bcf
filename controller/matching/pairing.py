"""Which file is which exposure, and whether that is sure.

Several clocks are tried. How often exposures are lost and files are nobody's is estimated from the card itself, because
an extra file that falls where a lost exposure should be looks right: how much that is to be feared depends on how many
of both there are.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.matching.alignment import Belief, Fit, Rates, believe, likelihood
from controller.matching.camera_clock import clocks_worth_trying, fitted_to
from controller.matching.evidence import Array, Evidence, ExposureStamp, FileStamp, evidence_of

SURE = 1e-6  # a pair is called sure where everything else together is less probable
MUCH, UNSETTLED = 0.12, 0.05  # of the exposures, both lost and with files to spare; what may then be wrong of any pair
LIKELY = 25.0  # clocks less probable than the best by more than this, in its logarithm, are not looked at
ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Match:
    """What a file is: `exposure`, an index, or None for nobody's, and how probable anything else is.

    `maybe` is the exposure that it might be, where nothing is more probable than all else.
    """

    exposure: int | None
    doubt: float
    maybe: int | None = None

    @property
    def sure(self) -> bool:
        """Whether there is nothing else that it could be."""
        return self.doubt < SURE


@dataclass(frozen=True, slots=True)
class Pairing:
    """A match for each file; the camera's clock, what it should have shown at each exposure, and how finely it is
    read.
    """

    matches: tuple[Match, ...]
    fit: Fit
    expected_s: tuple[float, ...]
    tick_s: float
    unsettled: bool = False
    """So much is left over on both sides that nothing is sure."""


def pair_up(files: Sequence[FileStamp], exposures: Sequence[ExposureStamp]) -> Pairing:
    """Pair files with exposures, at least one of each, both in the order of their times. No exposure is in two pairs."""
    evidence, weighed = _weighed(evidence_of(files, exposures))
    likely = [fit for weight, fit in weighed if weight > weighed[0][0] - LIKELY]
    rates = Rates()
    for _ in range(ROUNDS):
        beliefs = [believe(evidence, fit, rates) for fit in likely]
        best = max(range(len(likely)), key=lambda number: beliefs[number].log_total)
        rates = _rates(evidence, beliefs[best].partner, likely[best])
        likely = [fitted_to(evidence, fit, belief.partner) for fit, belief in zip(likely, beliefs, strict=True)]
    matches, expected = _together(beliefs, best), likely[best].expected_s(evidence)
    unsettled = _unsettled(evidence, matches, expected)
    if unsettled:
        matches = tuple(replace(match, doubt=max(match.doubt, UNSETTLED)) for match in matches)
    return Pairing(matches, likely[best], tuple(expected.tolist()), evidence.tick_s, unsettled)


def _unsettled(evidence: Evidence, matches: Sequence[Match], expected: Array) -> bool:
    """Whether so many files and so many exposures are left over that one clock cannot be all: it was set anew,
    perhaps.
    """
    within = (evidence.at_s > expected.min()) & (evidence.at_s < expected.max())
    chosen = np.array([match.exposure is not None for match in matches])
    made = int(evidence.made_before[-1])
    return min(made - int(chosen.sum()), int((within & ~chosen).sum())) > max(MUCH * made, 6)


def _weighed(evidence: Evidence) -> tuple[Evidence, list[tuple[float, Fit]]]:
    """Clocks with the logarithms of their probabilities, the best first, and the evidence that speaks for it.

    Shutter times are left out where that explains the card better, though each file is then any of the bracket.
    """
    found = []
    blind = evidence.without_shutters()
    for each, cost in ((evidence, 0.0), (blind, len(evidence.at_s) * math.log(max(2, evidence.alike.shape[1])))):
        clocks = [(likelihood(each, fit, Rates()) - cost, fit) for fit in clocks_worth_trying(each)]
        found.append((each, sorted(clocks, key=lambda one: -one[0])))
        if not (evidence.alike > 0).any():
            break
    return max(found, key=lambda one: one[1][0][0])


def _together(beliefs: list[Belief], best: int) -> tuple[Match, ...]:
    """The best clock's matches, their doubts those of all clocks together."""
    logs = np.array([belief.log_total for belief in beliefs])
    weights = np.exp(logs - np.logaddexp.reduce(logs))
    partner = beliefs[best].partner
    doubt = np.zeros(len(partner))
    for weight, belief in zip(weights, beliefs, strict=True):
        doubt += weight * np.where(belief.partner == partner, belief.against, 1.0)
    chosen = zip(partner.tolist(), doubt.tolist(), beliefs[best].maybe.tolist(), strict=True)
    return tuple(
        Match(one, wrong) if one >= 0 else Match(None, wrong, maybe if maybe >= 0 and wrong > SURE else None)
        for one, wrong, maybe in chosen
    )


def _rates(evidence: Evidence, partner: NDArray[np.int64], fit: Fit) -> Rates:
    """How often things go wrong on this card, with what is usual counted in as a few cases."""
    exposures, files = len(evidence.planned_s), len(evidence.at_s)
    made = int(evidence.made_before[-1])
    expected, gate = fit.expected_s(evidence), fit.gate_s(evidence.tick_s)
    within = (evidence.at_s > expected.min() - gate) & (evidence.at_s < expected.max() + gate)
    extra = int((within & (partner < 0)).sum())
    run_s = max(float(np.ptp(expected)), 60.0)
    lost = never = skipped = known = 0
    gone = 0
    for gap, one in zip(evidence.gaps.tolist(), partner.tolist(), strict=True):
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
