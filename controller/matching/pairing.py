"""Pair files with exposures, and say whether each pair is sure.

Several clocks are tried, and changes from one to another. The rates of lost exposures and extra files are estimated from
the card itself. An extra file at the time of a lost exposure looks right, and its probability depends on how many of both
there are.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from controller.matching.alignment import Posterior, affordable, believe
from controller.matching.camera_clock import clocks_worth_trying, corrected_times_s, fitted_to, going_on
from controller.matching.evidence import Array, Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit, Clocks, clocks_of, priors_of
from controller.matching.rates import Rates, rates_of, shooting_order
from controller.matching.set_back import believed, ways_back
from controller.matching.ties import settled

SURE = 1e-4  # a pair is sure if all else together is less probable; docs/explanation/sure.md says why
LEAST_SHARE = 0.6  # of files or exposures, whichever are fewer; if fewer fit, the card is of another run
LOOSE_S, INNER = 0.15, 0.9  # most scatter of a camera's times about the shutter's; share of the nearest that counts
SET_LOOSE_S, SET_INNER = 0.1, 0.97  # the same about each clock after a reset, when times of another run fit more easily
LEAST_IF_LOOSE = 0.9  # with more scatter, nearly all must be paired
MOST_CHANGES = 2  # most clock changes (ignored shutter times count as one); more are as suspicious as scatter
UNFOUNDED, UNRELATED = 0.01, 0.5  # the least doubt of all pairs in that case, and for a card of another run
SAME_CLOCK_S = 0.5  # a smaller change of the clock is no reset
# The least doubt of an extra file while an exposure is missing: if names give no order, and if its number continues that
# of a paired file. A clock reset before only one or two files leaves too little evidence.
UNORDERED, NEXT_TO = 0.01, 0.001
AT_THE_END = 5.0  # log odds against: most cameras record the beginning. Common practice, no source
ROUNDS = 3
SOUND = 0.9  # least share of the files near exposures that have the planned shutter time
MOST_TURN = 5  # most exposures by which a bracket is out of step
HELD = 1e-12  # clocks less probable than this at every file are left out


@dataclass(frozen=True, slots=True)
class Match:
    """What a file is: `exposure`, an index, or None for an extra file; `doubt` is the probability of anything else.

    `maybe` is a possible exposure if nothing is more probable than all else.
    """

    exposure: int | None
    doubt: float
    maybe: int | None = None

    @property
    def sure(self) -> bool:
        """Whether everything else is less probable than SURE."""
        return self.doubt < SURE


@dataclass(frozen=True, slots=True)
class Pairing:
    """A match for each file and the clock that the camera followed then, an index to `fits`.

    `expected_s` is the camera's time at each exposure. `order` lists the files in the order of shooting. The clock's
    resolution is `tick_s`. Unless `related`, so little fits that the card is of another run. With `any_shutter` the
    camera followed none of the planned shutter times.
    """

    matches: tuple[Match, ...]
    fits: tuple[ClockFit, ...]
    clock: tuple[int, ...]
    expected_s: tuple[float, ...]
    order: tuple[int, ...]
    tick_s: float
    related: bool = True
    any_shutter: bool = False

    @property
    def fit(self) -> ClockFit:
        """The clock of the first file that is paired."""
        paired = (file for file in self.order if self.matches[file].exposure is not None)
        return self.fits[self.clock[next(paired, self.order[0])]]

    def out_of_step(self, file: int) -> bool:
        """Whether the camera's bracket was not where the run assumed."""
        return self.any_shutter or self.fits[self.clock[file]].turn != 0

    def changes(self) -> list[tuple[int, int, float]]:
        """Each clock reset: the last paired file before it, the first after it, and the change in seconds."""
        paired = [file for file in self.order if self.matches[file].exposure is not None]
        found = []
        for before, after in pairwise(paired):
            by_s = self.fits[self.clock[after]].offset_s - self.fits[self.clock[before]].offset_s
            if abs(by_s) > max(SAME_CLOCK_S, self.tick_s / 2):
                found.append((before, after, by_s))
        return found


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """One reading of the card.

    `tried` are the clocks to begin with. `unread`: shutter times in the files are ignored.
    """

    evidence: Evidence
    tried: Sequence[ClockFit]
    clocks: Clocks
    belief: Posterior
    rates: Rates
    unread: bool = False

    @property
    def main(self) -> ClockFit:
        """The clock that most files follow."""
        return self.clocks.fits[int(np.bincount(self.belief.clock).argmax())]

    @property
    def sound(self) -> bool:
        """Whether nearly all possible pairs were found, with the planned shutter times."""
        partner = self.belief.partner
        files = np.flatnonzero(partner >= 0)
        turns = np.array([fit.turn for fit in self.clocks.fits])[self.belief.clock[files]]
        meant = np.clip(partner[files] + turns, 0, len(self.evidence.planned_s) - 1)
        kept = self.evidence.own[files, self.evidence.which[meant]] >= 0
        return bool(kept.sum() >= SOUND * min(len(partner), len(self.evidence.planned_s)))


