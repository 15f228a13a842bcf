"""The shapers against what is published of them, and against the frequencies that they are made for."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.shaping.ringing import Mode, band_of, left_by_shaper
from controller.shaping.shapers import candidates, close_zeros, extra_insensitive, spread_zeros, zv, zvd
from protocol.errors import WrongUse
from protocol.shaper import LONGEST_MS, MOST_IMPULSES, PLAIN, Shaper

SLOW_HZ = 1.0  # so that whole milliseconds do not matter


def left_at(shaper: Shaper, hz: float, damping: float = 0.0) -> float:
    return float(left_by_shaper(band_of([Mode(hz, max(damping, 1e-4))]), shaper).max())


def insensitivity(shaper: Shaper, hz: float = SLOW_HZ, residue: float = 0.05) -> float:
    """The width of the frequencies about `hz` at which no more than `residue` is left, as a share of it."""
    shares = np.arange(0.5, 1.5, 0.0005)
    small = np.array([left_at(shaper, hz * share) <= residue for share in shares])
    middle = int(np.argmin(np.abs(shares - 1)))
    low, high = middle, middle
    while small[low - 1]:
        low -= 1
    while small[high + 1]:
        high += 1
    return float(shares[high] - shares[low])


# W. Singhose, W. Seering and N. Singer, J. Mech. Des. 116(2):654-659 (1994): at 5 % the insensitivity of ZV is 0.06, of
# ZVD 0.28 and of EI 0.40. ZV and ZVD: N. Singer and W. Seering, J. Dyn. Syst. Meas. Control 112(1):76-82 (1990).
@pytest.mark.parametrize(("shaper", "published"), [(zv, 0.06), (zvd, 0.28), (extra_insensitive, 0.40)])
def test_the_published_insensitivities(shaper: object, published: float) -> None:
    assert callable(shaper)
    assert insensitivity(shaper(Mode(SLOW_HZ, 0.0))) == pytest.approx(published, abs=0.01)


def test_the_published_shares_and_times() -> None:
    """ZV (1, 1) / 2 and ZVD (1, 2, 1) / 4 without damping, half a period apart; EI (1.05, 1.9, 1.05) / 4."""
    for made, shares in ((zv, (2, 2)), (zvd, (1, 2, 1)), (extra_insensitive, (1.05, 1.9, 1.05))):
        shaper = made(Mode(SLOW_HZ, 0.0))
        assert [share for _, share in shaper.weights] == pytest.approx([share / 4 for share in shares], abs=2e-5)
        assert [delay for delay, _ in shaper.weights] == [500 * each for each in range(len(shares))]


# K = exp(-z pi / sqrt(1 - z^2)), shares (1, K) / (1 + K), half a damped period apart (the same, 1990).
@given(st.floats(0.5, 10.0), st.floats(0.0, 0.5))
def test_zv_with_damping(hz: float, damping: float) -> None:
    fade = math.exp(-damping * math.pi / math.sqrt(1 - damping**2))
    (_, first), (delay_ms, second) = zv(Mode(hz, damping)).weights
    assert (first, second) == pytest.approx((1 / (1 + fade), fade / (1 + fade)), abs=2e-5)
    assert delay_ms == pytest.approx(500 / (hz * math.sqrt(1 - damping**2)), abs=0.5)


@given(st.floats(0.5, 8.0), st.floats(0.001, 0.3), st.floats(0.05, 0.3), st.sampled_from([1, 2, 3, 4]))
def test_zeros_are_where_they_are_placed(hz: float, damping: float, spread: float, order: int) -> None:
    """Chebyshev's points: cos((2 k - 1) pi / 2 n). Damping moves them a little, and so do whole milliseconds."""
    try:
        shaper = spread_zeros(Mode(hz, damping, spread), order, 1.0)
    except WrongUse:
        return
    root = math.sqrt(1 - damping**2)
    for k in range(1, order + 1):
        at_hz = hz * root * (1 + spread * math.cos((2 * k - 1) * math.pi / (2 * order)))
        omega = 2 * math.pi * at_hz  # damped; the rate of decay is that of the mode
        pole = complex(damping * 2 * math.pi * hz, -omega)
        left = sum(share * np.exp(-pole * (shaper.duration_ms - delay) / 1000) for delay, share in shaper.weights)
        assert abs(left) < 2 * math.pi * at_hz * 0.0006 * order + 1e-3


@given(st.floats(1.0, 6.0), st.floats(1.2, 3.0), st.floats(0.001, 0.1), st.floats(0.5, 1.0))
def test_a_zero_at_each_of_two_modes(hz: float, ratio: float, damping: float, distance: float) -> None:
    try:
        shaper = close_zeros(Mode(hz, damping), (1.0, ratio), distance / ratio)
    except WrongUse:
        assume(False)
    for each in (hz, hz * ratio):
        assert left_at(shaper, each, damping * hz / each) < 2 * math.pi * each * 0.003 + 0.02


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.builds(Mode, st.floats(0.1, 1000), st.floats(0.001, 0.99), st.floats(0, 0.5), st.floats(0, 0.9)),
        min_size=1,
        max_size=2,
    )
)
def test_candidates_are_shapers_each_longer_one_leaving_less(modes: list[Mode]) -> None:
    """Whatever a kit states, even what no board can time: then only the plain ramp is left."""
    two = len(modes) == 2
    if two:  # both are known alike
        modes = [modes[0], Mode(modes[1].hz, modes[1].damping, modes[0].hz_spread, modes[0].damping_spread)]
    found = candidates(tuple(modes))
    assert found[0] == PLAIN
    band = band_of(modes)
    most = [float((left_by_shaper(band, shaper) / band.omega**2).max()) for shaper in found]
    assert all(len(shaper.impulses) <= MOST_IMPULSES and shaper.duration_ms <= LONGEST_MS for shaper in found)
    assert [shaper.duration_ms for shaper in found] == sorted(shaper.duration_ms for shaper in found)
    assert most == sorted(most, reverse=True)
    damped_hz = modes[0].hz * math.sqrt(1 - modes[0].damping ** 2)
    if not two and (damped_hz > 120 or damped_hz < 0.2):
        assert found == (PLAIN,)


@pytest.mark.parametrize(("hz", "damping"), [(8.0, 0.05), (4.0, 0.03), (5.0, 0.03)])
def test_a_band_of_a_tenth_is_met_within_two_periods(hz: float, damping: float) -> None:
    """A shaper for the band leaves less than a fiftieth, whatever the mode is within 10 % and half the damping."""
    mode = Mode(hz, damping, 0.1, 0.5)
    good = [shaper for shaper in candidates((mode,)) if left_by_shaper(band_of([mode]), shaper).max() < 0.02]
    assert min(shaper.duration_ms for shaper in good) < 2000 / hz
