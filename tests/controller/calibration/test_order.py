"""What the order of readings protects from, against matrices and simulated errors."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.linalg import toeplitz

from controller.calibration import order
from controller.calibration.estimate import order_separates_drift
from controller.calibration.least_squares import Fit, fit
from controller.optics.outline import Array

SEEDS = st.integers(0, 2**32 - 1)


@pytest.mark.parametrize(("strength", "least", "most"), [(0.0, 0.9, 1.0), (order.CORRELATION, 0.0, 0.02)])
def test_errors_that_hang_together_are_not_ruled_out(strength: float, least: float, most: float) -> None:
    """Of 200 sets of 40 rows, shuffled over five places and read in both angles; independent errors nearly always are."""
    rng, count, out = np.random.default_rng(3), 40, []
    root = np.linalg.cholesky(toeplitz(strength ** np.arange(count)))
    for _ in range(200):
        design = np.hstack([np.eye(5)[rng.permutation(np.arange(count) % 5)], order.clock(count)[:, None]])
        out.append(order.rules_out(*(fit(design, root @ rng.normal(size=count)) for _ in range(2)), step=0.0))
    assert least <= np.mean(out) <= most


def line(x: Array, drifts: bool) -> Array:
    columns = [np.ones_like(x), x]
    return np.column_stack([*columns, order.clock(len(x))] if drifts else columns)


@given(SEEDS, st.integers(6, 40), st.floats(0, 0.95))
def test_the_widening_is_that_of_the_correlation_matrix(seed: int, count: int, strength: float) -> None:
    """A generalised quadratic form, c' R c over c' c; and the mean square of residuals, tr(M R) over the trace of M."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=count)
    design = line(x, drifts=True)
    found, rows = fit(design, rng.normal(size=count)), np.arange(count)
    correlation = toeplitz(strength ** np.arange(count))
    weights = np.linalg.pinv(design)[1]
    expected = weights @ correlation @ weights / (weights @ weights)
    assert order.widening(weights, found, rows, count, strength) == pytest.approx(expected, rel=1e-6)
    left = np.eye(count) - design @ np.linalg.pinv(design)
    assert 1 / order.hidden(found, rows, count, strength) == pytest.approx(
        np.trace(left @ correlation) / np.trace(left), rel=1e-6
    )


def protects(x: Array) -> bool:
    y = 2 + 3 * x + 1e-3 * np.sin(7 * np.arange(len(x)) ** 2)
    return order_separates_drift(lambda full: fit(line(x, full), y), np.array([[0.0, 1.0]]), len(x))


@given(SEEDS, st.integers(9, 40))
def test_sorted_places_do_not_protect_whatever_they_are(seed: int, count: int) -> None:
    x = np.sort(np.random.default_rng(seed).uniform(0, 1, count))
    assert not protects(np.linspace(0, 1, count))
    assert not protects(np.linspace(1, 0, count))
    assert not protects(np.linspace(0, 1, count) + 0.02 * x)


def test_shuffled_places_protect_nearly_always() -> None:
    rng = np.random.default_rng(1)
    shuffled = [rng.permutation(np.linspace(0, 1, 12)) for _ in range(100)]
    assert sum(protects(np.append(x, x[0])) for x in shuffled) >= 95


def test_too_few_readings_never_do() -> None:
    assert not protects(np.array([0.0, 1.0, 0.5]))


def fitted(errors: Array) -> Fit:
    return fit(line(np.linspace(0, 1, len(errors)), drifts=False), errors)


def test_errors_that_hang_together_are_noticed_and_independent_ones_are_not() -> None:
    rng = np.random.default_rng(3)
    noticed, false = 0, 0
    for _ in range(200):
        errors = rng.normal(size=40)
        false += order.are_correlated(fitted(errors.copy()), step=0.0)
        for number in range(1, 40):
            errors[number] = 0.8 * errors[number - 1] + 0.6 * errors[number]
        noticed += order.are_correlated(fitted(errors), step=0.0)
    assert noticed >= 180
    assert false <= 3


def test_what_lies_within_the_resolution_is_no_error() -> None:
    wave = 0.02 * np.sin(np.linspace(0, 12, 40))
    assert order.are_correlated(fitted(wave), step=0.0)
    assert not order.are_correlated(fitted(wave), step=0.1)