def pair_up(files: Sequence[FileStamp], exposures: Sequence[ExposureStamp], clock_known: bool = False) -> Pairing:
    """Pair files with exposures, at least one of each; exposures in the order of time, none used twice.

    With `clock_known` the exposures' times come from a correct clock (UTC). A camera's clock is then more probable the
    nearer it is to a time zone's.
    """
    evidence = evidence_of(files, exposures)
    found = _likeliest(evidence, clock_known)
    ways = [found] if evidence.numbered else _in_any_order(files, exposures, found, clock_known)
    found = max(ways, key=lambda one: one.belief.log_total)
    # Shutter times that fit by a clock that does not may be those of the exposures beside.
    if not (found.sound and _close(found)) and (found.evidence.alike != 0).any():
        found = _other_shutters(found.evidence, found, clock_known)
        ways = [found]
    evidence, belief = found.evidence, found.belief
    partner, doubt = settled(evidence, belief.partner, _weighed(found, ways))
    belief = replace(belief, clock=_clock_of(partner, belief))
    found = replace(found, belief=belief)
    doubt = np.maximum(doubt, _left_over(evidence, partner))
    expected = _expected(evidence, found.clocks.fits, partner, belief.clock)
    loose = _loose(evidence, partner, expected, belief.clock) or _changes(belief, partner) + found.unread > MOST_CHANGES
    fitting = float((1 - belief.nobody).sum()) / min(len(files), len(exposures))  # to any exposure
    related = fitting >= (LEAST_IF_LOOSE if loose else LEAST_SHARE)
    if not evidence.numbered and _changes(belief, partner):  # other changes, together with lost files, explain as much
        doubt = np.maximum(doubt, UNORDERED)
    if loose or not related:
        doubt = np.maximum(doubt, UNFOUNDED if related else UNRELATED)
    return _pairing(found, partner, doubt, expected, related)


def _in_any_order(
    files: Sequence[FileStamp], exposures: Sequence[ExposureStamp], found: _Found, clock_known: bool
) -> list[_Found]:
    """Readings of a card whose names give no order: in the order of its times, and with clocks set back, which change
    it.
    """
    evidence, ways = found.evidence, [found]
    if len(found.tried) > 1:
        order = corrected_times_s(evidence, found.tried)
        ways.append(_read(evidence_of(files, exposures, order), found.tried, clock_known))
    likely = max(ways, key=lambda one: one.belief.log_total)
    mains = _distinct([*(likely.clocks.fits[k] for k in np.unique(likely.belief.clock).tolist()), *found.tried], evidence)
    back = ways_back(evidence, found.tried, mains, likely.rates)
    rates = likely.rates
    turned: list[_Found] = []
    for _ in range(2):  # the second time with the rates of the likeliest
        turned = []
        for way in back:
            clocks, belief = believed(evidence, way, rates)
            total = belief.log_total + float(_priors(evidence, way.fits[:1], clock_known)[0])
            turned.append(replace(found, clocks=clocks, belief=replace(belief, log_total=total), rates=rates))
        best = max(turned, key=lambda one: one.belief.log_total, default=likely)
        if best.belief.log_total <= likely.belief.log_total:
            break
        rates = rates_of(evidence, best.belief.partner)
    return [*ways, *turned]


def _distinct(fits: Sequence[ClockFit], evidence: Evidence) -> list[ClockFit]:
    """One clock of each group of nearly equal ones, the first."""
    kept: list[ClockFit] = []
    for fit in fits:
        if all(abs(fit.offset_s - one.offset_s) > max(0.1, evidence.tick_s / 4) for one in kept):
            kept.append(fit)
    return kept


