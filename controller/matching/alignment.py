"""Align files and exposures in order, with gaps on either side, and sum over all alignments to get each pair's
probability.

A hidden Markov model over the files (R. Durbin et al., Biological Sequence Analysis, 1998, section 4.1, pair HMM; forward
and backward sums as in L. Rabiner, Proc. IEEE 77:257, 1989, section III). The state after a file is the clock that the
camera follows and the number of exposures so far. A file belongs to the next exposure, or to a later one after some that
left no file, or to none: an extra file. Extra files come in bursts (a self-exciting process: A. G. Hawkes, Biometrika
58:83, 1971), so the state also says whether the last file was extra. The clock may change before each file, at a low
probability.

The result is not the single best alignment but each pair's share of the sum of all. So an extra file that could replace a
lost one counts as doubt.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from controller.matching.evidence import Array, Evidence
from controller.matching.fit import ClockFit, Clocks, near_density
from controller.matching.rates import Rates

Whole = NDArray[np.int64]
RUN_ON = math.log(0.8)  # lost and extra files come in runs: a card that failed, a series shot by hand
UNMADE = math.log(0.5)  # probability that an exposure that did not count still left a file
SHUTTERS = np.array([0.01 / 20, 1.0, 0.99])  # different from planned, unknown, as planned
USUAL_SHUTTER, ODD_SHUTTER = 0.9, 0.1 / 20  # probabilities for an extra file
BURST, BURST_S = 0.5, 5.0  # of another extra file next, and its time scale in seconds. Our own choice, no source
OUTSIDE_HZ = 0.05  # extra files a second before and after the run: other pictures on the card
ASTRAY = 0.01  # share of files whose exposure was later than the session knows, because the line repeated a command
NEVER_IF_CONFIRMED = math.log(1e-3)  # of the lost ones: the sync contact closed, but the camera counted no file
NO_ROOM = 1e-4  # share of paired files for which the sequence has no number left
MOST_GAP = 60  # larger gaps in the numbers add no information
MOST_WINDOW = 48  # exposures considered for one file
AT_ONCE = 1_000_000  # moves in memory at once
MOST_MOVES = 20_000_000  # most moves between states for a card, half a second's work; clocks beyond that are left out


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """The probabilities summed over all alignments.

    `partner`, (files,): the exposure that is more probable than everything else together, -1 for none. `against`,
    (files,): the probability of everything else. `nobody`, (files,): the probability of an extra file. `maybe`, (files,):
    the most probable exposure however small its probability, -1 if there is none. `clock`, (files,): the most probable
    clock. `held`, (clocks,): the greatest probability of each at any file. `log_total`: of the card as a whole.
    """

    partner: Whole
    against: Array
    nobody: Array
    maybe: Whole
    clock: Whole
    held: Array
    log_total: float


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """All moves between states, as probabilities.

    `first` and `last`, (files, clocks): the range of the number of exposures so far after a file, by each clock. `open`,
    (files, clocks): whether a clock may begin to apply at a file. `alone`, (2, files, clocks): densities of an extra file
    after a paired one and after an extra one. `pairs`, (files, clocks, width): density of a file that is exposure `first`
    + n.
    """

    evidence: Evidence
    clocks: Clocks
    skips: "Skips"
    first: Whole
    last: Whole
    open: NDArray[np.bool_]
    alone: Array
    pairs: Array

    @property
    def width(self) -> int:
        """The most exposures considered for one file."""
        return int(self.pairs.shape[2])

    def gone_by(self, files: slice) -> Whole:
        """Exposures so far in each state, (files, clocks * (width + 1))."""
        count = self.first[files, :, None] + np.arange(self.width + 1)
        return np.asarray(np.minimum(count, len(self.evidence.planned_s)).reshape(len(count), -1))

    def allowed(self, files: slice) -> NDArray[np.bool_]:
        """Which states exist, (files, clocks * (width + 1))."""
        there = self.first[files, :, None] + np.arange(self.width + 1) <= self.last[files, :, None]
        return there.reshape(len(there), -1)

    def start(self) -> Array:
        """From the beginning to each state before the first file's own exposure."""
        to = self.gone_by(slice(0, 1))[0]
        weights = np.repeat(np.exp(self.clocks.weights), self.width + 1)
        return np.asarray(self.skips.between(np.zeros_like(to), to, -1) * weights * self.allowed(slice(0, 1))[0])

    def moves(self) -> Iterator[tuple[int, Array]]:
        """For each file after the first: its index and (states before, states before its own exposure), in order."""
        for begin, end in self._parts():
            yield from zip(range(begin, end), self._moves(begin, end), strict=True)

    def moves_back(self) -> Iterator[tuple[int, Array]]:
        """The same, from the last file to the second."""
        for begin, end in reversed(list(self._parts())):
            yield from zip(range(end - 1, begin - 1, -1), self._moves(begin, end)[::-1], strict=True)

    def ending(self) -> Array:
        """From each state after the last file: the probability that no remaining exposure leaves a file."""
        gone = self.gone_by(slice(-1, None))[0]
        whole = np.full_like(gone, len(self.evidence.planned_s))
        return np.asarray(self.skips.between(gone, whole, -1) * self.allowed(slice(-1, None))[0])

    def _parts(self) -> Iterator[tuple[int, int]]:
        files, states = len(self.first), self.first.shape[1] * (self.width + 1)
        step = max(1, AT_ONCE // states**2)
        for begin in range(1, files, step):
            yield begin, min(files, begin + step)

    def _moves(self, begin: int, end: int) -> Array:
        before, after = self.gone_by(slice(begin - 1, end - 1)), self.gone_by(slice(begin, end))
        gaps = self.evidence.gaps[begin:end, None, None]
        chance = self.skips.between(before[:, :, None], after[:, None, :], gaps)
        chance = chance * self.allowed(slice(begin, end))[:, None, :]
        if self.first.shape[1] == 1:
            return np.asarray(chance)
        jumps = np.exp(self.clocks.jumps)
        same = np.eye(len(jumps), dtype=np.bool_)
        turns = np.where(same, jumps, jumps * self.open[begin:end, None, :])
        wide = np.repeat(np.repeat(turns, self.width + 1, axis=1), self.width + 1, axis=2)
        return np.asarray(chance * wide)


@dataclass(frozen=True, slots=True, eq=False)
class Skips:
    """Probabilities that so many exposures left no file, given how many numbers are missing.

    `counts`, (exposures + 1,) each: exposures of one kind so far. `tables`, (gaps + 2, -most ... most): the probability
    by the number of that kind skipped; the first row is for an unknown gap.
    """

    counts: tuple[Whole, ...]
    tables: tuple[Array, ...]
    most: int

    @staticmethod
    def of(evidence: Evidence, rates: Rates) -> "Skips":
        """The tables of a card; kinds with equal counts share one table."""
        most = len(evidence.planned_s)
        whole = np.arange(most + 1)
        gaps = np.arange(-1, min(MOST_GAP, max(0, int(evidence.gaps.max()))) + 1)
        by_kind = (
            (whole, _strange(whole, gaps, rates)),
            (evidence.made_before, _lost(whole, gaps, rates)),
            (evidence.sure_before, np.where((whole > gaps[:, None]) & (gaps[:, None] >= 0), NEVER_IF_CONFIRMED, 0.0)),
            (whole - evidence.made_before, np.broadcast_to(whole * UNMADE, (len(gaps), most + 1))),
        )
        counts: list[Whole] = []
        logs: list[Array] = []
        for count, log in by_kind:
            alike = [place for place, other in enumerate(counts) if np.array_equal(count, other)]
            if alike:
                logs[alike[0]] = logs[alike[0]] + log
            elif count[-1] > 0 or log[:, 0].any():
                counts.append(count)
                logs.append(log)
        backward = np.zeros((len(gaps), most))
        return Skips(tuple(counts), tuple(np.hstack([backward, np.exp(log)]) for log in logs), most)

    def between(self, before: Whole, after: Whole, gap: "Whole | int") -> Array:
        """The probability that the exposures from `before` to `after` left no file; 0 if `after` is less."""
        row = np.minimum(gap, MOST_GAP) + 1
        found = None
        for count, table in zip(self.counts, self.tables, strict=True):
            skipped = count[after] - count[before] + self.most
            chance = table.ravel()[skipped + row * table.shape[1]]
            found = chance if found is None else found * chance
        assert found is not None
        return np.asarray(found)


def _lost(made: Whole, gaps: Whole, rates: Rates) -> Array:
    chance = np.where(made > 0, math.log(rates.lost) + (made - 1) * RUN_ON, math.log1p(-rates.lost))
    unused = np.maximum(made - gaps[:, None], 0)  # exposures for which the camera used no number
    never = math.log(rates.never) + (unused - 1) * RUN_ON
    used = np.where(made > 0, math.log1p(-rates.never), 0.0)
    return np.asarray(chance + np.where(gaps[:, None] < 0, 0.0, np.where(unused > 0, never, used)))


def _strange(skipped: Whole, gaps: Whole, rates: Rates) -> Array:
    strange = np.where(gaps[:, None] < 0, 0, np.maximum(gaps[:, None] - skipped, 0))
    return np.where(strange > 0, math.log(rates.skipped) + (strange - 1) * RUN_ON, 0.0)


def affordable(evidence: Evidence, fits: Sequence[ClockFit]) -> list[ClockFit]:
    """The clocks, likeliest first, that can be weighed together in bounded time; always includes the first.

    It leaves out clocks only on large cards with many possible ones: cards of another run, or of a session whose own
    clock jumped by years.
    """
    begins, ends, _ = _windows(evidence, fits)
    first, last = _in_turn(begins, ends)
    kept, widest = [0], int((last - first)[:, 0].max())
    for number, width in enumerate((last - first).max(axis=0).tolist()):
        states = (len(kept) + 1) * (max(widest, width) + 1)
        if number and len(begins) * states**2 <= MOST_MOVES:
            kept.append(number)
            widest = max(widest, width)
    return [fits[number] for number in kept]


def chain_of(evidence: Evidence, clocks: Clocks, rates: Rates) -> Chain:
    """The chain of a card with these clocks and rates."""
    begins, ends, outside = _windows(evidence, clocks.fits)
    first, last = _in_turn(begins, ends)
    held = (first <= begins) & (ends <= last) & (ends > begins)
    width = max(1, int((last - first).max()))
    alone = rates.extra_hz * np.where(evidence.usual, USUAL_SHUTTER, ODD_SHUTTER)[:, None]
    alone = np.where(outside, OUTSIDE_HZ, alone)
    soon = BURST * np.exp(-np.abs(np.diff(evidence.at_s, prepend=-np.inf)) / BURST_S) / BURST_S
    alone = np.stack([alone, alone + soon[:, None]]) / (last - first + 1)
    pairs = np.stack([_densities(evidence, clocks, k, first[:, k], width) for k in range(len(clocks.fits))], axis=1)
    exposures = first[:, :, None] + np.arange(width)
    pairs *= (exposures >= begins[:, :, None]) & (exposures < ends[:, :, None]) & held[:, :, None]
    pairs *= np.where(evidence.room, 1.0, NO_ROOM)[:, None, None]
    return Chain(evidence, clocks, Skips.of(evidence, rates), first, last, held, alone, pairs)


def _windows(evidence: Evidence, fits: Sequence[ClockFit]) -> tuple[Whole, Whole, NDArray[np.bool_]]:
    """The range of exposures near each file by each clock, and whether the file is outside the run, (files, clocks)."""
    at, begins, ends, outside = evidence.at_s, [], [], []
    for fit in fits:
        expected, gate = fit.expected_s(evidence), fit.gate_s(evidence.tick_s)
        # Late stamps of long exposures can change the order of the expected times. The windows only have to contain them
        # all.
        begin = np.searchsorted(np.maximum.accumulate(expected), at - gate)
        end = np.searchsorted(np.minimum.accumulate(expected[::-1])[::-1], at + gate)
        middle = np.clip(np.searchsorted(np.maximum.accumulate(expected), at), begin, np.maximum(begin, end))
        begins.append(np.maximum(begin, middle - MOST_WINDOW // 2))
        ends.append(np.minimum(np.maximum(end, begins[-1]), begins[-1] + MOST_WINDOW))
        outside.append((at < expected.min() - gate) | (at > expected.max() + gate))
    return np.stack(begins, axis=1), np.stack(ends, axis=1), np.stack(outside, axis=1)


def _in_turn(begins: Whole, ends: Whole) -> tuple[Whole, Whole]:
    """Windows for the number of exposures so far, from those of the files.

    A file with no exposure near it keeps the window. A file near exposures that came before leaves room for them, within
    bounds, because it may be extra. For a clock that does not apply yet, windows may move back.
    """
    first, last = begins.copy(), ends.copy()
    near = ends > begins
    first[0], last[0] = np.where(near[0], begins[0], 0), np.where(near[0], ends[0], 0)
    for file in range(1, len(first)):
        back = (ends[file] < first[file - 1]) & (last[file - 1] - begins[file] <= MOST_WINDOW)
        first[file] = np.where(near[file], begins[file], first[file - 1])
        last[file] = np.where(near[file] & ~back, ends[file], last[file - 1])
    return first, last


def _densities(evidence: Evidence, clocks: Clocks, number: int, first: Whole, width: int) -> Array:
    """The density of each file as exposure `first` + n by one clock, (files, width)."""
    fit = clocks.fits[number]
    exposures = np.minimum(first[:, None] + np.arange(width), len(evidence.planned_s) - 1)
    apart = evidence.at_s[:, None] - fit.expected_s(evidence)[exposures]
    density = near_density(apart, fit.spread_s, evidence.tick_s)
    turned = np.clip(exposures + fit.turn, 0, len(evidence.planned_s) - 1)
    alike = np.take_along_axis(evidence.alike, evidence.which[turned], axis=1)
    return np.asarray(((1 - ASTRAY) * density + ASTRAY / (2 * fit.gate_s(evidence.tick_s))) * SHUTTERS[alike + 1])


def believe(evidence: Evidence, clocks: Clocks, rates: Rates) -> Posterior:
    """The probability of each pair with these clocks and rates."""
    chain = chain_of(evidence, clocks, rates)
    reached, log_total = _forward(chain)
    later = _backward(chain)
    shape = (len(evidence.at_s), 2, len(clocks.fits), chain.width + 1)
    reached, later = np.moveaxis(reached.reshape(shape), 1, 0), np.moveaxis(later.reshape(shape), 1, 0)
    alone = (reached * chain.alone[:, :, :, None]).sum(axis=0) * later[1]
    paired = reached.sum(axis=0)[:, :, :-1] * chain.pairs * later[0][:, :, 1:]
    whole = alone.sum(axis=(1, 2)) + paired.sum(axis=(1, 2))
    whole = np.where(whole > 0, whole, 1.0)
    by_clock = (alone.sum(axis=2) + paired.sum(axis=2)) / whole[:, None]
    nobody = alone.sum(axis=(1, 2)) / whole
    partner, maybe, against = _chosen(chain, nobody, paired / whole[:, None, None])
    return Posterior(partner, against, nobody, maybe, by_clock.argmax(axis=1), by_clock.max(axis=0), log_total)


def _chosen(chain: Chain, nobody: Array, paired: Array) -> tuple[Whole, Whole, Array]:
    exposures = (chain.first[:, :, None] + np.arange(chain.width)).reshape(len(nobody), -1)
    chances = paired.reshape(len(nobody), -1)
    best = chances.argmax(axis=1)
    rows = np.arange(len(nobody))
    maybe = np.where(chances[rows, best] > 0, exposures[rows, best], -1)
    mine = exposures == maybe[:, None]
    wins = (chances * mine).sum(axis=1) > 0.5  # more than half: no other file can have this exposure
    # Computing this as one minus the probability would lose small values.
    against = np.where(wins, nobody + (chances * ~mine).sum(axis=1), chances.sum(axis=1))
    return np.where(wins, maybe, -1), maybe, against


def _forward(chain: Chain) -> tuple[Array, float]:
    """The probability of each state just before a file's own exposure, (files, 2, states), up to a factor; and the log
    total.

    Index 0: the file before is paired; index 1: it is extra.
    """
    start = chain.start()
    before = np.stack([start, np.zeros_like(start)])
    found, log_total = [before], 0.0
    after, log_total = _scaled(_through(chain, 0, before))
    for file, move in chain.moves():
        before = after @ move
        found.append(before)
        after, log = _scaled(_through(chain, file, before))
        log_total += log
    whole = float((after * chain.ending()).sum())
    return np.array(found), log_total + (math.log(whole) if whole > 0 else LOST_LOG)


LOST_LOG = -700.0  # for a card without any alignment in order


def _scaled(chances: Array) -> tuple[Array, float]:
    whole = float(chances.sum())
    if whole > 0:
        return chances / whole, math.log(whole)
    return np.full_like(chances, 1 / chances.size), LOST_LOG  # no alignment in order: start again from here


def _through(chain: Chain, file: int, before: Array) -> Array:
    """The states after a file, from those before it, (2, states)."""
    states = before.reshape(2, -1, chain.width + 1)
    after = np.zeros_like(states)
    after[0, :, 1:] = states.sum(axis=0)[:, :-1] * chain.pairs[file]
    after[1] = (states * chain.alone[:, file, :, None]).sum(axis=0)
    return after.reshape(2, -1)


def _backward(chain: Chain) -> Array:
    """The probability of the later files from each state after a paired or an extra file, (files, 2, states), up to a
    factor.
    """
    later = np.stack([chain.ending()] * 2)
    found = [later]
    for file, move in chain.moves_back():
        states = later.reshape(2, -1, chain.width + 1)
        through = states[1] * chain.alone[:, file, :, None]
        through[:, :, :-1] += states[0, :, 1:] * chain.pairs[file]
        later, _ = _scaled(through.reshape(2, -1) @ move.T)
        found.append(later)
    return np.array(found[::-1])
