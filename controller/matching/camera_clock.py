"""The clocks that a camera may have followed: candidate offsets, and a fit of offset, drift and scatter.

No offset is assumed. Clocks are set to the wrong zone, the wrong day, or never, and some are reset in the middle of a
run. With the right offset many differences between file time and exposure time agree, so these are counted, for several
drifts because drift blurs them. The candidates are: common offsets, offsets whole hours from the best one or close to it,
and offsets that continue the sequence after a clock change. A hidden Markov model of the clock alone compares them file
by file; it ignores that no exposure has two files. Every clock that could apply anywhere is kept for the alignment.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from controller.matching.evidence import Array, Evidence
from controller.matching.fit import ClockFit

KEPT = 8  # clocks kept
COUNTED = 24  # common offsets kept
AROUND_S, STEP_S = 24.0, 0.5  # all offsets this close to the best are tried, because rows and brackets look alike
HOURS, ZONE_STEP_S = 14, 1800.0  # whole zones are tried up to this many hours away
FEW = 3  # files needed to tell two clocks apart
GOING_ON = 6  # clocks kept because the file numbers continue with them
SEGMENTS = 3  # clock segments, one after the other
GOES_ON = 12  # files searched after a break for another clock that continues the numbers
MOST_DRIFT = 2.5e-4  # 22 s a day; a worse clock is broken. Common practice, no source
MOST_DRIFTS = 41  # drifts tried; enough for a session of some weeks, unless its own clock jumped
MOST_DIFFERENCES = 60_000
FINEST_SPREAD_S, COARSEST_SPREAD_S, FIRST_SPREAD_S = 0.02, 0.5, 0.1
ASTRAY_DENSITY = 0.01  # per second, for files near no exposure
CHANGE = 1e-6  # probability that the clock changes before a file
WORTH = 1e-6, 1e-10  # least probability, at any file, of a clock that is kept; the second if no other explains it
LONG_SHUTTER_S = 0.3  # longer shutter times show whether a camera records the beginning or the end
LIKELY = (
    30.0,
    2.0,
)  # ways less probable than the best by more than this, in its logarithm, and for each file, are left out
PLACES = 6  # breaks, from either end, at which numbers and exposures stop agreeing
AMONG_OTHERS = -3.0  # log probability of a file of another clock
USUAL_DRIFT = 1e-4  # 10 s a day; the card must show evidence of more. Common practice, no source


def clocks_worth_trying(evidence: Evidence) -> list[list[ClockFit]]:
    """Clocks by which the files, or some consecutive ones, coincide with exposures; the one that most follow comes first.

    The camera may record the beginning of an exposure or its end. There is one list for each that is plausible, the
    likeliest first.
    """
    late = (0, 1) if np.ptp(evidence.shutter_s) > LONG_SHUTTER_S else (0,)
    found = sorted((_of_one_way(evidence, way) for way in late), key=lambda one: -one[0])
    least = found[0][0] - LIKELY[0] - LIKELY[1] * len(evidence.at_s)
    return [fits for total, fits in found if total > least]


def _of_one_way(evidence: Evidence, late: int) -> tuple[float, list[ClockFit]]:
    """How well a camera that records the beginning or the end explains the files (log), and its clocks."""
    first, common = _common(evidence, late)
    best = _refined(evidence, first, np.arange(len(evidence.at_s)))
    around = np.arange(-AROUND_S, AROUND_S + STEP_S / 2, STEP_S)
    offsets = np.unique(np.concatenate([best.offset_s + around, common]))
    scanned = Scan(evidence, best, offsets)
    held, total = scanned.held()
    used = scanned.used(held)
    if len(used) > 1 or not scanned.explains(held):
        zones = np.arange(-HOURS, HOURS + 0.1, ZONE_STEP_S / 3600) * 3600
        fitted = [_refined(evidence, replace(best, offset_s=float(offsets[c])), scanned.mine(held, c)) for c in used]
        more = np.concatenate([fit.offset_s + zones for fit in fitted or [best]])
        scanned = Scan(evidence, best, np.unique(np.concatenate([offsets, more])))
        held, total = scanned.held()
    fits = [best]
    for column in scanned.worth(held):
        fit = replace(best, offset_s=float(scanned.offset_s[column]), spread_s=FIRST_SPREAD_S)
        fit = _refined(evidence, fit, scanned.mine(held, column))
        apart = max(0.1, evidence.tick_s / 4)
        if all(abs(fit.offset_s - other.offset_s) > apart for other in fits):
            fits.append(fit)
        if len(fits) == KEPT:
            break
    return total, fits


class Scan:
    """A coarse comparison of offsets with every file."""

    def __init__(self, evidence: Evidence, best: ClockFit, offset_s: Array) -> None:
        self.evidence, self.offset_s = evidence, offset_s
        self.tick_s = max(evidence.tick_s, STEP_S)
        self.plain = ClockFit(0.0, best.drift, FIRST_SPREAD_S, best.late).expected_s(evidence)
        off, self.exposure = _nearest(evidence, self.plain, offset_s)
        past = np.maximum(np.abs(off) - self.tick_s / 2, 0.0) / (2 * FIRST_SPREAD_S)
        self.chance = 0.9 / self.tick_s * np.exp(-past * past / 2) + ASTRAY_DENSITY

    def held(self) -> tuple[Array, float]:
        """The probability of each offset at each file, (files, offsets), and the log of the total."""
        files, count = self.chance.shape
        forward, total = np.empty((files, count)), 0.0
        state = np.full(count, 1 / count)
        for file in range(files):
            state = ((1 - CHANGE) * state + CHANGE / count) * self.chance[file]
            whole = float(state.sum())
            state, total = state / whole, total + math.log(whole)
            forward[file] = state
        later = np.ones(count)
        for file in range(files - 1, -1, -1):
            forward[file] *= later
            forward[file] /= forward[file].sum()
            seen = later * self.chance[file]
            later = (1 - CHANGE) * seen + CHANGE / count * seen.sum()
            later /= later.max()
        return forward, total

    def _ahead(self) -> NDArray[np.int64]:
        """The number of exposures between the first file and each file, if the numbers show every loss."""
        return np.cumsum(np.maximum(self.evidence.gaps, 0) + 1)

    def mine(self, held: Array, column: int) -> NDArray[np.int64]:
        """The files that most likely follow an offset, if any do."""
        return np.flatnonzero(held[:, column] > 0.3 * held[:, column].max())

    def used(self, held: Array) -> list[int]:
        """The offsets that at least a few files most likely follow, the most common first."""
        columns, counts = np.unique(held.argmax(axis=1), return_counts=True)
        order = np.argsort(-counts, kind="stable")
        return [int(column) for column in columns[order][:4] if counts[columns == column][0] >= FEW]

    def explains(self, held: Array) -> bool:
        """Whether nearly every file is near an exposure by its most likely offset."""
        chance = np.take_along_axis(self.chance, held.argmax(axis=1)[:, None], axis=1)
        return bool((chance > 5 * ASTRAY_DENSITY).mean() > 0.95)

    def worth(self, held: Array) -> list[int]:
        """The offsets worth fitting, the best first; those with which the numbers continue come first."""
        most, where = held.max(axis=0), held.argmax(axis=0)
        main = held.argmax(axis=1)
        ahead = self._ahead()
        lag = self.exposure - ahead[:, None]
        mine = np.take_along_axis(lag, main[:, None], axis=1)[:, 0]
        off = np.abs(lag[where, np.arange(len(most))] - np.median(mine))
        score = np.log(most + 1e-300) - 2.0 * np.minimum(off, 6)
        order = np.argsort(-score, kind="stable")
        explained = self.chance[where, main[where]] > 5 * ASTRAY_DENSITY
        worth = most > np.where(explained, *WORTH)
        first = list(dict.fromkeys(main[np.argsort(-held.max(axis=1), kind="stable")].tolist()))
        return [*first, *(int(column) for column in order if worth[column] and column not in first)]


def _nearest(evidence: Evidence, plain: Array, offset_s: Array) -> tuple[Array, NDArray[np.int64]]:
    """The distance from the middle of each file's tick to the nearest possible exposure by each offset, and that
    exposure.

    Both have shape (files, offsets); distances in seconds.
    """
    wanted = evidence.at_s[:, None] + evidence.tick_s / 2 - offset_s[None, :]
    off, exposure = np.full(wanted.shape, np.inf), np.zeros(wanted.shape, dtype=np.int64)
    for mine, any_order in evidence.kinds:
        if not len(any_order):
            continue
        usable = any_order[np.argsort(plain[any_order], kind="stable")]
        times = plain[usable]
        place = np.searchsorted(times, wanted[mine])
        low, high = np.maximum(place - 1, 0), np.minimum(place, len(times) - 1)
        before, after = wanted[mine] - times[low], wanted[mine] - times[high]
        near = np.abs(before) < np.abs(after)
        off[mine] = np.where(near, before, after)
        exposure[mine] = usable[np.where(near, low, high)]
    return off, exposure


def _differences(evidence: Evidence, plain: Array, drift: float) -> Array:
    """Offsets that most pairs of file and exposure share for this drift, to within a bin."""
    some = slice(None, None, max(1, math.ceil(len(plain) * len(evidence.at_s) / MOST_DIFFERENCES)))
    agree = evidence.alike[some][:, evidence.which] >= 0
    apart = ((evidence.at_s[some] + evidence.tick_s / 2)[:, None] - plain[None, :] * (1 + drift))[agree]
    if not len(apart):
        return evidence.at_s[:1]
    bin_s = max(evidence.tick_s, 0.25)
    places, counts = np.unique(np.floor(apart / bin_s).astype(np.int64), return_counts=True)
    both = counts + np.where(np.diff(places, append=places[-1:]) == 1, np.roll(counts, -1), 0)
    least = np.partition(both, -min(COUNTED, len(both)))[-min(COUNTED, len(both))]
    some_top = np.flatnonzero(both >= least)
    top = some_top[np.argsort(-both[some_top], kind="stable")[:COUNTED]]
    return np.asarray((places[top] + 1.0) * bin_s)


def _common(evidence: Evidence, late: int) -> tuple[ClockFit, Array]:
    """The clock that explains most files, and the offsets that most pairs of file and exposure share."""
    plain = ClockFit(0.0, 0.0, FIRST_SPREAD_S, late).expected_s(evidence)
    steps = math.ceil(MOST_DRIFT * float(np.ptp(plain)) / max(evidence.tick_s, 0.25))
    drifts = np.linspace(-MOST_DRIFT, MOST_DRIFT, min(2 * steps + 1, MOST_DRIFTS)) if steps > 1 else np.zeros(1)
    found: list[tuple[float, ClockFit, Array]] = []
    for drift in drifts.tolist():
        offsets = _differences(evidence, plain, drift)
        near = np.unique((offsets[:, None] + np.arange(-1.0, 1.01, STEP_S / 2)).ravel())
        scan = Scan(evidence, ClockFit(0.0, drift, FIRST_SPREAD_S, late), near)
        sums = np.log(scan.chance).sum(axis=0)
        best = int(sums.argmax())
        found.append((float(sums[best]), ClockFit(float(near[best]), drift, FIRST_SPREAD_S, late), offsets))
    return max(found, key=lambda one: one[0])[1:]


def _refined(evidence: Evidence, fit: ClockFit, files: NDArray[np.int64]) -> ClockFit:
    """The clock fitted to the close ones of these files, with a shrinking limit."""
    gate = evidence.tick_s / 2 + max(STEP_S / 2, 3 * FIRST_SPREAD_S)
    for _ in range(4):
        off, exposure = _nearest(evidence, fit.expected_s(evidence) - fit.offset_s, np.array([fit.offset_s]))
        close = files[np.abs(off[files, 0]) <= gate]
        if not len(close):
            return fit
        fit = _fitted(evidence, fit, exposure[close, 0], off[close, 0])
        gate = max(evidence.tick_s / 2 + 4 * fit.spread_s, 0.1)
    return fit


def fitted_to(evidence: Evidence, fit: ClockFit, files: NDArray[np.int64], exposures: NDArray[np.int64]) -> ClockFit:
    """The clock fitted to these pairs of file and exposure."""
    if len(files) < 3:
        return fit
    residuals = evidence.at_s[files] + evidence.tick_s / 2 - fit.expected_s(evidence)[exposures]
    close = np.abs(residuals - np.median(residuals)) <= evidence.tick_s / 2 + 5 * fit.spread_s
    return _fitted(evidence, fit, exposures[close], residuals[close]) if close.sum() >= 3 else fit


def _fitted(evidence: Evidence, fit: ClockFit, exposures: NDArray[np.int64], residuals: Array) -> ClockFit:
    """Offset by least squares, drift if the run is long enough to show it, and the remaining scatter."""
    since = fit.expected_s(evidence)[exposures] - fit.offset_s
    spread = _spread(residuals, evidence.tick_s)
    slope, shift = 0.0, float(residuals.mean())
    if len(residuals) > 3 and np.ptp(since) * MOST_DRIFT > spread / 4:
        x = since - since.mean()
        known = (spread**2 + evidence.tick_s**2 / 12) / USUAL_DRIFT**2
        drift = float(x @ (residuals + fit.drift * x) / (x @ x + known))
        slope = float(np.clip(drift, -MOST_DRIFT, MOST_DRIFT)) - fit.drift
        shift = float((residuals - slope * since).mean())
        spread = _spread(residuals - slope * since - shift, evidence.tick_s)
    return ClockFit(fit.offset_s + shift, fit.drift + slope, spread, fit.late, fit.turn)


def _spread(residuals: Array, tick_s: float) -> float:
    """The scatter in excess of the tick's (variance tick^2 / 12), plus an allowance for its own uncertainty."""
    off = np.abs(residuals - np.median(residuals))
    variance = float(np.median(off) * 1.4826) ** 2 if tick_s < 1 else float(residuals.var())
    own = math.sqrt(max(variance - tick_s**2 / 12, 0.0))
    unsure = math.sqrt((variance + tick_s**2 / 12) / len(residuals))
    return min(max(math.hypot(own, 2 * unsure), FINEST_SPREAD_S), COARSEST_SPREAD_S)


