"""Weighted linear least squares with complete uncertainties, and a search for outliers."""

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

OUTLIER_P = 0.01  # chance, over all readings of a sound set, that one is called an outlier. Our own choice.


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients with their covariance; `freedom` is inf if the readings' own uncertainties were stated.

    The covariance is based on `variances` (n,). `seen_variance` is that of the residuals alone, None if the uncertainties
    were stated. `estimator` (p, n) times the readings gives the coefficients.
    """

    coefficients: Array
    covariance: Array
    residuals: Array
    residual_sd: float
    freedom: float
    chi_squared: float
    studentized: Array
    """Each residual over its standard deviation, which is from a fit without that reading if none was stated."""
    estimator: Array
    variances: Array
    seen_variance: float | None

    def u(self, number: int) -> float:
        """Standard uncertainty of one coefficient."""
        return float(np.sqrt(self.covariance[number, number]))


def fit(design: Array, y: Array, u: Array | None = None, *, least_sd: float = 0.0, prior_sd: Array | None = None) -> Fit:
    """Fit y = design @ coefficients; (n, p), (n,), standard uncertainties `u` (n,), or None if equal and unknown.

    A stated `u` is used as it is: covariance (X' W X)^-1 without rescaling (GUM, JCGM 100:2008, H.3 for equal ones,
    Draper and Smith, *Applied Regression Analysis*, section 9.2, for weights). Without it, no reading is more certain
    than `least_sd`, whatever the residuals say (GUM, 4.3.7). `prior_sd` (p,) is the expected size of each coefficient
    (normal about 0; inf: unknown). Such coefficients are shrunk, and the covariance includes what they may hide. Needs
    full rank and more readings than free coefficients; otherwise raises numpy.linalg.LinAlgError.
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
        raise np.linalg.LinAlgError("no reading depends on one of the coefficients")
    q, r = np.linalg.qr(stacked / scale)
    if np.abs(np.diag(r)).min() < 1e-12 * np.abs(np.diag(r)).max():
        raise np.linalg.LinAlgError("the readings do not determine the coefficients")
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

    Without a prior: the sum of squares over n - p. With one: the variance at which residuals and shrunk coefficients
    together have their expected size (D. A. Harville, "Maximum Likelihood Approaches to Variance Component Estimation",
    J. Am. Stat. Assoc. 72, 1977).
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

    `least_sd` is the standard deviation from resolution and rounding alone, None if the standard deviations were stated.
    """
    alone = free < ALONE  # the fit passes through it whatever it is
    weighted, free = np.where(alone, 0.0, weighted), np.where(alone, 1.0, free)
    if least_sd is None:
        return np.asarray(weighted / np.sqrt(free))
    if left < 2:
        return np.zeros_like(weighted)
    without = (weighted @ weighted - weighted**2 / free) / (left - 1)
    return np.asarray(weighted / np.sqrt(np.maximum(without, max(least_sd, 1e-150) ** 2) * free))


def without_outliers(fit_of: Callable[[Rows], Fit], count: int, least: int) -> tuple[Kept, Fit]:
    """Which of `count` readings to keep (booleans), and their fit; `fit_of` fits the readings with the given indices.

    The worst reading is removed, one at a time, down to `least` readings. Outliers are then all up to the last one that
    was farther off than chance explains. This finds two that mask each other (B. Rosner, "Percentage Points for a
    Generalized ESD Many-Outlier Procedure", Technometrics 25, 1983; here with Bonferroni's bound on Student's t).
    """
    kept: Rows = np.arange(count)
    best = kept, fit_of(kept)
    found = best[1]
    while len(kept) > least:
        freedom = found.freedom - 1
        worst = int(np.argmax(np.abs(found.studentized)))
        if abs(found.studentized[worst]) < 1:
            break  # all are within their resolution
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
    """The chance of a sum of squares at least this large if the stated uncertainties are true."""
    return float(chdtrc(freedom, value))
