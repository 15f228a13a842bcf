"""Whether shaping works: simulated heads that ring as their kit says, or otherwise, or are disturbed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calibration.readings import ReadingsRefused
from controller.calibration.settle_moves import MoveReadings
from controller.calibration.shaping_check import LeftCause, Place, Shaped, ShapingVerdict, place_of, share_of_steps
from controller.shaping.ringing import Mode, band_of, left_by_shaper
from controller.shaping.shapers import extra_insensitive, zv, zvd
from protocol.shaper import PLAIN, Shaper
from tests.controller.calibration.lens_rigs import swing
from tests.controller.calibration.shaken import ACCEL, after_move, pair_of, times_of

STATED = Mode(6.0, 0.04, 0.1, 0.5)
SHAPER = extra_insensitive(STATED)
STEPS = share_of_steps(STATED, ACCEL)


def judged(place: Place) -> Shaped:
    assert place.shaped is not None
    return place.shaped


def found(shaper: Shaper, hz: float, damping: float, seed: int = 0) -> Place:
    return place_of(*pair_of(shaper, hz, damping, seed), shaper, STATED, STEPS)


@given(
    st.sampled_from([zv, zvd, extra_insensitive]),
    st.floats(0.7, 1.3),
    st.floats(0.4, 2.0),
    st.integers(0, 2**31),
)
@settings(max_examples=10, deadline=None)
def test_the_share_is_that_of_the_simulator(make: object, hz_share: float, damping_share: float, seed: int) -> None:
    """The share that the shaper leaves, as worked out for the true figures, is inside the interval that is stated.

    Widened by a hundredth: the oracle knows nothing of the rounding of the board's ramps to whole milliseconds.
    """
    assert callable(make)
    shaper, hz, damping = make(STATED), 6.0 * hz_share, 0.04 * damping_share
    try:
        shaped = judged(found(shaper, hz, damping, seed))
    except ReadingsRefused:  # by chance, which the intervals' own tests count
        return
    true = float(left_by_shaper(band_of((Mode(hz, damping),)), shaper)[0, 0])
    low, middle, high = shaped.share
    spread = max(high - middle, middle - low)
    assert low - spread - 0.01 <= true <= high + spread + 0.01  # twice the interval: of 10 hardly any is outside


@pytest.mark.parametrize("hz_share", [0.94, 1.0, 1.06])
def test_a_head_as_its_kit_says_is_shaped(hz_share: float) -> None:
    place = found(SHAPER, 6.0 * hz_share, 0.04)
    shaped = judged(place)
    assert (shaped.verdict, shaped.cause) == (ShapingVerdict.WORKS, None)
    assert shaped.left.amplitude < 0.06 * place.left.amplitude
    assert place.ringing.ring_hz == pytest.approx(6.0 * hz_share, rel=0.002)


@pytest.mark.parametrize("hz_share", [0.6, 0.75, 1.35])
def test_a_wrong_frequency_is_named(hz_share: float) -> None:
    shaped = judged(found(SHAPER, 6.0 * hz_share, 0.04))
    assert (shaped.verdict, shaped.cause) == (ShapingVerdict.FAILS, LeftCause.FREQUENCY)
    assert shaped.share[0] > shaped.promised


def disturbed(extra: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Shaped:
    """With `extra` in the readings after the shaped move only; the head rings as its kit says."""
    plain, shaped = after_move(PLAIN, 6.0, 0.04), after_move(SHAPER, 6.0, 0.04, seed=1, extra=extra)
    return judged(place_of(plain, shaped, SHAPER, STATED, STEPS))


@pytest.mark.parametrize("hz", [3.5, 9.0, 14.0, 25.0])
@pytest.mark.parametrize("size_deg", [0.006, 0.02])
def test_a_second_vibration_is_named_with_its_frequency(hz: float, size_deg: float) -> None:
    shaped = disturbed(swing(times_of(6.0), hz, 0.03, size_deg, 0.5))
    assert (shaped.verdict, shaped.cause) == (ShapingVerdict.FAILS, LeftCause.SECOND)
    assert shaped.second is not None
    assert shaped.second.ring_hz == pytest.approx(hz, rel=0.02)


def test_what_rings_on_at_the_stated_frequency_is_put_down_to_play() -> None:
    shaped = disturbed(swing(times_of(6.0), 6.0, 0.04, 0.03, 0.5))
    assert (shaped.verdict, shaped.cause) == (ShapingVerdict.FAILS, LeftCause.PLAY)


def test_a_gust_is_told_from_play() -> None:
    time = times_of(6.0)
    gust = np.cumsum(np.random.default_rng(8).normal(0, 0.003, len(time))) + swing(time, 6.0, 0.04, 0.05, 0.5)
    shaped = disturbed(gust)
    assert (shaped.verdict, shaped.cause) == (ShapingVerdict.FAILS, LeftCause.SCATTER)
    assert shaped.scatter_times > 2


def test_a_coarse_sensor_is_no_proof() -> None:
    """Both moves read in steps of an eighth of the swing: the shaped one then hardly shows any motion."""
    step = 0.01

    def coarse(read: MoveReadings) -> MoveReadings:
        return MoveReadings(read.move, read.name, read.time_s, np.round(read.value / step) * step)

    plain, shaped = map(coarse, pair_of(SHAPER, 6.0, 0.04))
    place = place_of(plain, shaped, SHAPER, STATED, STEPS)
    assert judged(place).verdict is ShapingVerdict.NOT_SHOWN
    assert judged(place).left.high >= step / 2


def test_without_a_kit_the_measured_vibration_is_the_measure() -> None:
    place = place_of(*pair_of(SHAPER, 6.0, 0.04), SHAPER, None, STEPS)
    assert judged(place).verdict is ShapingVerdict.WORKS
    assert (place.stated.hz, place.stated.hz_spread) == (place.ringing.ring_hz, 0.1)
    alone = place_of(after_move(PLAIN, 6.0, 0.04), None, None, STATED)
    assert alone.shaped is None


def test_readings_that_cannot_be_used_are_named() -> None:
    plain, shaped = pair_of(SHAPER, 6.0, 0.04)
    few = MoveReadings(shaped.move, "the shaped ones", shaped.time_s[:5], shaped.value[:5])
    with pytest.raises(ReadingsRefused, match="the shaped ones: only 5 readings"):
        place_of(plain, few, SHAPER, STATED, STEPS)
    still = MoveReadings(plain.move, "the plain ones", plain.time_s, np.full_like(plain.value, 1.5))
    with pytest.raises(ReadingsRefused, match="the plain ones: all readings are the same"):
        place_of(still, shaped, SHAPER, STATED, STEPS)


def test_the_swing_is_that_of_the_ramp() -> None:
    """4 a / w^2 for two ramps of half a period (W. Thomson and M. Dahleh, Theory of Vibration, 5th ed., chapter 4)."""
    hz = 10.0
    steps = round(12_800 * (1 / (2 * hz)) ** 2)
    place = place_of(after_move(PLAIN, hz, 0.005, steps=steps, noise_deg=1e-5), None, None, None)
    assert place.left.amplitude == pytest.approx(4 * 40.0 / (2 * math.pi * hz) ** 2, rel=0.03)
