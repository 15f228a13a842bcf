"""Weighted linear least squares with honest uncertainties, and the readings that do not belong."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, t

from controller.optics.outline import Array

ROUNDING = 1e-10  # of the largest reading; no instrument reads as finely

Rows = NDArray[np.intp]
Kept = NDArray[np.bool_]

OUTLIER_P = 0.01  # the chance, over all readings of a sound set, that one is called an outlier. Our own choice.


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients with their covariance; `freedom` is inf where the readings' own uncertainties were stated."""

    coefficients: Array
    covariance: Array
    residuals: Array
    residual_sd: float
    freedom: float
    chi_squared: float
    studentized: Array
    """Each residual over its standard deviation, from a fit without that reading where nothing was stated."""

    def u(self, number: int) -> float:
        """Standard uncertainty of one coefficient."""
        return float(np.sqrt(self.covariance[number, number]))


def fit(design: Array, y: Array, u: Array | None = None) -> Fit:
    """Fit y = design @ coefficients; (n, p), (n,), standard uncertainties (n,) or None for equal and unknown ones.

    Where `u` is stated it is believed: covariance (X' W X)^-1 without rescaling (GUM, JCGM 100:2008, H.3 for equal ones,
    Draper and Smith, *Applied Regression Analysis*, section 9.2, for weights). Needs n > p and full rank; raises
    numpy.linalg.LinAlgError without.
    """
    weights = np.ones_like(y) if u is None else 1 / u
    scale = np.abs(design).max(axis=0)
    scaled = design / scale * weights[:, None]
    q, r = np.linalg.qr(scaled)
    if np.abs(np.diag(r)).min() < 1e-12 * np.abs(np.diag(r)).max():
        raise np.linalg.LinAlgError("the readings do not tell the coefficients apart")
    inverse = np.linalg.inv(r)
    coefficients = inverse @ (q.T @ (y * weights)) / scale
    residuals = y - design @ coefficients
    left = len(y) - design.shape[1]
    weighted = residuals * weights
    sum_of_squares = float(weighted @ weighted)
    variance = sum_of_squares / left if u is None else 1.0
    covariance = variance * (inverse @ inverse.T) / np.outer(scale, scale)
    free = np.maximum(1 - (q * q).sum(axis=1), 1e-12)  # 1 - leverage
    return Fit(
        coefficients=coefficients,
        covariance=covariance,
        residuals=residuals,
        residual_sd=float(np.sqrt(residuals @ residuals / left)),
        freedom=float(left) if u is None else np.inf,
        chi_squared=sum_of_squares,
        studentized=_studentized(weighted, free, left, None if u is not None else ROUNDING * float(np.abs(y).max())),
    )


def _studentized(weighted: Array, free: Array, left: int, least_sd: float | None) -> Array:
    """Residuals over their standard deviation, estimated without each (Cook and Weisberg 1982) unless it is stated.

    `least_sd` is what rounding alone may leave, None where the standard deviations were stated.
    """
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
        chance = 2 * float(t.sf(abs(found.studentized[worst]), freedom)) if freedom > 0 else 1.0
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
    return float(chi2.sf(value, freedom))
