"""What the order of readings protects from: an instrument that drifts, errors correlated in time.

The rows are in order of time. A drift is a column of the fit. The effect of correlated errors on a result depends on the
order: if it is shuffled, they scatter as independent ones do (R. A. Fisher, *The Design of Experiments*, 1935, chapter
2). In the order of the positions they cannot be separated from the measured quantity.
"""

import math
from collections.abc import Sequence

import numpy as np
from scipy.signal import lfilter
from scipy.special import ndtr

from controller.calibration.least_squares import Fit, Rows
from controller.optics.outline import Array

CORRELATION = 0.8  # correlation of two successive readings that an order must tolerate. Our own choice.
MOST_WIDENING = 3.0  # in variance: an order that would need more does not protect
MOST_FOR_DRIFT = 4.0  # in variance: the most that a column for the drift may cost
LEAST_FREEDOM = 2  # of the scatter, with a column for the drift
NOTICED_P = 0.001
ROUNDING_DEG = 1e-9  # of the arithmetic
CHANCE_SDS = 2.0  # of a correlation, which chance may hide
MOST_CORRELATION = 0.95
MOST_BY_CHANCE = 0.4  # of that, for the size of a scatter: a few readings exclude nothing
LEAST_FREEDOM_TO_CORRELATE = 4  # degrees of freedom
BEYOND_DOUBT = math.log(100)  # of a ratio of likelihoods; truly correlated errors reach it once in a hundred times


def clock(count: int) -> Array:
    """The drift's column: the place of each row in time, from -1/2 to 1/2."""
    return np.linspace(-0.5, 0.5, count)


def widening(weights: Array, found: Fit, rows: Rows, count: int, correlation: float = CORRELATION) -> float:
    """Factor by which correlation `correlation` between successive errors increases an estimate's variance.

    `weights` (n,) give the estimate from the readings of the fit; `rows` are their places among all `count` rows. The
    residuals show less of such errors than there is: see `hidden`.
    """
    in_time = np.zeros((count, 1))
    in_time[rows, 0] = weights * np.sqrt(found.variances)
    own = float((in_time**2).sum())
    return _alike(in_time, correlation) / own if own > 0 else 1.0


def hidden(found: Fit, rows: Rows, count: int, correlation: float = CORRELATION) -> float:
    """Ratio of the true variance of such errors to that of the residuals: the fit absorbs the slow ones.

    1 if the uncertainties were stated, because then the residuals are not used.
    """
    if found.seen_variance is None:
        return 1.0
    basis, _ = np.linalg.qr(found.estimator.T)
    in_time = np.zeros((count, basis.shape[1]))
    in_time[rows] = basis
    return float(len(rows) - basis.shape[1]) / max(len(rows) - _alike(in_time, correlation), 1e-3 * len(rows))


def _alike(columns: Array, correlation: float) -> float:
    """The sum over the columns of column' R column, where R is the correlation matrix of the errors."""
    ahead = lfilter([1.0], [1.0, -correlation], columns, axis=0)
    # R is the sum over earlier rows, its mirror image, and the diagonal, which is in both.
    return float((columns * (2 * ahead - columns)).sum())


def seen_correlation(*fits: Fit, most_by_chance: float = 1.0) -> float:
    """The correlation of successive errors from the residuals of one or several fits, each in order of time: their lag-1
    correlation, and what chance may hide of it (G. E. P. Box and G. M. Jenkins, *Time Series Analysis*, 1970, section
    2.1.6).
    """
    by_chance = min(CHANCE_SDS / math.sqrt(_freedom(fits)), most_by_chance)
    return min(max(_lag(fits), 0.0) + by_chance, MOST_CORRELATION)


def are_correlated(*fits: Fit, step: float, chance: float = NOTICED_P) -> bool:
    """Whether successive residuals correlate beyond chance (same source); within a `step` of the grid it is rounding."""
    if max(each.residual_sd for each in fits) <= max(step / 2, ROUNDING_DEG):
        return False
    return _freedom(fits) >= LEAST_FREEDOM_TO_CORRELATE and float(ndtr(-_lag(fits) * math.sqrt(_freedom(fits)))) < chance


def rules_out(*fits: Fit, step: float, correlation: float = CORRELATION) -> bool:
    """Whether residuals exclude this `correlation` of successive errors: independent ones explain them far better.

    By the ratio of restricted likelihoods (H. D. Patterson and R. Thompson, Biometrika 58:545, 1971), the most powerful
    test between the two (Neyman and Pearson). Within a `step` of the grid it is rounding.
    """
    if max(each.residual_sd for each in fits) <= max(step / 2, ROUNDING_DEG):
        return True
    better = freedom = 0.0
    for each in fits:
        count = len(each.residuals)
        basis, _ = np.linalg.qr(each.estimator.T, mode="complete")
        free = basis[:, len(each.coefficients) :]
        left = free.T @ each.residuals
        alike = free.T @ correlation ** np.abs(np.subtract.outer(np.arange(count), np.arange(count))) @ free
        squares = float(left @ np.linalg.solve(alike, left)) / max(float(left @ left), 1e-300)
        better += (float(np.linalg.slogdet(alike)[1]) + len(left) * math.log(max(squares, 1e-300))) / 2
        freedom += len(left)
    return better * _freedom(fits) / max(freedom, 1.0) > BEYOND_DOUBT


def _freedom(fits: Sequence[Fit]) -> float:
    """Degrees of freedom of all residuals together; sets with the same errors (yaw and pitch, approached from one side)
    count once.
    """
    sizes = np.array([each.residuals / max(math.sqrt(float(each.residuals @ each.residuals)), 1e-300) for each in fits])
    alike = float(((sizes @ sizes.T) ** 2).sum()) / len(fits)
    return max(1.0, sum(len(each.residuals) - len(each.coefficients) for each in fits) / max(alike, 1.0))


def _lag(fits: Sequence[Fit]) -> float:
    """The lag-1 correlation of residuals, less the part that the fit itself causes for independent errors."""
    products = squares = 0.0
    for each in fits:
        residuals = each.residuals
        basis, _ = np.linalg.qr(each.estimator.T)
        own = -float((basis[1:] * basis[:-1]).sum()) / max(len(residuals) - basis.shape[1], 1)
        products += float(residuals[1:] @ residuals[:-1]) - own * float(residuals @ residuals)
        squares += float(residuals @ residuals)
    return products / squares if squares > 0 else 0.0
