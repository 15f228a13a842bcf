"""What the order in which readings were taken protects from: an instrument that drifts, errors that hang together.

The rows are in the order of time. A drift is a column of the fit. Errors that hang together from one reading to the
next lean on a result as far as the order lets them: shuffled, they scatter as independent ones do (R. A. Fisher, *The
Design of Experiments*, 1935, chapter 2); in the order of the positions they cannot be told from what is measured.
"""

import math

import numpy as np
from scipy.signal import lfilter
from scipy.stats import norm

from controller.calibration.least_squares import Fit
from controller.optics.outline import Array

HANGING = 0.8  # correlation of two readings, one after the other, that an order must bear. Our own choice.
MOST_WIDENING = 3.0  # in variance: an order that would need more does not protect
MOST_FOR_DRIFT = 4.0  # in variance: what a column for the drift may cost
LEAST_FREEDOM = 2  # of the scatter, with a column for the drift
NOTICED_P = 0.001
MOST_HANGING = 0.95


def clock(count: int) -> Array:
    """The drift's column: the place of each row in time, from -1/2 to 1/2."""
    return np.linspace(-0.5, 0.5, count)


def widening(weights: Array, found: Fit, rows: Array, count: int, hanging: float = HANGING) -> float:
    """How many times the variance by independent errors an estimate has where they hang together by `hanging`.

    `weights` (n,) make the estimate from the readings of the fit, `rows` are their places among all `count` rows. What the
    residuals show of such errors is less than they are: see `hidden`.
    """
    in_time = np.zeros((count, 1))
    in_time[rows, 0] = weights * np.sqrt(found.variances)
    own = float((in_time**2).sum())
    return _alike(in_time, hanging) / own if own > 0 else 1.0


def hidden(found: Fit, rows: Array, count: int, hanging: float = HANGING) -> float:
    """How many times larger the variance of such errors is than the residuals show: the fit takes in the slow ones.

    1 where the uncertainties were stated, as then the residuals are not asked.
    """
    if found.seen_variance is None:
        return 1.0
    basis, _ = np.linalg.qr(found.estimator.T)
    in_time = np.zeros((count, basis.shape[1]))
    in_time[rows] = basis
    return (len(rows) - basis.shape[1]) / max(len(rows) - _alike(in_time, hanging), 1e-3 * len(rows))


def _alike(columns: Array, hanging: float) -> float:
    """The sum over the columns of column' R column, R being the correlation matrix of errors that hang together."""
    ahead = lfilter([1.0], [1.0, -hanging], columns, axis=0)
    # R is what comes from before, its mirror image, and the diagonal that is in both.
    return float((columns * (2 * ahead - columns)).sum())


def seen_hanging(*residuals: Array) -> float:
    """How far errors may hang together from one to the next by the residuals of one or several sets, each in the order of
    time: their lag-1 correlation, and what chance may hide of it (G. E. P. Box and G. M. Jenkins, *Time Series Analysis*,
    1970, section 2.1.6).
    """
    return min(max(_lag(*residuals), 0.0) + 1 / math.sqrt(sum(len(each) for each in residuals)), MOST_HANGING)


def hang_together(*residuals: Array, taken: int) -> bool:
    """Whether neighbours in time are alike beyond chance, by the same; `taken` coefficients were fitted to each set."""
    count = sum(len(each) for each in residuals)
    if count - taken * len(residuals) < 4:
        return False
    return float(norm.sf(_lag(*residuals) * math.sqrt(count))) < NOTICED_P


def _lag(*residuals: Array) -> float:
    squares = sum(float(each @ each) for each in residuals)
    return sum(float(each[1:] @ each[:-1]) for each in residuals) / squares if squares > 0 else 0.0
