"""The coarse comparison of offsets, and the fit of a clock, compared with sums done one by one."""

from __future__ import annotations

import math
import statistics
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.camera_clock import Scan, clocks_worth_trying, fitted_to
from controller.matching.evidence import Evidence, ExposureStamp, FileStamp, evidence_of
from controller.matching.fit import ClockFit
from tests.controller.matching.test_clocks_found import DAY_S, run_of, shown

CHANGE = 1e-6
SHUTTERS = (0.01, 0.04, 0.16)


@st.composite
def evidences(draw: st.DrawFn) -> Evidence:
    """A few files within a minute of a few exposures at 100 s of the camera's clock."""
    whole = draw(st.booleans())
    planned = sorted(draw(st.lists(st.floats(0, 60), min_size=1, max_size=6, unique=True)))
    exposures = [ExposureStamp(at, draw(st.sampled_from(SHUTTERS))) for at in planned]
    times = sorted(draw(st.lists(st.floats(90, 160), min_size=2, max_size=4)))
    said = st.sampled_from([0.0, *SHUTTERS, 4.0])
    return evidence_of([FileStamp(math.floor(at) if whole else round(at, 2), draw(said)) for at in times], exposures)


def near_share(evidence: Evidence, offset_s: float, file: int) -> float:
    """How well a file agrees with its nearest possible exposure; nearly all of it within half a tick."""
    tick_s = max(evidence.tick_s, 0.5)
    middle = evidence.at_s[file] + evidence.tick_s / 2
    distances = [
        abs(middle - offset_s - (at - evidence.planned_s[0]))
        for at, kind in zip(evidence.planned_s, evidence.which, strict=True)
        if evidence.alike[file, kind] >= 0
    ]
    past = max(min(distances, default=math.inf) - tick_s / 2, 0.0) / 0.2
    return 0.9 / tick_s * math.exp(-past * past / 2) + 0.01


@settings(max_examples=80)
@given(evidences(), st.lists(st.floats(95, 110), min_size=1, max_size=3, unique=True))
def test_the_probability_of_each_offset_is_the_sum_over_all_ways_of_changing(
    evidence: Evidence, offset_s: list[float]
) -> None:
    """The clock goes on with probability 1 - 1e-6; otherwise it begins anew with any of them."""
    scan = Scan(evidence, ClockFit(100.0, 0.0, 0.1), np.array(offset_s))
    files, count = len(evidence.at_s), len(offset_s)
    share = [[near_share(evidence, offset, file) for offset in offset_s] for file in range(files)]
    assert scan.chance == pytest.approx(np.array(share), rel=1e-9)
    sums = np.zeros((files, count))
    for way in product(range(count), repeat=files):
        weight = 1 / count
        for file, clock in enumerate(way):
            if file:
                weight *= (1 - CHANGE) * (clock == way[file - 1]) + CHANGE / count
            weight *= share[file][clock]
        for file, clock in enumerate(way):
            sums[file, clock] += weight
    held, total = scan.held()
    assert total == pytest.approx(math.log(sums[0].sum()), rel=1e-6, abs=1e-6)
    assert held == pytest.approx(sums / sums.sum(axis=1, keepdims=True), rel=1e-6, abs=1e-12)


@settings(max_examples=60)
@given(evidences(), st.floats(95, 110))
def test_the_exposure_of_an_offset_is_the_nearest_possible_one(evidence: Evidence, offset_s: float) -> None:
    scan = Scan(evidence, ClockFit(100.0, 0.0, 0.1), np.array([offset_s]))
    for file, found in enumerate(scan.exposure[:, 0].tolist()):
        may = [n for n, kind in enumerate(evidence.which) if evidence.alike[file, kind] >= 0]
        if may:
            middle = evidence.at_s[file] + evidence.tick_s / 2 - offset_s + evidence.planned_s[0]
            assert found in may
            least = min(abs(middle - evidence.planned_s[n]) for n in may)
            assert abs(middle - evidence.planned_s[found]) == pytest.approx(least, abs=1e-9)