def corrected_times_s(evidence: Evidence, fits: Sequence[ClockFit]) -> Array:
    """The times of the given files by the session's clock, seconds, if the camera followed these clocks: (files,), up to
    drift.

    For files sorted by a clock that was set back. Each file follows the clock of its neighbours, unless another explains
    it far better.
    """
    scan = Scan(evidence, fits[0], np.array([fit.offset_s for fit in fits]))
    held, _ = scan.held()
    others = np.full(len(fits), -np.inf)
    others[scan.used(held)] = AMONG_OTHERS
    score = np.log(scan.chance) + np.maximum(np.log(held + 1e-300), others)
    since = np.empty(len(held))
    since[evidence.files] = evidence.at_s - scan.offset_s[score.argmax(axis=1)]
    return since


def going_on(
    evidence: Evidence, fits: Sequence[ClockFit], partner: NDArray[np.int64], clock: NDArray[np.int64]
) -> list[ClockFit]:
    """Clocks that continue the sequence after a place where numbers and exposures stop agreeing.

    A clock reset by about the interval between two exposures looks like some lost files and some extra ones. `partner`
    and `clock`, (files,), are each file's current exposure and clock.
    """
    ahead = np.cumsum(np.maximum(evidence.gaps, 0) + 1)
    last = len(evidence.planned_s) - 1
    found: list[tuple[int, ClockFit]] = []
    for way, exposure, anchor in _ways_on(partner, last):
        onward = exposure + ahead[way] - ahead[anchor]
        here = (onward >= 0) & (onward <= last)
        files, exposures = way[here], onward[here]
        for _ in range(SEGMENTS):
            if len(files):
                fit, count = _in_a_row(evidence, fits[clock[anchor]], files, exposures)
                whole = count == len(files) and files[-1] in {0, len(partner) - 1}
                if count >= FEW or whole:
                    found.append((count, fit))
                files, exposures = files[count:], exposures[count:]
    kept: list[ClockFit] = []
    for _, fit in sorted(found, key=lambda one: -one[0]):
        if all(abs(fit.offset_s - one.offset_s) > max(0.1, evidence.tick_s / 4) for one in [*fits, *kept]):
            kept.append(fit)
    return kept[:GOING_ON]


