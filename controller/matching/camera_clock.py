"""The camera's clock against the session's: offsets worth trying, and offset, drift and scatter fitted.

No offset is taken for granted: clocks are set to the wrong zone, the wrong day, or never. One that is right has many
differences of time between file and exposure in common, so those are counted, for steps of drift, which smears them.
"""

import math

import numpy as np
from numpy.typing import NDArray

from controller.matching.alignment import Fit, near_density
from controller.matching.evidence import Array, Evidence

TRIED = 8  # clocks
COUNTED = 40  # offsets whose clocks are fitted
AROUND_S, STEP_S = 8.0, 0.5  # near the best offset all are looked at: rows and brackets look like one another
FINE_S = 0.05  # ... and this finely, as the exposures of a bracket may follow one another in a third of a second
MOST_DRIFT = 2.5e-4  # 22 s a day; a clock that is worse is broken. Common practice, no source
SAME_S = 0.1  # offsets nearer than this are of the same clock
MOST_DIFFERENCES = 400_000
FINEST_SPREAD_S, COARSEST_SPREAD_S, FIRST_SPREAD_S = 0.02, 0.5, 0.1
ASTRAY_DENSITY = 0.01  # a second, of files that belong to nothing near
LONG_SHUTTER_S = 0.3  # from here on it shows whether a camera writes down the beginning or the end


def clocks_worth_trying(evidence: Evidence) -> list[Fit]:
    """Clocks under which many exposures have a file at their time, the best first."""
    late = (0, 1) if np.ptp(evidence.shutter_s) > LONG_SHUTTER_S else (0,)
    found: list[tuple[float, Fit]] = []
    for way in late:
        first = _common_offsets(evidence, way)
        best = max(first, key=lambda fit: agreement(evidence, fit))
        around = [
            Fit(best.offset_s + float(shift), best.drift, best.spread_s, way)
            for shift in np.arange(-AROUND_S, AROUND_S + STEP_S / 2, STEP_S)
        ]
        for fit in first + around:
            refined = _refined(evidence, _shifted(evidence, fit))
            found.append((agreement(evidence, refined), refined))
    found.sort(key=lambda one: -one[0])
    kept: list[Fit] = []
    for _, fit in found:
        if all(abs(fit.offset_s - other.offset_s) > SAME_S or fit.late != other.late for other in kept):
            kept.append(fit)
    return kept[:TRIED]


def _shifted(evidence: Evidence, fit: Fit) -> Fit:
    """The best of the clocks that are off from this one by up to half a step."""
    shifts = np.arange(-STEP_S / 2, STEP_S / 2 + FINE_S / 2, FINE_S)
    fits = [Fit(fit.offset_s + float(shift), fit.drift, fit.spread_s, fit.late) for shift in shifts]
    return max(fits, key=lambda one: agreement(evidence, one))


def _common_offsets(evidence: Evidence, late: int) -> list[Fit]:
    """Clocks whose offset most pairs of file and exposure have in common, to a tick or a quarter of a second."""
    plain = Fit(0.0, 0.0, FIRST_SPREAD_S, late).expected_s(evidence)
    some = slice(None, None, max(1, math.ceil(len(plain) * len(evidence.at_s) / MOST_DIFFERENCES)))
    at = evidence.at_s[some] + evidence.tick_s / 2
    agree = evidence.alike[some][:, evidence.which] >= 0
    bin_s = max(evidence.tick_s, 0.25)
    steps = math.ceil(MOST_DRIFT * float(plain[-1]) / bin_s)
    counted: list[tuple[int, float, float]] = []
    for drift in np.linspace(-MOST_DRIFT, MOST_DRIFT, 2 * steps + 1) if steps > 1 else (0.0,):
        apart = (at[:, None] - plain[None, :] * (1 + drift))[agree]
        places, counts = np.unique(np.floor(apart / bin_s).astype(np.int64), return_counts=True)
        both = (
            counts + np.where(np.diff(places, append=places[-1:]) == 1, np.roll(counts, -1), 0) if len(places) else counts
        )
        top = np.argsort(-both, kind="stable")[:COUNTED]
        counted += [(int(both[k]), (float(places[k]) + 1.0) * bin_s, float(drift)) for k in top]
    counted.sort(key=lambda one: -one[0])
    fits: list[Fit] = []
    for _, offset, drift in counted:
        if all(abs(offset - other.offset_s) > bin_s for other in fits):
            fits.append(Fit(offset, drift, FIRST_SPREAD_S, late))
    return fits[:COUNTED] or [Fit(float(at[0]), 0.0, FIRST_SPREAD_S, late)]