def spread_of(residuals: list[float], tick_s: float) -> float:
    """What is more than a tick's own scatter (variance tick^2 / 12), and twice what its estimate may be off by.

    By the median distance from the median, times 1.4826 for a normal distribution (P. Rousseeuw and C. Croux, J. Am.
    Stat. Assoc. 88:1273, 1993), of fractions of seconds; whole ones are even.
    """
    middle = statistics.median(residuals)
    robust = 1.4826 * statistics.median(abs(one - middle) for one in residuals)
    variance = robust**2 if tick_s < 1 else statistics.pvariance(residuals)
    own = max(variance - tick_s**2 / 12, 0.0)
    unsure = (variance + tick_s**2 / 12) / len(residuals)
    return min(max(math.sqrt(own + 4 * unsure), 0.02), 0.5)


@settings(max_examples=60)
@given(
    st.integers(3, 12),
    st.floats(-60, 60),
    st.sampled_from([0.0, 0.03, 0.4]),
    st.sampled_from([0.01, 1.0]),
    st.sampled_from([5.0, 100.0, 1000.0, 20_000.0]),
    st.floats(-1e-4, 1e-4),
)
def test_a_fit_is_ridge_regression_with_the_usual_drift_as_a_prior(
    count: int, s_a_day: float, scatter_s: float, tick_s: float, every_s: float, was: float
) -> None:
    """If the run is so long that the worst drift, 22 s a day, would show. By plain sums (A. Hoerl and R. Kennard,
    Technometrics 12:55, 1970).
    """
    exposures = run_of(count, every_s)
    evidence = evidence_of(shown(exposures, 4e6, drift=s_a_day / DAY_S, tick_s=tick_s, scatter_s=scatter_s), exposures)
    tick_s = evidence.tick_s
    everything = np.arange(count)
    start = ClockFit(4e6 - 0.3, was, 0.5, turn=2)
    found = fitted_to(evidence, start, everything, everything)
    since = [(one.at_s - exposures[0].at_s) * (1 + was) for one in exposures]
    left = [float(at) + tick_s / 2 - start.offset_s - t for at, t in zip(evidence.at_s, since, strict=True)]
    middle = statistics.median(left)
    if any(abs(one - middle) > tick_s / 2 + 5 * 0.5 - 1e-6 for one in left):
        return  # far ones are left out: tested elsewhere
    spread, slope, shift = spread_of(left, tick_s), 0.0, statistics.fmean(left)
    if count > 3 and (since[-1] - since[0]) * 2.5e-4 > spread / 4:
        mean = statistics.fmean(since)
        x = [t - mean for t in since]
        known = (spread**2 + tick_s**2 / 12) / 1e-4**2
        drift = sum(a * (b + was * a) for a, b in zip(x, left, strict=True)) / (sum(a * a for a in x) + known)
        slope = min(max(drift, -2.5e-4), 2.5e-4) - was
        left = [b - slope * t for b, t in zip(left, since, strict=True)]
        shift = statistics.fmean(left)
        spread = spread_of([b - shift for b in left], tick_s)
    assert found.offset_s - start.offset_s == pytest.approx(shift, abs=1e-6)
    assert found.drift == pytest.approx(was + slope, abs=1e-9)
    assert found.spread_s == pytest.approx(spread, rel=1e-4)
    assert (found.late, found.turn) == (0, 2)


@pytest.mark.parametrize("end", [False, True])
@pytest.mark.parametrize(("shutter_s", "ways"), [(0.2, 1), (0.29, 1), (0.32, 2)])
def test_only_exposures_longer_than_others_by_three_tenths_tell_the_beginning_from_the_end(
    shutter_s: float, ways: int, end: bool
) -> None:
    """Both are tried then, unless one explains the files far worse."""
    shutters = (0.01, 0.01 + shutter_s)
    exposures = [ExposureStamp(one.at_s, shutters[n % 2]) for n, one in enumerate(run_of(8))]
    found = clocks_worth_trying(evidence_of(shown(exposures, 4e6, late=int(end), tick_s=1.0), exposures))
    assert len(found) == ways
    assert {fits[0].late for fits in found} == set(range(ways))