def _ways_on(partner: NDArray[np.int64], last: int) -> Iterator[tuple[NDArray[np.int64], int, int]]:
    """Consecutive files, forward or back, the exposure they start from, and that exposure's file.

    They start from either end, and from places where files or exposures are left over.
    """
    count = len(partner)
    yield np.arange(count), 0, 0
    yield np.arange(count - 1, -1, -1), last, count - 1
    paired = np.flatnonzero(partner >= 0)
    broken = np.flatnonzero((np.diff(partner[paired]) != 1) | (np.diff(paired) != 1))
    for place in paired[broken[:PLACES]].tolist():
        yield np.arange(place + 1, min(count, place + 1 + GOES_ON)), int(partner[place]), place
    for place in paired[broken[-PLACES:] + 1].tolist():
        yield np.arange(place - 1, max(-1, place - 1 - GOES_ON), -1), int(partner[place]), place
    if len(paired) and paired[-1] < count - 1:
        yield np.arange(paired[-1] + 1, count), int(partner[paired[-1]]), int(paired[-1])
    if len(paired) and paired[0] > 0:
        yield np.arange(paired[0] - 1, -1, -1), int(partner[paired[0]]), int(paired[0])


def _in_a_row(
    evidence: Evidence, fit: ClockFit, files: NDArray[np.int64], exposures: NDArray[np.int64]
) -> tuple[ClockFit, int]:
    """The clock by which as many of these files as possible, from the first on, are these exposures, and how many."""
    plain = replace(fit, offset_s=0.0).expected_s(evidence)[exposures]
    off = evidence.at_s[files] + evidence.tick_s / 2 - plain
    lowest, highest = np.minimum.accumulate(off), np.maximum.accumulate(off)
    count = int((highest - lowest <= evidence.tick_s + 4 * FIRST_SPREAD_S).sum())
    middle = float(lowest[count - 1] + highest[count - 1]) / 2
    return _fitted(evidence, replace(fit, offset_s=middle), exposures[:count], off[:count] - middle), count
