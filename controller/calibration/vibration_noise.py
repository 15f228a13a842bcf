"""What readings of a vibration contain besides it: noise, a grid, times that scatter, and perhaps a second vibration."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.stats import f as fisher

from controller.calibration import damped
from controller.optics.outline import Array

SEEN = 0.001  # chance, over all frequencies, that noise looks like a second vibration. Our own choice.
CHANCE = 0.5  # prior chance of a second vibration. Our own choice: most heads have several.
ENOUGH = 25  # evaluations; a second vibration, if there is one, is found in fewer
LEAST_SHARE = 1e-3  # of the main one: a smaller second one is included in the uncertainty and never refused
WORTH = 2.0  # of minus twice the log likelihood, for one more unknown (Akaike, as below)
MOST_SHARE = 1e3  # the variance of times over that of readings, in the units of the fit


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviations of the readings (in the fit's unit) and of their times (s).

    `u_time_share` is the uncertainty of the square of the latter, as a share.
    """

    value: float
    time_s: float
    u_time_share: float

    def sd(self, speed: Array) -> Array:
        """Of each reading (n,) while the value changes by `speed` (n,) per second."""
        return np.hypot(self.value, self.time_s * speed)


def noise_of(residual: Array, speed: Array, step: float, used: int) -> Noise:
    """The noise by maximum likelihood, from the residuals of a fit of `used` values; at least that of the grid `step`."""
    count, square = len(residual), residual**2
    typical = max(float(speed @ speed) / count, 1e-300)

    def variance_of(share: float) -> tuple[float, Array]:
        shape = 1 + share * speed**2 / typical
        return max(float(np.sum(square / shape)) / (count - used), step**2 / 12, 1e-24), shape

    def unlikelihood(log_share: float) -> float:
        variance, shape = variance_of(math.exp(log_share))
        return float(np.sum(np.log(variance * shape) + square / (variance * shape)))

    found = minimize_scalar(unlikelihood, bounds=(math.log(1e-4), math.log(MOST_SHARE)), method="bounded")
    better = unlikelihood(math.log(1e-8)) - float(found.fun)
    share = math.exp(float(found.x)) if better > WORTH else 0.0
    variance, _ = variance_of(share)
    # The share of the residuals that tells about the times: those that the times dominate.
    part = share * speed**2 / typical / (1 + share * speed**2 / typical)
    u_share = min(1.0, math.sqrt(2 / max(float(part @ part), 1e-3)))
    return Noise(math.sqrt(variance), math.sqrt(variance * share / typical), u_share)


def inflation(weighted: Array) -> float:
    """Factor by which correlation between successive errors increases variances (at least 1).

    As for a first-order autoregression, if the correlation is more than chance explains.
    """
    rho = float(weighted[1:] @ weighted[:-1]) / max(float(weighted @ weighted), 1e-300)
    if rho * math.sqrt(len(weighted)) < 1.64:
        return 1.0
    rho = min(rho, 0.8)
    return (1 + rho) / (1 - rho)


@dataclass(frozen=True, slots=True, eq=False)
class Second:
    """A second vibration: whether it shows, both frequencies in Hz, its size relative to the main one, and what an unseen
    one adds to the covariance (5, 5) of the main one's values.
    """

    seen: bool
    main_hz: float
    hz: float
    share: float
    unseen: Array


def another(since: Array, residual: Array, weight: Array, found: Array, value: Array) -> Second:
    """Look for a second vibration in the residuals of the fit `found` (5,), by Fisher's test of four more values.

    One within chance is weighted by its probability (H. Akaike, IEEE Trans. Automatic Control 19:716, 1974).
    """
    count = len(since)
    both, after = _two(since, residual, weight, found, value)
    before = float(np.sum((weight * residual) ** 2))
    freedom = count - len(both)
    ratio = max(before / after - 1, 0.0) * freedom / damped.EACH
    chance = float(fisher.sf(ratio, damped.EACH, freedom)) * count / 2  # about that many frequencies can be told apart
    if math.hypot(both[2], both[3]) < math.hypot(both[6], both[7]):
        both = both[[4, 5, 6, 7, 0, 1, 2, 3, 8]]
    hz = np.exp(np.clip(both[[0, 4]], -50, 50)) / (2 * math.pi)
    share = math.hypot(both[6], both[7]) / max(math.hypot(both[2], both[3]), 1e-12)
    grows = count / 2 * math.log(before / after) if before > after else 0.0
    odds = CHANCE / (1 - CHANCE) * math.exp(min(grows - damped.EACH, 50.0))
    moved = both[[0, 1, 2, 3, 8]] - found
    weighted = odds / (1 + odds) * np.outer(moved, moved)
    unseen = weighted if np.isfinite(weighted).all() and np.abs(moved[:1]).max() < 1 else np.zeros((5, 5))
    return Second(chance < SEEN and share > LEAST_SHARE, float(hz[0]), float(hz[1]), share, unseen)


def _two(since: Array, residual: Array, weight: Array, found: Array, value: Array) -> tuple[Array, float]:
    """The best fit of both vibrations (9,) and its weighted sum of squares, started both anywhere and close by."""
    begins = [damped.start(since, -residual)[:4]]
    for side in (0.85, 1.18):
        close = found[:4] + np.array([math.log(side), 0.0, 0.0, 0.0])
        columns = damped.model(np.append(close, 0.0), since)[1][:, 2:4] * weight[:, np.newaxis]
        begins.append(np.concatenate([close[:2], np.linalg.lstsq(columns, -weight * residual, rcond=None)[0]]))
    best, least = np.concatenate([found[:4], begins[0], found[4:]]), math.inf
    for begin in begins:
        both = damped.fitted(since, value, weight, np.concatenate([found[:4], begin, found[4:]]), ENOUGH)
        left = weight * (damped.values_and_slopes(both, since)[0] - value)
        if (square := float(left @ left)) < least:
            best, least = both, square
    return best, max(least, 1e-300)
