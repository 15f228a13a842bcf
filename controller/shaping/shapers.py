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
from dataclasses import replace
from functools import lru_cache, partial
from itertools import product

import numpy as np

from controller.shaping.ringing import Array, Mode, band_of, left_by_shaper
from protocol.errors import WrongUse
from protocol.shaper import MOST_IMPULSES, PLAIN, Shaper

EI_RESIDUE = 0.05
SCALES = (0.0, 0.4, 0.7, 0.85, 1.0, 1.15)
"""How far the zeros of a shaper for a band lie apart, as shares of Chebyshev's."""
CENTRES = (1.0, 0.99, 0.98)
"""Where they lie about, as shares of the mode's frequency: what is slower swings wider, and for longer."""
DISTANCES = tuple(round(0.52 + 0.02 * each, 2) for each in range(24))
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


def spread_zeros(mode: Mode, order: int, scale: float = 0.0) -> Shaper:
    """`order` half periods long, with a zero at each of `order` frequencies in the mode's band.

    They are spread by `scale` times Chebyshev's points; 0: all are at the mode's own. Raises WrongUse if it is no shaper
    for a board.
    """
    above = _spread(mode, order, scale)[: (order + 1) // 2]  # the others are as far below
    return _faded(mode, _polynomial(above, order), 1.0)


def close_zeros(mode: Mode, frequencies: Sequence[float], distance: float) -> Shaper:
    """A zero at each of one or two `frequencies`, shares of the mode's, with impulses `distance` half periods apart.

    Raises WrongUse if it is no shaper for a board.
    """
    return _faded(mode, _polynomial([at * distance for at in frequencies], 2 * len(frequencies)), distance)


def _spread(mode: Mode, count: int, scale: float) -> list[float]:
    """Chebyshev's points over the mode's band, as shares of its frequency."""
    return [1 + mode.hz_spread * scale * math.cos((2 * k + 1) * math.pi / (2 * count)) for k in range(count)]


def _polynomial(half_turns: Sequence[float], order: int) -> Array:
    """Coefficients of the polynomial with a pair of zeros on the unit circle at each of these angles, up and down.

    With an odd `order` the last one is at half a turn and stands alone.
    """
    shares: Array = np.ones(1)
    for number, half_turn in enumerate(half_turns):
        pair = [1.0, -2 * math.cos(math.pi * half_turn), 1.0]
        shares = np.convolve(shares, [1.0, 1.0] if 2 * number + 1 == order else pair)
    return shares


def _faded(mode: Mode, shares: Array, distance: float) -> Shaper:
    """These shares, each times what damping leaves by then, `distance` half periods from each other."""
    root = math.sqrt(1 - mode.damping**2)
    half_s, fade = distance / (2 * mode.hz * root), math.exp(-distance * mode.damping * math.pi / root)
    shares = shares * fade ** np.arange(len(shares))
    shares = shares / shares.sum()
    return Shaper.nearest(tuple(each * half_s for each in range(len(shares))), tuple(shares.tolist()))


@lru_cache(maxsize=32)
def candidates(modes: tuple[Mode, ...]) -> tuple[Shaper, ...]:
    """Shapers for an axis with these modes, the shortest first: none, ZV, ZVD and more of their kind, EI, for the band.

    With two modes, each is made for one of them, or has a zero at both. One that leaves more than a shorter one is left
    out.
    """
    makers: list[Callable[[], Shaper]] = []
    for mode in modes:
        makers += _makers(mode)
    if len(modes) > 1:
        both = (1.0, modes[1].hz / modes[0].hz)
        makers += [partial(close_zeros, modes[0], both, distance / max(both)) for distance in (1.0, *DISTANCES)]
        makers.append(partial(_one_after_the_other, zv, modes))
    found = {PLAIN}
    for make in makers:
        with suppress(WrongUse):  # a mode may be too fast, or too slow, for a board to time its impulses
            found.add(make())
    band, least = band_of(modes), math.inf
    swings = band.omega**2  # what is slower swings wider, and for longer
    useful = []
    for shaper in sorted(found, key=lambda shaper: (shaper.duration_ms, shaper.impulses)):
        left = float((left_by_shaper(band, shaper) / swings).max())
        if left < least:
            least = left
            useful.append(shaper)
    return tuple(useful)


def _makers(mode: Mode) -> list[Callable[[], Shaper]]:
    made: list[Callable[[], Shaper]] = [partial(extra_insensitive, mode)]
    for centre in CENTRES:
        about = replace(mode, hz=centre * mode.hz)
        made += [partial(spread_zeros, about, *each) for each in product(range(1, MOST_IMPULSES), SCALES)]
        zeros = [_spread(about, count, scale) for count, scale in product((1, 2), SCALES)]
        made += [partial(close_zeros, about, *each) for each in product(zeros, DISTANCES)]
    return made


def _one_after_the_other(make: Callable[[Mode], Shaper], modes: Sequence[Mode]) -> Shaper:
    """A shaper for each of two modes, one laid over the other."""
    one, two = (make(mode).weights for mode in modes)
    both = sorted((a + b, x * y) for (a, x), (b, y) in product(one, two))
    delays_ms, shares = zip(*both, strict=True)
    return Shaper.nearest(tuple(delay / 1000 for delay in delays_ms), shares)
