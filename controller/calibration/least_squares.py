"""Weighted linear least squares with honest uncertainties, and the readings that do not belong."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import chdtrc, stdtr

from controller.optics.outline import Array

ALONE = 1e-9
ROUNDING = 1e-10  # of the largest reading; no instrument reads as finely

Rows = NDArray[np.intp]
Kept = NDArray[np.bool_]

OUTLIER_P = 0.01  # the chance, over all readings of a sound set, that one is called an outlier. Our own choice.


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients with their covariance; `freedom` is inf where the readings' own uncertainties were stated.

    `variances` (n,) are those the covariance rests on; `seen_variance` is what the residuals alone say, None where the
    uncertainties were stated. `estimator` (p, n) makes the coefficients from the readings.
    """

    coefficients: Array
    covariance: Array
    residuals: Array
    residual_sd: float
    freedom: float
    chi_squared: float
    studentized: Array
    """Each residual over its standard deviation, from a fit without that reading where nothing was stated."""
    estimator: Array
    variances: Array
    seen_variance: float | None

    def u(self, number: int) -> float:
        """Standard uncertainty of one coefficient."""
        return float(np.sqrt(self.covariance[number, number]))


def fit(design: Array, y: Array, u: Array | None = None, *, least_sd: float = 0.0, prior_sd: Array | None = None) -> Fit:
    """Fit y = design @ coefficients; (n, p), (n,), standard uncertainties (n,) or None for equal and unknown ones.

    Where `u` is stated it is believed: covariance (X' W X)^-1 without rescaling (GUM, JCGM 100:2008, H.3 for equal ones,
    Draper and Smith, *Applied Regression Analysis*, section 9.2, for weights). Where it is not, no reading counts as
    surer than `least_sd`, whatever the residuals say (GUM, 4.3.7). `prior_sd` (p,) says how large coefficients may be
    (normal about 0; inf: nothing is known): those are shrunk, and what may hide in them is counted in. Needs more
    readings than free coefficients and full rank; raises numpy.linalg.LinAlgError without.
    """
    prior = np.full(design.shape[1], np.inf) if prior_sd is None else prior_sd
    count, left = len(y), len(y) - int(np.isinf(prior).sum())
    seen = freedom = None
    if u is None:
        seen, freedom = _scatter(design, y, prior)
        variances = np.full(count, max(seen, least_sd**2, (1e-3 * ROUNDING * float(np.abs(y).max())) ** 2, 1e-300))
    else:
        variances = u**2
    weights = 1 / np.sqrt(variances)
    known = np.flatnonzero(np.isfinite(prior))
    pulled = np.zeros((len(known), design.shape[1]))
    pulled[np.arange(len(known)), known] = 1 / prior[known]
    stacked = np.vstack([design * weights[:, None], pulled])
    scale = np.abs(stacked).max(axis=0)
    if scale.min() == 0:
        raise np.linalg.LinAlgError("no reading says anything of one of the coefficients")
    q, r = np.linalg.qr(stacked / scale)
    if np.abs(np.diag(r)).min() < 1e-12 * np.abs(np.diag(r)).max():
        raise np.linalg.LinAlgError("the readings do not tell the coefficients apart")
    inverse = np.linalg.inv(r) / scale[:, None]
    estimator = inverse @ q[:count].T * weights
    coefficients = estimator @ y
    residuals = y - design @ coefficients
    weighted = residuals * weights
    free = 1 - (q[:count] ** 2).sum(axis=1)  # 1 - leverage
    least = None if u is not None else max(least_sd, ROUNDING * float(np.abs(y).max())) / math.sqrt(variances[0])
    return Fit(
        coefficients=coefficients,
        covariance=inverse @ inverse.T,
        residuals=residuals,
        residual_sd=float(np.sqrt(residuals @ residuals / left)),
        freedom=np.inf if freedom is None else freedom,
        chi_squared=float(residuals @ residuals) if u is None else float(weighted @ weighted),
        studentized=_studentized(weighted, free, left, least),
        estimator=estimator,
        variances=variances,
        seen_variance=seen,
    )


