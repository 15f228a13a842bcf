"""A clock set back during the run, on a card whose names give no order, so that later files are among earlier ones.

Such a card looks like a run in which some exposures were made earlier, among the others. Each possible change is compared
with the files like a run of one clock with its exposures in another order. Other changes may explain the same files, and
so may lost and extra files. Only all of them together show which pairs are sure.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.matching.alignment import SHUTTERS, Posterior, believe
from controller.matching.evidence import Array, Evidence
from controller.matching.fit import ClockFit, Clocks, clocks_of, near_density
from controller.matching.rates import Rates

Whole = NDArray[np.int64]
MOST_FILES = 400  # with more, try only the differences between clocks that many files follow: a long run shows them
MOST_WAYS, WEIGHED, OF_ONE_AMOUNT = 2000, 12, 3  # ways scored; weighed in full; and of these, for about the same amount
FEWER = 4  # ways that explain this many fewer files than the best are not weighed
BESIDE = 8  # files further on; exposures from before and after the change may be close enough to swap
ALIKE_S = 2.0  # amounts this close count as the same
ROUGH = 0.3  # of a tick: with less scatter, an amount is known only to within a tick


@dataclass(frozen=True, slots=True)
class Way:
    """The clock was reset before exposure `change`, by `by_s`. `fit` is the clock before it, or with `early` after it."""

    fit: ClockFit
    change: int
    by_s: float
    early: bool

    @property
    def fits(self) -> tuple[ClockFit, ClockFit]:
        """The clocks before and after."""
        other = replace(self.fit, offset_s=self.fit.offset_s + (-self.by_s if self.early else self.by_s))
        return (other, self.fit) if self.early else (self.fit, other)

    def expected_s(self, evidence: Evidence) -> Array:
        """The time of each exposure by the camera's clock, seconds."""
        before, after = (fit.expected_s(evidence) for fit in self.fits)
        return np.where(np.arange(len(before)) < self.change, before, after)


def ways_back(evidence: Evidence, fits: Sequence[ClockFit], mains: Sequence[ClockFit], rates: Rates) -> list[Way]:
    """The likeliest ways in which the clock was set back once, for files in the order of their times.

    `fits` are clocks that some files may follow; one of `mains` applies before the change or after it.
    """
    return [_refined(evidence, way, rates) for way in _likeliest(evidence, fits, mains)]


def believed(evidence: Evidence, way: Way, rates: Rates) -> tuple[Clocks, Posterior]:
    """Clocks and probabilities if the clock was set back in this way: clock 0 before, 1 after."""
    clocks = clocks_of(way.fits, np.zeros(2), evidence.tick_s)
    belief = _believed(evidence, way, rates)
    against = np.minimum(belief.against + _swapped(evidence, way, belief.partner), 1.0)
    return clocks, replace(belief, against=against, log_total=belief.log_total + float(clocks.jumps[0, 1]))


def _swapped(evidence: Evidence, way: Way, partner: Whole) -> Array:
    """The probability that each file swapped places with one from the other side of the change, (files,).

    Files of one tick are left out: see `ties`.
    """
    expected, found = way.expected_s(evidence), np.zeros(len(partner))
    for step in range(1, min(BESIDE, len(partner) - 1) + 1):
        one = np.flatnonzero((partner[:-step] >= 0) & (partner[step:] >= 0))
        other = one + step
        across = (partner[one] < way.change) != (partner[other] < way.change)
        across &= (evidence.tied[one] < 0) | (evidence.tied[one] != evidence.tied[other])
        one, other = one[across], other[across]
        mine, theirs = partner[one], partner[other]
        kept = _density(evidence, way, expected, one, mine) * _density(evidence, way, expected, other, theirs)
        swapped = _density(evidence, way, expected, one, theirs) * _density(evidence, way, expected, other, mine)
        share = swapped / np.maximum(kept + swapped, 1e-300)
        np.add.at(found, one, share)
        np.add.at(found, other, share)
    return found


def _density(evidence: Evidence, way: Way, expected_s: Array, files: Whole, exposures: Whole) -> Array:
    near = near_density(evidence.at_s[files] - expected_s[exposures], way.fit.spread_s, evidence.tick_s)
    return np.asarray((near + 1e-9) * SHUTTERS[evidence.own[files, evidence.which[exposures]] + 1])


def _refined(evidence: Evidence, way: Way, rates: Rates) -> Way:
    """The same way with its amount in the middle of the range in which the files fit."""
    wide = replace(way, fit=replace(way.fit, spread_s=max(way.fit.spread_s, ROUGH * evidence.tick_s)))
    partner = _believed(evidence, wide, rates).partner
    moved = (partner >= 0) & ((partner < way.change) == way.early)
    off = evidence.at_s[moved] + evidence.tick_s / 2 - way.expected_s(evidence)[partner[moved]]
    off = off[np.abs(off) <= max(evidence.tick_s, 0.5)]
    if not len(off):
        return way
    shift = float(off.min() + off.max()) / 2
    return replace(way, by_s=way.by_s + (-shift if way.early else shift))


