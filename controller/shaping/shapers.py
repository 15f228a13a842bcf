"""Sequences of impulses that let a mode ring as little as possible, each made for one mode.

ZV and ZVD: N. C. Singer and W. P. Seering, "Preshaping command inputs to reduce system vibration", J. Dyn. Syst. Meas.
Control 112(1):76-82 (1990). EI: W. Singhose, W. Seering and N. Singer, "Residual vibration reduction using vector
diagrams to generate shaped inputs", J. Mech. Des. 116(2):654-659 (1994). The one for a band is ours: the shortest
sequence whose residue stays below a bound for all that the mode may be, found by linear programming.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from controller.shaping.ringing import Array, Mode
from protocol.shaper import CLOSEST_MS, LONGEST_MS, MOST_IMPULSES, WHOLE, Shaper

EI_RESIDUE = 0.05
DIRECTIONS = 16  # of the polygon that stands for a circle
GRID = 24  # candidate delays of a sequence


def _half_period_s(mode: Mode) -> float:
    return 1 / (2 * mode.hz * math.sqrt(1 - mode.damping**2))


def _fade(mode: Mode) -> float:
    """K: how much of a swing is left after half a period."""
    return math.exp(-mode.damping * math.pi / math.sqrt(1 - mode.damping**2))


def binomial(mode: Mode, order: int) -> Shaper:
    """`order` times ZV: 1 is ZV, 2 is ZVD, 3 has one more derivative that vanishes; `order` half periods long."""
    fade, half_s = _fade(mode), _half_period_s(mode)
    shares = [math.comb(order, each) * fade**each / (1 + fade) ** order for each in range(order + 1)]
    return Shaper.nearest(tuple(each * half_s for each in range(order + 1)), tuple(shares))


def zv(mode: Mode) -> Shaper:
    """Nothing is left if the mode is as stated; half a period long."""
    return binomial(mode, 1)


def zvd(mode: Mode) -> Shaper:
    """The same, and little is left beside it; a period long."""
    return binomial(mode, 2)


def zvdd(mode: Mode) -> Shaper:
    """With one more derivative that vanishes; one and a half periods long."""
    return binomial(mode, 3)


def extra_insensitive(mode: Mode, residue: float = EI_RESIDUE) -> Shaper:
    """EI: one period long, with `residue` left at the mode's own frequency and none at two beside it.

    The shares of the undamped case, each times what damping leaves by then.
    """
    fade, half_s = _fade(mode), _half_period_s(mode)
    shares = np.array([(1 + residue) / 4, (1 - residue) / 2 * fade, (1 + residue) / 4 * fade**2])
    shares /= shares.sum()
    return Shaper.nearest((0.0, half_s, 2 * half_s), tuple(map(float, shares)))


def residues(mode: Mode, shaper: Shaper) -> Array:
    """What is left of a swing at the shaper's end, as a share of the unshaped swing, for each sample of the band."""
    omega, ratio = mode.band()
    delays, shares = np.array(shaper.weights).T
    left: Array = np.abs(_turned(omega, ratio, delays / 1000) @ shares)
    return left


def _turned(omega: Array, ratio: Array, delays_s: Array) -> NDArray[np.complex128]:
    pole = (ratio * omega - 1j * omega * np.sqrt(1 - ratio**2))[:, None]
    turned: NDArray[np.complex128] = np.exp(-pole * (delays_s[-1] - delays_s))
    return turned


def for_band(mode: Mode, residue: float) -> Shaper | None:
    """The shortest shaper that leaves at most `residue` of a swing, whatever the mode is; None if there is none.

    Its length is found by bisection; for each length a linear program looks for shares. The residue is that at the end
    of the shaper, so that damping counts.
    """
    low_s, high_s, found = 0.0, LONGEST_MS / 1000, None
    high_s = min(high_s, 4 * _half_period_s(mode) * 2)
    while high_s - low_s > 0.02 * _half_period_s(mode):
        middle_s = (low_s + high_s) / 2
        shaper = _of_length(mode, residue, middle_s)
        if shaper is None:
            low_s = middle_s
        else:
            found, high_s = shaper, middle_s
    return found


def _of_length(mode: Mode, residue: float, length_s: float) -> Shaper | None:
    """A shaper of this length that keeps to `residue`, or None."""
    delays_s = np.linspace(0, length_s, GRID)
    shares = _shares(mode, residue, delays_s)
    if shares is None:
        return None
    delays_s = _merged(delays_s, shares)
    if not 2 <= len(delays_s) <= MOST_IMPULSES or np.diff(delays_s).min() * 1000 < CLOSEST_MS + 1:
        return None
    delays_s = np.round(delays_s, 3)
    exact = _shares(mode, residue, delays_s)
    if exact is None or exact.min() < 2 / WHOLE:
        return None
    return Shaper.nearest(tuple(map(float, delays_s)), tuple(map(float, exact / exact.sum())))


def _shares(mode: Mode, residue: float, delays_s: Array) -> Array | None:
    """Shares that keep to `residue` at these delays and make it smallest, or None."""
    omega, ratio = mode.band()
    turned = _turned(omega, ratio, delays_s)
    angles = np.exp(2j * math.pi * np.arange(DIRECTIONS) / DIRECTIONS)
    rows = np.real(turned[:, None, :] * angles[None, :, None]).reshape(-1, len(delays_s))
    bounds = np.hstack([rows, -np.ones((len(rows), 1))])
    cost = np.zeros(len(delays_s) + 1)
    cost[-1] = 1.0
    total = np.append(np.ones(len(delays_s)), 0.0)[None, :]
    solved = linprog(
        cost, A_ub=bounds, b_ub=np.zeros(len(rows)), A_eq=total, b_eq=[1.0], bounds=(0, None), method="highs"
    )
    if solved.x is None or solved.x[-1] / math.cos(math.pi / DIRECTIONS) > residue:
        return None
    found: Array = solved.x[:-1]
    return found


def _merged(delays_s: Array, shares: Array) -> Array:
    """The delays that carry a share; neighbours on the grid become one at their common centre. The ends stay."""
    groups: list[list[int]] = []
    for index in np.flatnonzero(shares > 1e-6):
        if groups and index - groups[-1][-1] <= 1:
            groups[-1].append(int(index))
        else:
            groups.append([int(index)])
    centres = np.array([np.average(delays_s[group], weights=shares[group]) for group in groups])
    centres[0] = 0.0
    return centres