def _weighed(found: _Found, ways: Sequence[_Found]) -> Array:
    """The probability against each pair of the likeliest reading, over all readings. Tied files count as equal."""
    evidence, belief = found.evidence, found.belief
    shares = np.exp(np.array([one.belief.log_total for one in ways]) - belief.log_total)
    against = np.zeros(len(belief.partner))
    for share, one in zip(shares / shares.sum(), ways, strict=True):
        place = np.argsort(one.evidence.files)[evidence.files]
        partner = one.belief.partner[place]
        same = partner == belief.partner
        for group in np.unique(evidence.tied[evidence.tied >= 0]):
            mine = evidence.tied == group
            same[mine] |= np.isin(partner[mine], belief.partner[mine])
        against += share * np.where(same, one.belief.against[place], 1.0)
    return against


def _clock_of(partner: NDArray[np.int64], belief: Posterior) -> NDArray[np.int64]:
    """The clock of each file; it stays with the exposure if tied files swapped theirs."""
    by_exposure = dict(zip(belief.partner.tolist(), belief.clock.tolist(), strict=True))
    own = zip(partner.tolist(), belief.clock.tolist(), strict=True)
    return np.array([by_exposure[one] if one >= 0 else clock for one, clock in own], dtype=np.int64)


def _left_over(evidence: Evidence, partner: NDArray[np.int64]) -> Array:
    """The least doubt of each extra file that could be a missing exposure if the clock were off."""
    made = np.flatnonzero(np.diff(evidence.made_before) > 0)
    least = np.zeros(len(partner))
    if np.isin(made, partner).all():
        return least
    alone = partner < 0
    if not evidence.numbered:
        return np.where(alone, UNORDERED, least)
    next_to = np.zeros(len(partner), dtype=np.bool_)
    next_to[1:] |= (partner[:-1] >= 0) & (evidence.gaps[1:] <= 0)
    next_to[:-1] |= (partner[1:] >= 0) & (evidence.gaps[1:] <= 0)
    return np.where(alone & next_to, NEXT_TO, least)


def _changes(belief: Posterior, partner: NDArray[np.int64]) -> int:
    """The number of clock resets."""
    paired = np.flatnonzero(partner >= 0)
    return int((np.diff(belief.clock[paired[np.argsort(partner[paired])]]) != 0).sum())


def _loose(evidence: Evidence, partner: NDArray[np.int64], expected_s: Array, clock: NDArray[np.int64]) -> bool:
    """Whether the pairs scatter more than a camera's do: by chance, times of another run fit about this well."""
    files = np.flatnonzero(partner >= 0)
    if not len(files):
        return True
    off = evidence.at_s[files] + evidence.tick_s / 2 - expected_s[partner[files]]
    if _scatters(off, evidence.tick_s, INNER, LOOSE_S):
        return True
    used = np.unique(clock[files])
    for one in used:
        off[clock[files] == one] -= np.median(off[clock[files] == one])
    return len(used) > 1 and _scatters(off, evidence.tick_s, SET_INNER, SET_LOOSE_S)


def _close(found: _Found) -> bool:
    """Whether the pairs of a reading scatter as little as a camera's do."""
    partner, clock = found.belief.partner, found.belief.clock
    return not _loose(found.evidence, partner, _expected(found.evidence, found.clocks.fits, partner, clock), clock)


def _scatters(off_s: Array, tick_s: float, inner: float, most_s: float) -> bool:
    """Whether the inner share of these scatters by more than `most_s`, beyond what chance explains."""
    near = np.sort(np.abs(off_s))[: max(1, round(inner * len(off_s)))]
    own = float((near**2).mean()) - (inner * tick_s / 2) ** 2 / 3  # less the tick's share, which is evenly spread
    unsure = 2 * tick_s**2 / 12 * math.sqrt(1 / len(off_s))
    return own > most_s**2 + unsure


def _pairing(found: _Found, partner: NDArray[np.int64], doubt: Array, expected_s: Array, related: bool) -> Pairing:
    evidence, belief, fits = found.evidence, found.belief, found.clocks.fits
    matches: list[Match] = [Match(None, 1.0)] * len(partner)
    clock = [0] * len(partner)
    for place, file in enumerate(evidence.files.tolist()):
        one, wrong, maybe = int(partner[place]), float(doubt[place]), int(belief.maybe[place])
        possible = maybe if one < 0 <= maybe and wrong > SURE else None
        matches[file] = Match(one if one >= 0 else None, wrong, possible)
        clock[file] = int(belief.clock[place])
    order = tuple(evidence.files[shooting_order(partner)].tolist())
    return Pairing(
        tuple(matches), fits, tuple(clock), tuple(expected_s.tolist()), order, evidence.tick_s, related, found.unread
    )


