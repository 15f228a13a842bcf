"""The stated 95 % are true, in a small version of `python -m tests.bench --group intervals`: fewer rigs, wider bounds."""

from __future__ import annotations

import pytest
from scipy.stats import binom

from tests.controller.calibration.rigs import PROCEDURES, World, share_with_outliers, tally

RIGS = 30
LEAST = int(binom.ppf(1e-3, RIGS, 0.92)) / RIGS  # fewer: 1 in 1000 if 92 % contain the truth
LEAST_BESIDE_THE_MODEL = int(binom.ppf(1e-3, RIGS, 0.90)) / RIGS


@pytest.mark.parametrize("name", PROCEDURES)
@pytest.mark.parametrize("world", [World(), World(grid=10.0)], ids=["scatter", "coarse"])
def test_where_the_model_holds(name: str, world: World) -> None:
    found = tally(PROCEDURES[name], world, RIGS)
    assert found.refused <= 0.1
    assert found.held
    assert min(found.held.values()) >= LEAST, found


@pytest.mark.parametrize("name", PROCEDURES)
@pytest.mark.parametrize(
    "world",
    [World(outliers=1), World(correlation=True), World(drift=3.0)],
    ids=["outlier", "hanging", "drift"],
)
def test_where_it_does_not_hold_sets_are_refused_or_still_hold(name: str, world: World) -> None:
    found = tally(PROCEDURES[name], world, RIGS)
    if (1 - found.refused - found.unstated) * RIGS >= 5:
        assert min(found.held.values()) >= LEAST_BESIDE_THE_MODEL, found


def test_the_few_sets_of_hanging_visits_that_pass_still_hold() -> None:
    found = tally(PROCEDURES["verify"], World(correlation=True), 400)
    stated = round((1 - found.refused - found.unstated) * 400)
    assert stated >= 8
    assert min(found.held.values()) * stated >= binom.ppf(1e-3, stated, 0.90), found


@pytest.mark.parametrize("span_deg", [60.0, 240.0])
def test_a_wave_that_may_hide_is_counted_in(span_deg: float) -> None:
    for wave, prior in ((1.0, 1.0), (3.0, 3.0)):
        found = tally(PROCEDURES["steps by angles"], World(span_deg=span_deg, wave=wave, prior=prior), RIGS)
        assert found.held["steps_per_degree"] >= LEAST


@pytest.mark.parametrize("name", ["steps by angles", "level"])
def test_no_share_is_stated_where_a_drift_would_look_like_the_result(name: str) -> None:
    assert tally(PROCEDURES[name], World(sorted=True), 20).unstated >= 0.95
    assert tally(PROCEDURES[name], World(), 20).unstated <= 0.1


@pytest.mark.parametrize("name", ["steps by angles", "level"])
def test_a_good_reading_of_a_coarse_instrument_is_not_thrown_out(name: str) -> None:
    for grid in (3.0, 10.0):
        assert share_with_outliers(PROCEDURES[name], World(grid=grid, count=7), 50) <= 0.04