def _believed(evidence: Evidence, way: Way, rates: Rates) -> Posterior:
    """Probabilities for a run with its exposures in the order in which the camera's clock shows them."""
    expected = way.expected_s(evidence)
    order = np.argsort(expected, kind="stable")
    fit = replace(way.fit, offset_s=float(expected[order[0]]), drift=0.0, late=0)
    moved = replace(
        evidence,
        planned_s=expected[order],
        shutter_s=evidence.shutter_s[order],
        which=evidence.which[order],
        made_before=_reordered(evidence.made_before, order),
        sure_before=_reordered(evidence.sure_before, order),
    )
    belief = believe(moved, clocks_of([fit], np.zeros(1), evidence.tick_s), rates)
    partner, maybe = (np.where(one >= 0, order[np.maximum(one, 0)], -1) for one in (belief.partner, belief.maybe))
    clock = (partner >= way.change).astype(np.int64)
    return replace(belief, partner=partner, maybe=maybe, clock=clock, held=np.ones(2))


def _reordered(before: Whole, order: Whole) -> Whole:
    return np.concatenate([[0], np.cumsum(np.diff(before)[order])])


def _likeliest(evidence: Evidence, fits: Sequence[ClockFit], mains: Sequence[ClockFit]) -> list[Way]:
    found: list[tuple[int, Way]] = []
    for main in mains:
        for early in (False, True):
            found += _scored(evidence, main, early, _amounts(evidence, fits, main, early))
    if not found:
        return []
    found.sort(key=lambda one: -one[0])
    kept: list[Way] = []
    for score, way in found:
        if score < found[0][0] - FEWER or len(kept) == WEIGHED:
            break
        near = [one for one in kept if abs(one.by_s - way.by_s) < ALIKE_S and one.early == way.early]
        if len(near) < OF_ONE_AMOUNT and all(one.change != way.change for one in near):
            kept.append(way)
    return kept


def _amounts(evidence: Evidence, fits: Sequence[ClockFit], main: ClockFit, early: bool) -> Array:
    """Possible shifts of exposures from `main`, seconds.

    Those that move the last (first) exposure to a file, or an exposure to the first (last) file, and the differences
    between clocks.
    """
    at, expected = evidence.at_s + evidence.tick_s / 2, main.expected_s(evidence)
    between = np.array([fit.offset_s - main.offset_s for fit in fits])
    if len(at) > MOST_FILES:
        apart = between
    elif early:
        apart = np.concatenate([between, at - expected[0], at.max() - expected])
    else:
        apart = np.concatenate([between, at - expected[-1], at.min() - expected])
    apart = apart if early else -apart
    apart = apart[apart > max(1.0, evidence.tick_s)]  # smaller shifts keep the order
    _, first = np.unique(np.round(apart / max(evidence.tick_s / 2, 0.2)), return_index=True)
    return np.asarray(apart[first] if early else -apart[first])


def _scored(evidence: Evidence, main: ClockFit, early: bool, amounts: Array) -> list[tuple[int, Way]]:
    """Ways with these amounts, and how many files and exposures each explains."""
    expected, count = main.expected_s(evidence), len(evidence.planned_s)
    if count < 2 or not len(amounts):
        return []
    stay = _near(evidence, expected)
    moved = np.stack([_near(evidence, expected + amount) for amount in amounts])
    first, then = (moved, stay[None, :]) if early else (stay[None, :], moved)
    changes = np.arange(1, count)
    bound = np.cumsum(first, axis=1)[:, :-1] + (then.sum(axis=1, keepdims=True) - np.cumsum(then, axis=1)[:, :-1])
    best = np.argsort(-bound.ravel(), kind="stable")[:MOST_WAYS]
    which, change = best // (count - 1), changes[best % (count - 1)]
    bin_s = max(evidence.tick_s, 0.5)
    low = np.floor(evidence.at_s.min() / bin_s)
    there = np.floor(evidence.at_s / bin_s) - low
    places, wide = np.unique(there, return_counts=True)
    scores = np.zeros(len(best), dtype=np.int64)
    for begin in range(0, len(best), 500):
        part = slice(begin, begin + 500)
        is_moved = (np.arange(count)[None, :] < change[part, None]) == early
        shown = np.floor((expected[None, :] + is_moved * amounts[which[part], None]) / bin_s) - low
        place = np.searchsorted(places, shown)
        hit = places[np.minimum(place, len(places) - 1)] == shown
        rows = np.broadcast_to(np.arange(len(shown))[:, None], shown.shape)
        seen = np.bincount((rows * len(places) + place)[hit], minlength=len(shown) * len(places))
        scores[part] = np.minimum(seen.reshape(len(shown), -1), wide).sum(axis=1)
    top = np.flatnonzero(scores >= scores.max() - FEWER)
    top = top[np.argsort(-scores[top], kind="stable")]
    by_s = -amounts[which] if early else amounts[which]
    return [(int(scores[n]), Way(main, int(change[n]), float(by_s[n]), early)) for n in top.tolist()]


def _near(evidence: Evidence, expected_s: Array) -> NDArray[np.bool_]:
    """Which exposures have a file at their time."""
    at = np.sort(evidence.at_s)
    gate = max(evidence.tick_s, 0.5)
    place = np.searchsorted(at, expected_s - evidence.tick_s - gate / 2)
    return np.asarray(at[np.minimum(place, len(at) - 1)] <= expected_s + gate / 2) & (place < len(at))
