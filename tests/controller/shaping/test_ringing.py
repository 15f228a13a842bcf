"""What a motion leaves of a swing, against an oscillator that is integrated step by step."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lsim

from controller.shaping.ringing import (
    LEAST_SEEN,
    Array,
    Mode,
    band_of,
    left_by_ramp,
    left_by_shaper,
    left_by_steps,
    most_left,
    seen,
)
from controller.shaping.shapers import candidates
from protocol.ramp import changes, ramp_of
from protocol.shaper import PLAIN, Shaper

HZ = st.floats(2.0, 25.0)
DAMPING = st.floats(0.005, 0.3)
WAYS = st.integers(2, 40_000)
SPEED, ACCEL = 9_600, 12_800  # steps/s and steps/s^2
THREE = Shaper(((0, 20_000), (40, 25_536), (90, 20_000)))


def amplitude(mode: Mode, way: int, shaper: Shaper = PLAIN) -> float:
    """What the formulas say, in steps, for a mode that is known exactly."""
    ramp = ramp_of(way, SPEED, ACCEL)
    times = np.array(ramp.ramp_ms / 1000), np.array((ramp.ramp_ms + ramp.cruise_ms) / 1000)
    band = band_of([mode])
    return float((left_by_ramp(band, np.array(float(way)), *times) * left_by_shaper(band, shaper)).squeeze())


# x'' + 2 z w x' + w^2 x = -a for the swing x of the mass beside its base (Thomson and Dahleh, chapter 4).
@settings(max_examples=15, deadline=None)
@given(HZ, DAMPING, st.integers(50, 8_000), st.sampled_from([PLAIN, THREE]))
def test_what_a_ramp_leaves_is_what_an_oscillator_swings(hz: float, damping: float, way: int, shaper: Shaper) -> None:
    omega = 2 * math.pi * hz
    ramp = ramp_of(way, SPEED, ACCEL)
    steps = changes(ramp, shaper)
    end_ms = ramp.duration_ms + shaper.duration_ms
    times = np.arange(end_ms + 1) / 1000
    accel = np.zeros(len(times))
    for at_ms, change in steps:
        accel[at_ms:] += change
    fine = np.repeat(accel[:-1], 20)  # constant within each millisecond
    at = np.arange(len(fine)) / 20_000
    system = ([-1.0], [1.0, 2 * damping * omega, omega**2])
    _, swing, state = lsim(system, fine, at, interp=False)
    begin = int(np.flatnonzero(at >= times[-2])[0])
    x, v = swing[begin], (swing[begin + 1] - swing[begin - 1]) * 10_000
    # the last millisecond brings the acceleration back to zero, in closed form
    level = -accel[-2] / omega**2
    damped = omega * math.sqrt(1 - damping**2)
    phasor = complex(x - level, (v + damping * omega * (x - level)) / -damped)
    rest_s = float(times[-1] - at[begin])
    phasor *= np.exp(complex(-damping * omega, damped) * rest_s)
    x_end, v_end = phasor.real + level, -damped * phasor.imag - damping * omega * phasor.real
    expected = abs(complex(x_end, (v_end + damping * omega * x_end) / damped))
    assert len(state) == len(at)
    assert amplitude(Mode(hz, damping), way, shaper) == pytest.approx(expected, rel=5e-3, abs=2e-3 * ACCEL / omega**2)


@given(HZ, DAMPING, WAYS, st.floats(0.01, 0.3), st.floats(0.0, 0.9), st.floats(-1, 1), st.floats(-1, 1))
def test_no_frequency_of_a_band_swings_more_than_the_band_says(
    hz: float, damping: float, way: int, hz_spread: float, damping_spread: float, within: float, damped: float
) -> None:
    """The largest of the samples, wherever the true frequency and damping lie; long moves pass through many swings."""
    mode = Mode(hz, damping, hz_spread, damping_spread)
    ramp = ramp_of(way, SPEED, ACCEL)
    times = np.array(ramp.ramp_ms / 1000), np.array((ramp.ramp_ms + ramp.cruise_ms) / 1000)
    most = float(left_by_ramp(band_of([mode]), np.array(float(way)), *times).max())
    true = Mode(hz * (1 + hz_spread * within), damping * (1 + damping_spread * damped))
    # Between two samples w^2 itself differs a little, and so does the damping.
    slack = (1 + hz_spread / 4) ** 2 * 1.1
    assert amplitude(true, way) <= most * slack + 1e-9
    assert most <= float(most_left(band_of([mode]), np.array([[float(ACCEL)]])).max()) * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(HZ, st.floats(0.01, 0.2), st.integers(200, 8_000), st.sampled_from([0.25, 0.5, 1.0]))
def test_the_steps_of_the_motor_leave_no_more_than_stated(hz: float, damping: float, way: int, share: float) -> None:
    """The sum over the pulses, each a sudden step of the base, against the sum over the smooth ramp."""
    ramp = ramp_of(way, SPEED, round(share * ACCEL))
    grid = np.linspace(0, ramp.duration_ms / 1000, 60_001)
    place = sum(change * np.clip(grid - at_ms / 1000, 0, None) ** 2 / 2 for at_ms, change in changes(ramp, PLAIN))
    pulses = np.interp(np.arange(way) + 0.5, place, grid)
    mode = Mode(hz, damping)
    omega = 2 * math.pi * hz
    pole = complex(damping * omega, -omega * math.sqrt(1 - damping**2))
    by_pulses = np.sum(np.exp(-pole * (grid[-1] - pulses))) * pole**2
    smooth = sum(change * np.exp(-pole * (grid[-1] - at_ms / 1000)) for at_ms, change in changes(ramp, PLAIN))
    apart = abs(by_pulses - smooth) / (omega**2 * math.sqrt(1 - damping**2))
    stated = float(left_by_steps(band_of([mode]), np.array(share * ACCEL)).max())
    assert apart <= 1.25 * stated + 0.02  # the corners of the ramp at full speed count for a fiftieth of a step


@given(HZ, st.floats(1e-4, 3.0))
def test_an_exposure_sees_no_more_of_a_swing_than_stated(hz: float, exposed_s: float) -> None:
    omega = 2 * math.pi * hz
    begins = np.linspace(0, 2 * math.pi, 200)[:, None]
    motion = np.sin(begins + omega * np.linspace(0, exposed_s, 400))
    widest = float(np.max(motion.max(axis=1) - motion.min(axis=1)))
    stated: Array = seen(np.array([omega]), exposed_s)
    assert widest <= stated[0] + 1e-9
    assert widest >= 0.98 * stated[0] or exposed_s > 400 / (20 * hz) or stated[0] == LEAST_SEEN


def test_a_shaper_leaves_everything_or_what_its_polynomial_says() -> None:
    band = band_of([Mode(8.0, 0.05)])
    assert left_by_shaper(band, PLAIN) == pytest.approx(1.0)
    for shaper in candidates((Mode(8.0, 0.05),)):
        assert 0 <= float(left_by_shaper(band, shaper).max()) <= 1
