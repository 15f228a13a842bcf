"""Sequences of impulses that let a mode ring as little as possible, each made for one mode.

Impulses at equal distances are the coefficients of a polynomial: where one of its zeros lies, a frequency is left without
any swing. ZV and ZVD have all zeros at the mode's own frequency (N. C. Singer and W. P. Seering, "Preshaping command
inputs to reduce system vibration", J. Dyn. Syst. Meas. Control 112(1):76-82, 1990; as zeros: T. D. Tuttle and W. P.
Seering, "A zero-placement technique for designing shaped inputs to suppress multiple-mode vibration", American Control
Conference 1994, 2533-2537, cited from memory). EI has two beside it (W. Singhose, W. Seering and N. Singer, "Residual
vibration reduction using vector diagrams to generate shaped inputs", J. Mech. Des. 116(2):654-659, 1994). Those for a
band are ours: zeros where Chebyshev's polynomial over the band has them.
"""

import math
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from itertools import product

import numpy as np

from controller.shaping.ringing import Array, Mode
from protocol.errors import WrongUse
from protocol.shaper import MOST_IMPULSES, PLAIN, Shaper

EI_RESIDUE = 0.05
SCALES = (0.0, 0.4, 0.7, 1.0, 1.15)
"""How far the zeros of a shaper for a band lie apart, as shares of Chebyshev's."""
CENTRES = (1.0, 0.985)
"""Where they lie about, as shares of the mode's frequency: what is slower swings wider, and for longer."""
DISTANCES = tuple(round(0.54 + 0.04 * each, 2) for each in range(12))
"""Distances of impulses below half a period, in half periods."""


def zv(mode: Mode) -> Shaper:
    """Nothing is left if the mode is as stated; half a period long."""
    return spread_zeros(mode, 1)


def zvd(mode: Mode) -> Shaper:
    """The same, and little is left beside it; a period long."""
    return spread_zeros(mode, 2)


def extra_insensitive(mode: Mode, residue: float = EI_RESIDUE) -> Shaper:
    """EI: one period long, with `residue` left at the mode's own frequency and none at two beside it.

    The shares of the undamped case, each times what damping leaves by then.
    """
    return _faded(mode, np.array([(1 + residue) / 4, (1 - residue) / 2, (1 + residue) / 4]), 1.0)


def spread_zeros(mode: Mode, order: int, scale: float = 0.0, centre: float = 1.0) -> Shaper:
    """`order` half periods long, with a zero at each of `order` frequencies in the mode's band.

    They are spread by `scale` times Chebyshev's points about `centre` times the frequency; 0: all are there. Raises
    WrongUse if it is no shaper for a board.
    """
    return _faded(mode, _polynomial(_spread(mode, order, scale, centre)), 1.0)


def close_zeros(mode: Mode, frequencies: Array, distance: float) -> Shaper:
    """A zero at each of one or two `frequencies`, shares of the mode's, with impulses `distance` half periods apart.

    Raises WrongUse if it is no shaper for a board.
    """
    angles = frequencies * distance
    return _faded(mode, _polynomial(np.concatenate([angles, -angles])), distance)


def _spread(mode: Mode, count: int, scale: float, centre: float) -> Array:
    points: Array = np.cos((2 * np.arange(count) + 1) * math.pi / (2 * count))
    return centre + mode.hz_spread * scale * points


def _polynomial(half_turns: Array) -> Array:
    """Coefficients of the polynomial with zeros at these angles on the unit circle; the angles come in pairs."""
    shares: Array = np.real(np.poly(np.exp(1j * math.pi * half_turns)))
    return shares


def _faded(mode: Mode, shares: Array, distance: float) -> Shaper:
    """These shares, each times what damping leaves by then, `distance` half periods from each other."""
    root = math.sqrt(1 - mode.damping**2)
    half_s, fade = distance / (2 * mode.hz * root), math.exp(-distance * mode.damping * math.pi / root)
    shares = shares * fade ** np.arange(len(shares))
    shares = shares / shares.sum()
    return Shaper.nearest(tuple(each * half_s for each in range(len(shares))), tuple(shares.tolist()))


def candidates(modes: Sequence[Mode]) -> list[Shaper]:
    """Shapers for an axis with these modes: none, ZV, ZVD and more of their kind, EI, those for the band.

    With two modes, each is made for one of them, or has a zero at both.
    """
    makers: list[Callable[[], Shaper]] = []
    for mode in modes:
        makers += _makers(mode)
    if len(modes) > 1:
        both = np.array([1.0, modes[1].hz / modes[0].hz])
        makers += [partial(close_zeros, modes[0], both, distance / both.max()) for distance in (1.0, *DISTANCES)]
        makers.append(partial(_one_after_the_other, zv, modes))
    found = [PLAIN]
    for make in makers:
        with suppress(WrongUse):  # a mode may be too fast, or too slow, for a board to time its impulses
            found.append(make())
    return list(dict.fromkeys(found))


def _makers(mode: Mode) -> list[Callable[[], Shaper]]:
    spreads = list(product(SCALES if mode.hz_spread else SCALES[:1], CENTRES if mode.hz_spread else CENTRES[:1]))
    orders = range(1, MOST_IMPULSES)
    made: list[Callable[[], Shaper]] = [partial(extra_insensitive, mode)]
    made += [partial(spread_zeros, mode, order, *spread) for order, spread in product(orders, spreads)]
    zeros = [_spread(mode, count, *spread) for count, spread in product((1, 2), spreads)]
    return made + [partial(close_zeros, mode, at, distance) for at, distance in product(zeros, DISTANCES)]


def _one_after_the_other(make: Callable[[Mode], Shaper], modes: Sequence[Mode]) -> Shaper:
    """A shaper for each of two modes, one laid over the other."""
    one, two = (make(mode).weights for mode in modes)
    both = sorted((a + b, x * y) for (a, x), (b, y) in product(one, two))
    delays_ms, shares = zip(*both, strict=True)
    return Shaper.nearest(tuple(delay / 1000 for delay in delays_ms), shares)
