"""How the head rings: textbook figures, the simulated head, another fitter, and correct uncertainties."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import curve_fit

from controller.calibration.close_pair import close_pair
from controller.calibration.settle import NotRinging, Wait, fit_ringing, swing_px, wait_for
from controller.program.timing import ring_down_s
from protocol.units import NS
from sim.axis import AxisSpec
from sim.head import HeadSpec, SimulatedHead
from sim.motors import move

Array = NDArray[np.float64]


TIME = np.arange(0, 2, 0.01)
NOISE = np.random.default_rng(2).normal(0, 1, len(TIME))


def ringing(time_s: Array, hz: float, damping: float, amplitude: float, phase: float = 0.0) -> Array:
    w = 2 * math.pi * hz
    return np.asarray(amplitude * np.exp(-damping * w * time_s) * np.cos(w * math.sqrt(1 - damping**2) * time_s + phase))


@pytest.mark.parametrize(
    ("hz", "damping", "decrement"), [(34.0294 / math.tau, 0.068059, 0.428620), (8.0, 0.03, 0.1885804)]
)
def test_the_fit_gives_the_decrement_of_the_textbook(hz: float, damping: float, decrement: float) -> None:
    """W. Thomson and M. Dahleh, Theory of Vibration, 5th ed., 2.6 (example 2.8-1, from memory, and one of our own)."""
    time = np.arange(0, 2, 0.004)
    found = fit_ringing(time, 3.0 + ringing(time, hz, damping, 0.7, 0.4))
    assert found.ring_hz == pytest.approx(hz, rel=1e-6)
    assert found.amplitude == pytest.approx(0.7, rel=1e-6)
    assert 2 * math.pi * found.ring_damping / math.sqrt(1 - found.ring_damping**2) == pytest.approx(decrement, abs=2e-6)


def test_another_fitter_says_the_same() -> None:
    """scipy's curve_fit on another form of the same law, with its own slopes."""
    random, time = np.random.default_rng(4), np.arange(0, 1.2, 0.005)
    value = 0.2 + ringing(time, 6.0, 0.04, 1.5, 1.1) + random.normal(0, 0.05, len(time))
    found = fit_ringing(time, value)

    def law(t: Array, hz: float, damping: float, amplitude: float, phase: float, rest: float) -> Array:
        return rest + ringing(t, hz, damping, amplitude, phase)

    best, cov = curve_fit(law, time, value, p0=[6.1, 0.05, 1.4, 1.0, 0.2])
    assert [found.ring_hz, found.ring_damping, found.amplitude] == pytest.approx(best[:3], rel=1e-5)
    # Ours includes the effect of a second, unseen vibration. So it is larger, but not by much.
    assert np.all(np.diag(found.covariance) > 0.995 * np.diag(cov)[:3])
    assert np.all(np.diag(found.covariance) < 2 * np.diag(cov)[:3])


def test_the_wait_of_the_textbook() -> None:
    """t = ln(a / wanted) / (z w), ibid.: 0.05 degrees, half a pixel of 0.01 degrees, 8 Hz, 0.03."""
    assert ring_down_s(0.05 / 0.01, 0.5, 8.0, 0.03) == pytest.approx(1.52695, abs=5e-6)
    assert ring_down_s(0.4, 0.5, 8.0, 0.03) == 0.0


@pytest.mark.parametrize("shutter_s", [1 / 500, 1 / 60, 0.05, 0.2])
def test_motion_while_the_shutter_is_open(shutter_s: float) -> None:
    """2 A sin(pi f t), at most 2 A: against a densely sampled sine; 1.62695 px for 2 px, 8 Hz, 1/60 s."""
    begin = np.arange(0, 1 / 8, 1e-4)
    inside = begin[:, np.newaxis] + np.linspace(0, shutter_s, 400)
    worst = float(np.ptp(2.0 * np.sin(2 * np.pi * 8 * inside), axis=1).max())
    assert swing_px(2.0, 8.0, shutter_s) == pytest.approx(worst, rel=1e-3)
    assert swing_px(2.0, 8.0, 1 / 60) == pytest.approx(1.62695, abs=5e-6)


@pytest.mark.parametrize(("hz", "damping"), [(8.0, 0.05), (3.0, 0.02), (12.0, 0.15)])
def test_the_simulated_head_is_measured_as_it_is(hz: float, damping: float) -> None:
    """After the wait it moves by no more than was requested, and by no less than a fifth of it."""
    head = SimulatedHead(HeadSpec(AxisSpec(320.0), AxisSpec(320.0), hz, damping, pixel_deg=0.01), 0, 0)
    head.pan.begin(move(0, 0, 9600, 9600, 12_800))
    end_s = head.pan.motion.end_ns / NS
    time = np.arange(0, 10 / hz, 1 / hz / 25)
    value = np.array([head.pose_deg(round((end_s + t) * NS))[0] for t in time])
    found = fit_ringing(time, value + np.random.default_rng(1).normal(0, 1e-4, len(time)))
    for got, true, u in zip((found.ring_hz, found.ring_damping), (hz, damping), found.uncertainties[:2], strict=True):
        assert abs(got - true) < 4 * u
        assert u < 0.02 * true
    wait = wait_for(found, 100.0, 0.5, 0.3)
    begin = head.pan.motion.end_ns + round(wait.wait_s * NS)
    later = [head.pose_deg(begin + round(t * NS))[0] * 100 for t in np.arange(0, 0.5, 0.001)]
    assert 0.06 < np.ptp(later) < 0.3 * 1.02