def agreement(evidence: Evidence, fit: Fit) -> float:
    """The logarithm of how well the exposures' nearest files fit their times."""
    near = near_density(_residuals(evidence, fit) - evidence.tick_s / 2, fit.spread_s, evidence.tick_s)
    return float(np.log(0.9 * near + ASTRAY_DENSITY).sum())


def _residuals(evidence: Evidence, fit: Fit) -> Array:
    """How far each exposure's nearest file that may be it, the middle of its tick, is from where it should be,
    (exposures,).
    """
    expected, middle = fit.expected_s(evidence), evidence.at_s + evidence.tick_s / 2
    residuals = np.full(len(expected), np.inf)
    for shutter in range(evidence.alike.shape[1]):
        mine = evidence.which == shutter
        residuals[mine] = _nearest(middle[evidence.alike[:, shutter] >= 0], expected[mine])
    return residuals


def _nearest(times: Array, wanted: Array) -> Array:
    if not len(times):
        return np.full(len(wanted), np.inf)
    place = np.searchsorted(times, wanted)
    before, after = times[np.maximum(place - 1, 0)] - wanted, times[np.minimum(place, len(times) - 1)] - wanted
    return np.where(np.abs(before) < np.abs(after), before, after)


def _refined(evidence: Evidence, fit: Fit) -> Fit:
    """The clock fitted to what is close, ever closer."""
    gate = evidence.tick_s / 2 + 3 * FIRST_SPREAD_S
    for _ in range(5):
        residuals = _residuals(evidence, fit)
        close = np.abs(residuals) <= gate
        if close.sum() < 3:
            return fit
        fit = _fitted(evidence, fit, np.flatnonzero(close), residuals[close])
        gate = max(evidence.tick_s / 2 + 4 * fit.spread_s, 0.1)
    return fit


def fitted_to(evidence: Evidence, fit: Fit, partner: NDArray[np.int64]) -> Fit:
    """The clock fitted to the pairs: `partner`, (files,), is each file's exposure or -1."""
    files = np.flatnonzero(partner >= 0)
    if len(files) < 3:
        return fit
    exposures = partner[files]
    residuals = evidence.at_s[files] + evidence.tick_s / 2 - fit.expected_s(evidence)[exposures]
    close = np.abs(residuals - np.median(residuals)) <= evidence.tick_s / 2 + 5 * fit.spread_s
    return _fitted(evidence, fit, exposures[close], residuals[close]) if close.sum() >= 3 else fit


def _fitted(evidence: Evidence, fit: Fit, exposures: NDArray[np.int64], residuals: Array) -> Fit:
    """Offset, and drift where the run is long enough to show it, by least squares, and the scatter that is left."""
    since = fit.expected_s(evidence)[exposures] - fit.offset_s
    spread = _spread(residuals, evidence.tick_s)
    slope, shift = 0.0, float(residuals.mean())
    if np.ptp(since) * MOST_DRIFT > spread / 4:
        slope, shift = (float(value) for value in np.polyfit(since, residuals, 1))
        spread = _spread(residuals - slope * since - shift, evidence.tick_s)
    drift = float(np.clip(fit.drift + slope, -MOST_DRIFT, MOST_DRIFT))
    return Fit(fit.offset_s + shift, drift, spread, fit.late)


def _spread(residuals: Array, tick_s: float) -> float:
    """The scatter beyond that of a tick, whose variance is tick^2 / 12, and what its estimate may lack."""
    off = np.abs(residuals - np.median(residuals))
    variance = float(np.median(off) * 1.4826) ** 2 if tick_s < 1 else float(residuals.var())
    own = math.sqrt(max(variance - tick_s**2 / 12, 0.0))
    unsure = math.sqrt((variance + tick_s**2 / 12) / len(residuals))
    return min(max(math.hypot(own, 2 * unsure), FINEST_SPREAD_S), COARSEST_SPREAD_S)