def _scatter(design: Array, y: Array, prior: Array) -> tuple[float, float]:
    """The readings' variance by restricted maximum likelihood, and its degrees of freedom.

    Without a prior: the sum of squares over n - p. With one, the variance for which residuals and shrunk coefficients
    are as large together as they should be (D. A. Harville, "Maximum Likelihood Approaches to Variance Component
    Estimation", J. Am. Stat. Assoc. 72, 1977).
    """
    loose = np.isinf(prior)
    q, _ = np.linalg.qr(design[:, loose] / np.maximum(np.abs(design[:, loose]).max(axis=0), 1e-300))
    rest = y - q @ (q.T @ y)
    rest -= q @ (q.T @ rest)
    left = len(y) - int(loose.sum())
    if left <= 0:
        raise np.linalg.LinAlgError("there are too few readings")
    if loose.all():
        return float(rest @ rest) / left, float(left)
    shrunk = design[:, ~loose] * prior[~loose]
    shrunk = shrunk - q @ (q.T @ shrunk)
    u, singular, _ = np.linalg.svd(shrunk, full_matrices=False)
    along, spread = (u.T @ rest) ** 2, singular**2
    beside = max(float(rest @ rest - along.sum()), 0.0)

    def excess(variance: float) -> float:
        return beside / variance + float((along / (variance + spread)).sum()) - left

    most = max(float(rest @ rest) / left, 1e-290)
    least = most * 1e-12
    variance = most if excess(most) >= 0 else (least if excess(least) <= 0 else float(brentq(excess, least, most)))
    return variance, left - float((spread / (variance + spread)).sum())


def _studentized(weighted: Array, free: Array, left: int, least_sd: float | None) -> Array:
    """Residuals over their standard deviation, estimated without each (Cook and Weisberg 1982) unless it is stated.

    `least_sd` is what resolution and rounding alone may leave, None where the standard deviations were stated.
    """
    alone = free < ALONE  # the fit goes through it whatever it is
    weighted, free = np.where(alone, 0.0, weighted), np.where(alone, 1.0, free)
    if least_sd is None:
        return np.asarray(weighted / np.sqrt(free))
    if left < 2:
        return np.zeros_like(weighted)
    without = (weighted @ weighted - weighted**2 / free) / (left - 1)
    return np.asarray(weighted / np.sqrt(np.maximum(without, max(least_sd, 1e-150) ** 2) * free))


def without_outliers(fit_of: Callable[[Rows], Fit], count: int, least: int) -> tuple[Kept, Fit]:
    """Which of `count` readings to keep (booleans), and their fit; `fit_of` fits those whose numbers it is given.

    The worst is left out, one at a time, down to `least` readings; then those count as outliers up to the last that was
    further off than chance explains, so that two that hide each other are found (B. Rosner, "Percentage Points for a
    Generalized ESD Many-Outlier Procedure", Technometrics 25, 1983; here with Bonferroni's bound on Student's t).
    """
    kept: Rows = np.arange(count)
    best = kept, fit_of(kept)
    found = best[1]
    while len(kept) > least:
        freedom = found.freedom - 1
        worst = int(np.argmax(np.abs(found.studentized)))
        if abs(found.studentized[worst]) < 1:
            break  # all lie within their resolution
        chance = 2 * float(stdtr(min(freedom, 1e9), -abs(found.studentized[worst]))) if freedom > 0 else 1.0
        unlikely = chance * len(kept) < OUTLIER_P
        kept = np.delete(kept, worst)
        found = fit_of(kept)
        if unlikely:
            best = kept, found
    mask = np.zeros(count, dtype=bool)
    mask[best[0]] = True
    return mask, best[1]


def chance_of_chi_squared(value: float, freedom: int) -> float:
    """How probable a sum of squares as large as this is if the stated uncertainties are true."""
    return float(chdtrc(freedom, value))
