"""Files and exposures in order, with gaps on either side: how probable each pair is, all alignments taken together.

A hidden Markov model over the files (R. Durbin et al., Biological Sequence Analysis, 1998, section 4.1, pair HMM; forward
and backward sums as in L. Rabiner, Proc. IEEE 77:257, 1989, section III). The state after a file is how many exposures
have gone by; a file is the next exposure's, or one after some that left no file, or nobody's. Not the one best alignment
counts but the share that all those with a pair have of the whole, so that an extra file that could stand in for a lost
one is told as a doubt.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from controller.matching.evidence import Array, Evidence

RUN_ON = math.log(0.8)  # what is lost or extra comes in rows: a card that failed, a series by hand
UNMADE = math.log(0.5)  # an exposure that did not count left a file, or did not
SHUTTERS = np.array([math.log(0.01 / 20), 0.0, math.log(0.99)])  # another than planned, not known, as planned
USUAL_SHUTTER, ODD_SHUTTER = math.log(0.9), math.log(0.1 / 20)  # of a file that is nobody's
OUTSIDE = math.log(0.05)  # files a second, before and after the run: what else is on a card
ASTRAY = 0.01  # of the files, whose exposure came later than the session knows: a line that had to repeat
NEVER_IF_CONFIRMED = math.log(1e-3)  # of the lost ones: the contact answered, but the camera counted no file


@dataclass(frozen=True, slots=True)
class Rates:
    """How often things go wrong on this card.

    `lost`, of the exposures that count; `never`, which of these used no file number; `extra_hz`, files a second that are
    nobody's; `skipped`, of the files, before which numbers are left out that no exposure used.
    """

    lost: float = 0.02
    never: float = 0.3
    extra_hz: float = 1e-3
    skipped: float = 0.02


@dataclass(frozen=True, slots=True)
class Fit:
    """The camera's clock: it shows `offset_s` + (1 + `drift`) t at the session's time t after its first exposure, with a
    scatter of `spread_s`; it is read `late` shutter times after the opening (0 or 1).
    """

    offset_s: float
    drift: float
    spread_s: float
    late: int = 0

    def expected_s(self, evidence: Evidence) -> Array:
        """When each exposure should have been by the camera's clock, (exposures,)."""
        since = evidence.planned_s - evidence.planned_s[0] + self.late * evidence.shutter_s
        return np.asarray(self.offset_s + since * (1 + self.drift))

    def gate_s(self, tick_s: float) -> float:
        """How far a file may lie from its exposure."""
        return 1.0 + tick_s + 6 * self.spread_s


@dataclass(frozen=True, slots=True, eq=False)
class Belief:
    """How probable each alignment is.

    `partner`, (files,): the exposure that is more probable than all else together, -1 for none. `against`, (files,): the
    probability of everything but that. `maybe`, (files,): the most probable exposure, be it what it may, -1 where there
    is none. `log_total`: of the card as a whole.
    """

    partner: NDArray[np.int64]
    against: Array
    maybe: NDArray[np.int64]
    log_total: float


@dataclass(frozen=True, slots=True, eq=False)
class _Link:
    """One file in the chain: exposures gone by after it may number `first` to `last`.

    Logarithms: `move`, (what had gone by before, what has gone by just before this file's own exposure), of the exposures
    that left no file between; `alone`, that the file is nobody's; `pairs`, (last - first,), that it is one of exposures
    `first` to `last` - 1.
    """

    first: int
    last: int
    move: Array
    alone: float
    pairs: Array

    def after(self, reached: Array) -> tuple[Array, Array]:
        """The sums over all ways to and through this file from those before it, by exposures gone by: nobody's, and
        one's.
        """
        ways = np.logaddexp.reduce(reached[:, None] + self.move, axis=0)
        return np.asarray(ways + self.alone), np.asarray(ways[:-1] + self.pairs)

    def before(self, later: Array) -> Array:
        """The sums over all ways through this file and what comes later, by exposures gone by before it."""
        through = self.alone + later
        through[:-1] = np.logaddexp(through[:-1], self.pairs + later[1:])
        return np.asarray(np.logaddexp.reduce(self.move + through[None, :], axis=1))


def near_density(apart_s: Array, spread_s: float, tick_s: float) -> Array:
    """The density, a second, of the beginning of a clock's tick this far after an exposure that it is to hold."""
    return np.asarray((ndtr((apart_s + tick_s) / spread_s) - ndtr(apart_s / spread_s)) / tick_s)


def likelihood(evidence: Evidence, fit: Fit, rates: Rates) -> float:
    """The logarithm of the probability of the card under this clock."""
    links = _chain(evidence, fit, rates)
    return float(np.logaddexp.reduce(_forward(links)[-1] + _ending(evidence, links[-1], rates)))


