"""The line fit against the GUM's own example, scipy and GTC; outliers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from GTC import get_correlation, type_a
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from controller.calibration.least_squares import Fit, Rows, chance_of_chi_squared, fit, without_outliers
from controller.optics.outline import Array

# A thermometer's readings t and corrections b: GUM, JCGM 100:2008, table H.6; reference temperature 20.
T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
B = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
X = T - 20


def line(x: Array) -> Array:
    return np.column_stack([np.ones_like(x), x])


def correlation(found: Fit) -> float:
    return float(found.covariance[0, 1]) / (found.u(0) * found.u(1))


def test_gum_h3() -> None:
    """To half of the last printed digit (JCGM 100:2008, H.3.2 to H.3.4)."""
    found = fit(line(X), B)
    assert found.coefficients[0] == pytest.approx(-0.1712, abs=0.5e-4)
    assert found.coefficients[1] == pytest.approx(0.00218, abs=0.5e-5)
    assert found.u(0) == pytest.approx(0.0029, abs=0.5e-4)
    assert found.u(1) == pytest.approx(0.00067, abs=0.5e-5)
    assert correlation(found) == pytest.approx(-0.930, abs=0.5e-3)
    assert found.residual_sd == pytest.approx(0.0035, abs=0.5e-4)
    assert found.freedom == 9


def test_gum_h3_at_thirty_degrees_needs_the_correlation() -> None:
    """b(30) = -0.1494, u = 0.0041 (H.3.4); without the correlation u would be 0.0073."""
    found = fit(line(X), B)
    at = np.array([1.0, 10.0])
    assert at @ found.coefficients == pytest.approx(-0.1494, abs=0.5e-4)
    assert math.sqrt(at @ found.covariance @ at) == pytest.approx(0.0041, abs=0.5e-4)
    assert math.hypot(found.u(0), 10 * found.u(1)) == pytest.approx(0.0073, abs=0.5e-4)


def test_gum_h3_as_scipy_has_it() -> None:
    found, theirs = fit(line(X), B), linregress(X, B)
    assert found.coefficients == pytest.approx([theirs.intercept, theirs.slope], rel=1e-9)
    assert [found.u(0), found.u(1)] == pytest.approx([theirs.intercept_stderr, theirs.stderr], rel=1e-9)


def test_gum_h3_as_gtc_has_it() -> None:
    theirs = type_a.line_fit(X.tolist(), B.tolist())
    found = fit(line(X), B)
    for number, coefficient in enumerate((theirs.intercept, theirs.slope)):
        assert found.coefficients[number] == pytest.approx(coefficient.x, rel=1e-9)
        assert found.u(number) == pytest.approx(coefficient.u, rel=1e-9)
        assert found.freedom == coefficient.df
    assert correlation(found) == pytest.approx(get_correlation(theirs.intercept, theirs.slope), rel=1e-9)


seeds = st.integers(0, 2**32 - 1)


@given(seeds, st.integers(3, 40))
def test_any_line_as_scipy_has_it(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.uniform(-1e5, 1e5, count)
    y = rng.normal(0, 5) + x / rng.uniform(50, 1000) + rng.normal(0, 0.1, count)
    found, theirs = fit(line(x), y), linregress(x, y)
    assert found.coefficients[1] == pytest.approx(theirs.slope, rel=1e-9)
    assert found.coefficients[0] == pytest.approx(theirs.intercept, rel=1e-6, abs=1e-9)
    assert [found.u(0), found.u(1)] == pytest.approx([theirs.intercept_stderr, theirs.stderr], rel=1e-6)


@given(seeds, st.integers(3, 40))
def test_any_weighted_line_as_gtc_has_it(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    x, u = rng.uniform(-100, 100, count), rng.uniform(0.01, 0.3, count)
    y = 0.3 + x / 7 + rng.normal(0, u)
    found, theirs = fit(line(x), y, u), type_a.line_fit_wls(x.tolist(), y.tolist(), u.tolist())
    assert found.coefficients == pytest.approx([theirs.intercept.x, theirs.slope.x], rel=1e-8, abs=1e-10)
    assert [found.u(0), found.u(1)] == pytest.approx([theirs.intercept.u, theirs.slope.u], rel=1e-8)
    assert math.isinf(found.freedom)


def test_columns_that_say_the_same_are_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        fit(np.column_stack([np.ones(5), np.full(5, 3.0)]), np.arange(5.0))


@given(seeds, st.sampled_from([0.0, 0.05]))
def test_what_is_far_off_is_left_out_and_nothing_else(seed: int, stated: float) -> None:
    rng = np.random.default_rng(seed)
    x = np.arange(20.0)
    y = 2 + 0.5 * x + 0.05 * np.clip(rng.normal(size=20), -1.5, 1.5)
    wrong = rng.choice(20, 2, replace=False)
    y[wrong] += 3.0 * rng.choice([-1, 1], 2)
    u = np.full(20, stated) if stated else None

    def fit_of(rows: Rows) -> Fit:
        return fit(line(x)[rows], y[rows], None if u is None else u[rows])

    kept, found = without_outliers(fit_of, 20, 17)
    assert set(np.flatnonzero(~kept)) == set(wrong)
    assert len(found.residuals) == 18


def test_never_fewer_than_the_least_are_kept() -> None:
    x = np.arange(6.0)
    y = np.array([0.0, 1.0, 2.0, 3.0, 40.0, 5.0])
    kept, _ = without_outliers(lambda rows: fit(line(x)[rows], y[rows]), 6, 6)
    assert kept.all()


def test_the_chance_of_chi_squared() -> None:
    """The 95 % point for 10 degrees of freedom is 18.307 (any table of the distribution)."""
    assert chance_of_chi_squared(18.307, 10) == pytest.approx(0.05, abs=1e-5)
