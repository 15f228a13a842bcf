"""A damped sine: its values and slopes, where to start the search, and least squares for one or several at once.

value = rest + exp(-z w t) (a cos(wd t) + b sin(wd t)), with w = 2 pi f the natural and wd = w sqrt(1 - z^2) the damped
angular frequency, z the damping ratio (W. Thomson and M. Dahleh, *Theory of Vibration with Applications*, 5th ed.,
section 2.6).
"""

import math

import numpy as np
from scipy.optimize import least_squares

from controller.optics.outline import Array

EACH = 4  # values of one vibration: ln wd, ln(decay / wd), the cosine's and the sine's part; the rest position comes last
DAMPINGS = (0.005, 0.02, 0.05, 0.15, 0.4)  # starting values of the search


def fitted(since: Array, value: Array, weight: Array, begin: Array, most: int = 400) -> Array:
    """Least-squares solution (4 m + 1,) for m vibrations and the rest position, from `begin`, in at most `most`
    evaluations.

    `weight` (n,) is one over the standard deviation of each reading.
    """

    def misfit(p: Array) -> Array:
        return np.asarray(weight * (values_and_slopes(p, since)[0] - value))

    def slopes(p: Array) -> Array:
        return np.asarray(weight[:, np.newaxis] * values_and_slopes(p, since)[1])

    return np.asarray(least_squares(misfit, begin, jac=slopes, x_scale="jac", method="lm", max_nfev=most).x)


def values_and_slopes(p: Array, since: Array) -> tuple[Array, Array]:
    """Values (n,) and slopes (n, 4 m + 1) of m vibrations and the rest position."""
    total, columns = np.full_like(since, p[-1]), []
    for begin in range(0, len(p) - 1, EACH):
        values, slopes = model(np.append(p[begin : begin + EACH], 0.0), since)
        total = total + values
        columns.append(slopes[:, :EACH])
    return total, np.concatenate([*columns, np.ones((len(since), 1))], axis=1)


def model(p: Array, since: Array) -> tuple[Array, Array]:
    """Values (n,) and slopes (n, 5) for ln wd, ln(decay / wd), the cosine's and sine's part, and the rest position."""
    w, ratio = math.exp(min(p[0], 50.0)), math.exp(min(p[1], 50.0))
    fade = np.exp(-np.minimum(ratio * w * since, 700.0))
    cosine, sine = fade * np.cos(w * since), fade * np.sin(w * since)
    swing = p[2] * cosine + p[3] * sine
    decay = -ratio * w * since * swing
    turned = w * since * (p[3] * cosine - p[2] * sine)
    return swing + p[4], np.stack([turned + decay, decay, cosine, sine, np.ones_like(since)], axis=-1)


def start(since: Array, scaled: Array) -> Array:
    """The best starting point among some frequencies and dampings; the other three values of each follow linearly."""
    best, least = np.zeros(5), math.inf
    for ratio in DAMPINGS:
        for w in 2 * math.pi * peaks(since, scaled):
            linear = model(np.array([math.log(w), math.log(ratio), 0.0, 0.0, 0.0]), since)[1][:, 2:]
            parts = np.linalg.solve(linear.T @ linear + 1e-9 * np.eye(3), linear.T @ scaled)
            misfit = float(np.sum((linear @ parts - scaled) ** 2))
            if misfit < least:
                best, least = np.array([math.log(w), math.log(ratio), *parts]), misfit
    return best


def peaks(since: Array, scaled: Array) -> Array:
    """Frequencies in Hz on and beside the highest peaks of the spectrum."""
    count, length = len(since), float(since[-1])
    even = np.interp(np.linspace(0.0, length, count), since, scaled)
    power = np.abs(np.fft.rfft(even, 4 * count))[2:]  # from half a swing upward
    hz = np.fft.rfftfreq(4 * count, length / (count - 1))[2:]
    inner = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])) + 1
    highest = inner[np.argsort(power[inner])[-3:]] if len(inner) else np.array([int(np.argmax(power))])
    beside = hz[highest, np.newaxis] + np.arange(-2, 3) * 0.25 / length
    return np.asarray(np.maximum(beside.ravel(), 0.3 / length))