def believe(evidence: Evidence, fit: Fit, rates: Rates) -> Belief:
    """How probable each pair is under this clock and these rates."""
    links = _chain(evidence, fit, rates)
    ending = _ending(evidence, links[-1], rates)
    forward, backward = _forward(links), _backward(links, ending)
    total = float(np.logaddexp.reduce(forward[-1] + ending))
    partner, maybe = np.full((2, len(links)), -1, dtype=np.int64)
    against = np.zeros(len(links))
    for file, link in enumerate(links):
        alone, paired = link.after(forward[file])
        nobody = float(np.exp(alone + backward[file] - total).sum())
        chances = np.exp(paired + backward[file][1:] - total)
        against[file] = chances.sum()
        if not len(chances):
            continue
        best = int(chances.argmax())
        maybe[file] = link.first + best
        if chances[best] > 0.5:  # then no other file can have it
            partner[file] = maybe[file]
            # Not one less its chance, which would lose what is small.
            against[file] = nobody + chances[:best].sum() + chances[best + 1 :].sum()
    return Belief(partner, against, maybe, total)


def _chain(evidence: Evidence, fit: Fit, rates: Rates) -> list[_Link]:
    expected, gate, tick = fit.expected_s(evidence), fit.gate_s(evidence.tick_s), evidence.tick_s
    # Late stamps of long exposures can change the order of what is expected; the windows need only hold them all.
    firsts = np.searchsorted(np.maximum.accumulate(expected), evidence.at_s - gate).tolist()
    lasts = np.searchsorted(np.minimum.accumulate(expected[::-1])[::-1], evidence.at_s + gate).tolist()
    outside = (evidence.at_s < expected.min() - gate) | (evidence.at_s > expected.max() + gate)
    within = math.log(rates.extra_hz) + np.where(evidence.usual, USUAL_SHUTTER, ODD_SHUTTER)
    alone = np.where(outside, OUTSIDE, within).tolist()
    links: list[_Link] = []
    gone_by = np.zeros(1, dtype=np.int64)
    for file, (first, last) in enumerate(zip(firsts, lasts, strict=True)):
        density = near_density(evidence.at_s[file] - expected[first:last], fit.spread_s, tick)
        alike = evidence.alike[file, evidence.which[first:last]]
        pairs = np.log((1 - ASTRAY) * density + ASTRAY / (2 * gate)) + SHUTTERS[alike + 1]
        going_by = np.arange(first, last + 1)
        move = _skip(evidence, rates, gone_by, going_by, int(evidence.gaps[file]))
        links.append(_Link(first, last, move, alone[file] - math.log(last - first + 1), pairs))
        gone_by = going_by
    return links


def _skip(evidence: Evidence, rates: Rates, before: NDArray[np.int64], after: NDArray[np.int64], gap: int) -> Array:
    """The logarithm of the probability that exposures went by without a file, with so many numbers left out.

    From each of `before` to each of `after` exposures gone by, (before, after); -inf where that is backward. A `gap` of
    -1 is not known.
    """
    skipped = after[None, :] - before[:, None]
    made = evidence.made_before[after][None, :] - evidence.made_before[before][:, None]
    chance = np.where(made > 0, math.log(rates.lost) + (made - 1) * RUN_ON, math.log1p(-rates.lost))
    chance = chance + (skipped - made) * UNMADE
    if gap >= 0:
        sure = evidence.sure_before[after][None, :] - evidence.sure_before[before][:, None]
        unused = np.maximum(made - gap, 0)  # of these the camera counted none
        never = math.log(rates.never) + (unused - 1) * RUN_ON + (sure > gap) * NEVER_IF_CONFIRMED
        used = np.where(made > 0, math.log1p(-rates.never), 0.0)
        strange = np.maximum(gap - skipped, 0)
        chance = chance + np.where(unused > 0, never, used)
        chance = chance + np.where(strange > 0, math.log(rates.skipped) + (strange - 1) * RUN_ON, 0.0)
    return np.where(skipped >= 0, chance, -np.inf)


def _forward(links: list[_Link]) -> list[Array]:
    """Before each file and after the last: logarithms of the sums over what came before, by exposures gone by."""
    sums = [np.zeros(1)]
    for link in links:
        alone, paired = link.after(sums[-1])
        alone[1:] = np.logaddexp(alone[1:], paired)
        sums.append(alone)
    return sums


def _backward(links: list[_Link], ending: Array) -> list[Array]:
    """After each file: logarithms of the sums over what comes later, by exposures gone by."""
    sums = [ending]
    for link in links[:0:-1]:
        sums.append(link.before(sums[-1]))
    return sums[::-1]


def _ending(evidence: Evidence, last: _Link, rates: Rates) -> Array:
    """The logarithm of the probability that what has not gone by after the last file left none."""
    gone_by = np.arange(last.first, last.last + 1)
    return _skip(evidence, rates, gone_by, np.array([len(evidence.planned_s)]), -1)[:, 0]