def test_a_coarse_sensor_is_refused_and_a_fine_one_counted_in() -> None:
    """A swing of 1 read in tenths, hundredths and halves."""
    value = ringing(TIME, 5.0, 0.03, 1.0) + 0.001 * NOISE
    fine, tenths = (fit_ringing(TIME, np.round(value / step) * step) for step in (0.001, 0.1))
    assert tenths.residual_sd == pytest.approx(0.1 / math.sqrt(12), rel=0.4)
    assert tenths.uncertainties[2] > 5 * fine.uncertainties[2]
    with pytest.raises(NotRinging, match=r"come in steps of 0\.5"):
        fit_ringing(TIME, np.round(value / 0.5) * 0.5)


def test_times_that_scatter_are_seen() -> None:
    random = np.random.default_rng(5)
    value = ringing(TIME + random.normal(0, 0.002, len(TIME)), 8.0, 0.02, 1.0) + random.normal(0, 0.002, len(TIME))
    found = fit_ringing(TIME, value)
    assert found.jitter_ms == pytest.approx(2.0, rel=0.3)
    assert abs(found.amplitude - 1.0) < 4 * found.uncertainties[2]


def test_a_second_vibration_is_named() -> None:
    value = ringing(TIME, 4.0, 0.03, 1.0) + ringing(TIME, 6.5, 0.03, 0.2) + 0.01 * NOISE
    with pytest.raises(NotRinging, match=r"beside the vibration at 4\.0 Hz there is another at 6\.5 Hz, 0\.2"):
        fit_ringing(TIME, value)


def test_two_close_vibrations_are_noticed_where_they_show() -> None:
    value = ringing(TIME, 4.0, 0.02, 1.0) + ringing(TIME, 4.3, 0.02, 0.2) + 0.01 * NOISE
    with pytest.raises(NotRinging, match="another at"):
        fit_ringing(TIME, value)


@given(st.floats(2, 8), st.floats(0.01, 0.1), st.floats(0.01, 0.1), st.integers(0, 2**32 - 1))
@settings(max_examples=15, deadline=None)
def test_what_a_close_second_one_hides_is_what_a_fit_takes_in(hz: float, damping: float, noise: float, seed: int) -> None:
    """A second one, too small to show, is added to the fitted readings: it moves the fit by no more than was stated."""
    random = np.random.default_rng(seed)
    value = ringing(TIME, hz, damping, 1.0, random.uniform(0, 6)) + random.normal(0, noise, len(TIME))
    try:
        before = fit_ringing(TIME, value)
        ratio = random.uniform(1.02, 1.3) ** random.choice([-1, 1])
        second = ringing(TIME, hz * ratio, random.choice([0.01, 0.1]), noise / 2, random.uniform(0, 6))
        after = fit_ringing(TIME, value + second)
    except NotRinging:
        return
    moved = np.array([after.ring_hz - before.ring_hz, after.ring_damping - before.ring_damping])
    assert (np.abs(moved) <= 1.5 * np.array(before.hidden_most[:2])).all()
    assert (np.array(before.hidden_most) > 0).all()


def test_a_single_vibration_seldom_looks_like_two() -> None:
    """Fisher's test: its chances are uniform. Of 40 at most 3 are below a hundredth, but for one case in ten thousand."""
    fitted, below = np.array([math.log(2 * math.pi * 5), math.log(0.03), 0.8, 0.6, 0.0]), 0
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(0, 0.03, len(TIME))
        below += close_pair(TIME, noise, np.full(len(TIME), 1 / 0.03), fitted, 1.0).seen
    assert below <= 3


def test_a_long_quiet_end_does_no_harm() -> None:
    """After a minute hardly any of the readings' scatter comes from ringing."""
    time = np.arange(0, 60, 0.02)
    noise = np.random.default_rng(3).normal(0, 0.02, len(time))
    value: Array = np.asarray(ringing(time, 7.0, 0.06, 0.3) + noise)
    found = fit_ringing(time, value)
    assert abs(found.ring_hz - 7.0) < 3 * found.uncertainties[0] < 0.2


def test_mere_noise_never_rings() -> None:
    for seed in range(100):
        random = np.random.default_rng(seed)
        with pytest.raises(NotRinging):
            fit_ringing(TIME[:120], random.normal(0, 1, 120))


def test_a_vibration_that_is_too_small_needs_no_wait() -> None:
    time = np.arange(0, 1, 0.01)
    found = fit_ringing(time, ringing(time, 5.0, 0.05, 0.1))
    assert wait_for(found, 1.0, 0.01, 0.25) == Wait(0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (np.full(len(TIME), 3.3), "all readings are the same"),
        (ringing(TIME, 5.0, 0.03, 1.0) + 0.001 * NOISE + (TIME[40] == TIME), "400 ms after the first is an outlier"),
        (NOISE * 1e200, "impossibly large"),
        (NOISE, "no single vibration|too far apart"),
        (TIME * 2 + 0.001 * NOISE, "less than one swing|more than noise|not die away"),
        (np.sin(2 * np.pi * 5 * TIME) + 0.0001 * NOISE, "not die away|more than noise"),
        (ringing(TIME, 4.0, 0.03, 1.0) + ringing(TIME, 6.5, 0.03, 0.8) + 0.001 * NOISE, "more than noise|another at"),
    ],
    ids=["still", "one outlier", "huge", "noise", "drift", "endless", "two vibrations"],
)
def test_what_is_no_ringing_is_refused(value: Array, why: str) -> None:
    with pytest.raises(NotRinging, match=why):
        fit_ringing(TIME, value)
    with pytest.raises(NotRinging, match="only 5"):
        fit_ringing(TIME[:5], value[:5])