def _expected(
    evidence: Evidence, fits: tuple[ClockFit, ...], partner: NDArray[np.int64], clock: NDArray[np.int64]
) -> Array:
    """The camera's time at each exposure, seconds, by the clock of the file before it, or the first."""
    by_clock = np.stack([fit.expected_s(evidence) for fit in fits])
    paired = np.flatnonzero(partner >= 0)
    count = len(evidence.planned_s)
    if not len(paired):
        return np.asarray(by_clock[clock[0]])
    by_exposure = paired[np.argsort(partner[paired], kind="stable")]
    place = np.searchsorted(partner[by_exposure], np.arange(count), side="right") - 1
    return np.asarray(by_clock[clock[by_exposure[np.maximum(place, 0)]], np.arange(count)])


def _likeliest(evidence: Evidence, clock_known: bool) -> _Found:
    """The likeliest reading: the camera recorded the beginnings of exposures, or the ends."""
    found = [_read(evidence, fits, clock_known) for fits in clocks_worth_trying(evidence)]
    return max(found, key=lambda one: one.belief.log_total - one.main.late * AT_THE_END)


def _read(evidence: Evidence, fits: Sequence[ClockFit], clock_known: bool) -> _Found:
    """Alternate between pair probabilities and the rates and clocks fitted to them, for some rounds."""
    rates = Rates()
    fits = [_by_itself(evidence, fit, rates) for fit in fits]
    clocks = _together(evidence, fits, clock_known)
    settled_on = None
    for number in range(ROUNDS):
        belief = believe(evidence, clocks, rates)
        if number == ROUNDS - 1 or (settled_on is not None and np.array_equal(belief.partner, settled_on)):
            break
        settled_on = belief.partner
        rates = rates_of(evidence, belief.partner)
        more = going_on(evidence, clocks.fits, belief.partner, belief.clock) if number == 0 else []
        kept = [k for k in range(len(clocks.fits)) if more or belief.held[k] > HELD]
        fitted = []
        for k in kept:
            mine = np.flatnonzero((belief.partner >= 0) & (belief.clock == k))
            fitted.append(fitted_to(evidence, clocks.fits[k], mine, belief.partner[mine]))
        fitted += more
        clocks = _together(evidence, fitted, clock_known)
    return _Found(evidence, fits, clocks, belief, rates)


def _together(evidence: Evidence, fits: Sequence[ClockFit], clock_known: bool) -> Clocks:
    weighed = affordable(evidence, fits)
    return clocks_of(weighed, _priors(evidence, weighed, clock_known), evidence.tick_s)


def _by_itself(evidence: Evidence, fit: ClockFit, rates: Rates) -> ClockFit:
    """A clock fitted as if the card had no other, so that other clocks' files do not make it look worse."""
    partner = believe(evidence, clocks_of([fit], np.zeros(1), evidence.tick_s), rates).partner
    mine = np.flatnonzero(partner >= 0)
    found = fitted_to(evidence, fit, mine, partner[mine])
    return found if abs(found.offset_s - fit.offset_s) <= evidence.tick_s else fit


def _priors(evidence: Evidence, fits: Sequence[ClockFit], clock_known: bool) -> Array:
    """Log prior probability of each clock."""
    return priors_of(fits, float(evidence.planned_s[0])) if clock_known else np.zeros(len(fits))


def _other_shutters(evidence: Evidence, found: _Found, clock_known: bool) -> _Found:
    """A reading with a bracket out of step, or with shutter times ignored, if that explains the card better."""
    blind = evidence.without_shutters()
    unread = replace(_likeliest(blind, clock_known), unread=True)
    cost = len(evidence.at_s) * math.log(max(2, evidence.alike.shape[1]))  # each file may be any exposure of the bracket
    if unread.belief.log_total - cost <= found.belief.log_total:
        return found
    most = min(evidence.alike.shape[1], MOST_TURN)
    turned = _read(evidence, [replace(unread.main, turn=turn) for turn in range(1 - most, most)], clock_known)
    return turned if turned.belief.log_total > unread.belief.log_total - cost else unread
