"""The grid of an instrument's readings, and what it hides."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calibration.resolution import decimals_of, grid, grouped, rounding_sd, shared

STEPS = (1.0, 0.5, 0.25, 0.1, 0.05, 0.02, 0.01, 0.001, 1 / 60, 5 / 60)
SEEDS = st.integers(0, 2**32 - 1)


@given(SEEDS, st.sampled_from(STEPS), st.integers(12, 40))
def test_the_grid_is_found(seed: int, step: float, count: int) -> None:
    rng = np.random.default_rng(seed)
    read = np.round(np.round(rng.uniform(-40, 400, count) / step) * step, 4)
    found = grid(read, 0.3 * step)
    assert found == pytest.approx(step) or step < found <= 10 * step  # by chance all may be on a coarser one
    if step in STEPS[:8]:
        assert grid(read, 0.3 * step, [6] * count) == pytest.approx(found)  # a table that pads numbers with zeros


@given(SEEDS, st.sampled_from(STEPS))
def test_a_coarser_grid_by_chance_is_rare(seed: int, step: float) -> None:
    rng = np.random.default_rng(seed)
    reads = [np.round(np.round(rng.uniform(-40, 400, 8) / step) * step, 4) for _ in range(100)]
    assert sum(grid(read, 0.3 * step) > 1.5 * step for read in reads) <= 12


@pytest.mark.parametrize(
    ("values", "decimals", "spread", "step"),
    [
        ([0.3] * 6, None, 0.0, 0.1),
        ([0.3] * 6, [2] * 6, 0.0, 0.01),  # written 0.30
        ([0.0, 30.0, 60.0, 90.0], None, 0.1, 1.0),  # the places are whole tens, but the dial is read to a degree
        (
            [12.3, 12.35, 12.4, 12.1, 11.9, 11.2, 10.1, 9.3, 12.6, 8.3, 8.7],
            None,
            0.03,
            0.1,
        ),  # one of eleven between marks
    ],
)
def test_what_was_written(values: list[float], decimals: list[int] | None, spread: float, step: float) -> None:
    assert grid(np.array(values), spread, decimals) == pytest.approx(step)


@pytest.mark.parametrize(
    ("text", "count"), [("1", 0), ("0.10", 2), ("-3.25e1", 1), ("2e-3", 3), (" 7.5 ", 1), ("1e-99999", 30)]
)
def test_decimals(text: str, count: int) -> None:
    assert decimals_of(text) == count


def test_the_standard_uncertainty_of_one_reading() -> None:
    """JCGM 100:2008, F.2.2.1: an indicating device of resolution d has u = 0.29 d."""
    assert rounding_sd(1.0) == pytest.approx(0.29, abs=0.005)
    rng = np.random.default_rng(1)
    true = rng.uniform(0, 100, 100_000)
    assert float(np.std(np.round(true) - true)) == pytest.approx(rounding_sd(1.0), rel=0.01)


@pytest.mark.parametrize("scatter", [0.02, 0.1, 0.2, 0.3, 0.5])
def test_how_far_readings_of_one_place_share_their_rounding(scatter: float) -> None:
    rng = np.random.default_rng(2)
    true = rng.uniform(0, 1, 50_000)
    shown = np.round(true + rng.normal(0, scatter, (2, len(true))))
    errors = shown - true
    covariance = float(np.mean(errors[0] * errors[1]))
    assert covariance * 12 == pytest.approx(shared(scatter, 1.0), abs=0.03)


def test_its_ends() -> None:
    assert shared(0.0, 1.0) == 1
    assert shared(1e-9, 1.0) == pytest.approx(1, abs=0.08)  # the series is truncated
    assert shared(1.0, 1.0) == pytest.approx(0, abs=1e-12)
    assert shared(1.0, 0.0) == 0


@given(SEEDS, st.integers(1, 5))
def test_a_group_may_err_in_the_worst_way(seed: int, groups: int) -> None:
    """Between independent readings and the sum of all their weights, reached if all are one group."""
    rng = np.random.default_rng(seed)
    weights, which = rng.normal(size=20), rng.integers(0, groups, 20)
    independent, worst = float(weights @ weights), float(np.abs(weights).sum()) ** 2
    assert independent <= grouped(weights, which) * (1 + 1e-12)
    assert grouped(weights, which) <= worst * (1 + 1e-12)
    assert grouped(weights, np.arange(20)) == pytest.approx(independent)
    assert math.isclose(grouped(weights, np.zeros(20, dtype=int)), worst)
