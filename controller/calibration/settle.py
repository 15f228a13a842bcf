"""How the head rings after a move: a damped sine fitted to readings of any sensor, and how long to wait for it.

value = rest + exp(-z w t) (a cos(wd t) + b sin(wd t)), with w = 2 pi f the natural and wd = w sqrt(1 - z^2) the damped
angular frequency, z the damping ratio (W. Thomson and M. Dahleh, *Theory of Vibration with Applications*, 5th ed.,
section 2.6). Least squares, uncertainties from its normal equations (D. Bates and D. Watts, *Nonlinear Regression
Analysis*, 1988, 2.3.2).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from controller.calibration.propagation import RELATIVE_STEP
from controller.optics.outline import Array
from controller.program.timing import ring_down_s

FEWEST = 12  # readings for five unknowns
LARGEST = 1e100
OUTLIER = 7.0  # standard deviations; noise does that once in a hundred thousand million readings
STANDS_OUT = 8.0  # an amplitude is so many times its uncertainty; what is fitted to mere noise is up to 5 times
RHO_LIMIT = 0.6  # neighbouring residuals more alike than this are not noise
DAMPINGS = (0.005, 0.02, 0.05, 0.15, 0.4)  # where the search begins


class NotRinging(Exception):
    """The readings show no single vibration that dies away: why, as the rest of a sentence."""


@dataclass(frozen=True, slots=True, eq=False)
class Ringing:
    """A fitted vibration. Frequencies in Hz (natural, not damped); `amplitude` is the envelope at `start_s`, in the
    sensor's unit. `covariance` (3, 3) belongs to frequency, damping and amplitude; `fitted` (n,) are the fit's values.
    """

    ring_hz: float
    ring_damping: float
    amplitude: float
    covariance: Array
    degrees_of_freedom: int
    residual_sd: float
    start_s: float
    fitted: Array

    @property
    def uncertainties(self) -> tuple[float, float, float]:
        """Standard uncertainties of frequency, damping and amplitude."""
        hz, damping, amplitude = np.sqrt(np.diag(self.covariance))
        return float(hz), float(damping), float(amplitude)


def fit_ringing(time_s: Array, value: Array) -> Ringing:
    """Fit one vibration to readings, both (n,), times growing. Raises NotRinging."""
    if len(time_s) < FEWEST:
        raise NotRinging(f"only {len(time_s)} readings, give at least {FEWEST}")
    if np.abs(value).max() > LARGEST:
        raise NotRinging("some readings are beyond all measure")
    since, scale = time_s - time_s[0], float(np.std(value))
    if scale <= 1e-12 * max(1.0, float(np.abs(value).max())):
        raise NotRinging("all readings are the same")
    scaled = (value - value.mean()) / scale

    def misfit(p: Array) -> Array:
        return np.asarray(_model(p, since)[0] - scaled)

    def slopes_of(p: Array) -> Array:
        return _model(p, since)[1]

    found = least_squares(misfit, _start(since, scaled), jac=slopes_of, x_scale="jac", method="lm", max_nfev=400).x
    residual, bends = misfit(found), slopes_of(found)
    _must_be_ringing(found, residual, since)
    log_w, log_ratio, a, b, _ = found.tolist()
    ratio = math.exp(log_ratio)
    damping = ratio / math.hypot(1, ratio)
    freedom = len(since) - 5
    variance = float(residual @ residual) / freedom
    cov = variance * np.linalg.pinv(bends.T @ bends)
    amplitude = math.hypot(a, b)
    slopes = np.zeros((3, 5))
    hz = math.exp(log_w) / (2 * math.pi) * math.hypot(1, ratio)
    slopes[0, :2] = hz, hz * damping**2
    slopes[1, 1] = damping * (1 - damping**2)
    slopes[2, 2:4] = a * scale / amplitude, b * scale / amplitude
    covariance = slopes @ cov @ slopes.T
    if amplitude * scale < STANDS_OUT * math.sqrt(covariance[2, 2]):
        raise NotRinging("no single vibration stands out from the noise")
    return Ringing(
        ring_hz=hz,
        ring_damping=damping,
        amplitude=amplitude * scale,
        covariance=covariance,
        degrees_of_freedom=freedom,
        residual_sd=math.sqrt(variance) * scale,
        start_s=float(time_s[0]),
        fitted=(residual + scaled) * scale + value.mean(),
    )


def _model(p: Array, since: Array) -> tuple[Array, Array]:
    """Values (n,) and slopes (n, 5) for ln wd, ln(decay / wd), the cosine's and the sine's part, and the rest."""
    w, ratio = math.exp(min(p[0], 50.0)), math.exp(min(p[1], 50.0))
    fade = np.exp(-np.minimum(ratio * w * since, 700.0))
    cosine, sine = fade * np.cos(w * since), fade * np.sin(w * since)
    swing = p[2] * cosine + p[3] * sine
    decay = -ratio * w * since * swing
    turned = w * since * (p[3] * cosine - p[2] * sine)
    return swing + p[4], np.stack([turned + decay, decay, cosine, sine, np.ones_like(since)], axis=-1)


def _start(since: Array, scaled: Array) -> Array:
    """Where to begin: of some frequencies and dampings, whose other three values follow linearly, what fits best."""
    best, least = np.zeros(5), math.inf
    for ratio in DAMPINGS:
        for w in 2 * math.pi * _peaks(since, scaled):
            linear = _model(np.array([math.log(w), math.log(ratio), 0.0, 0.0, 0.0]), since)[1][:, 2:]
            parts = np.linalg.solve(linear.T @ linear + 1e-9 * np.eye(3), linear.T @ scaled)
            misfit = float(np.sum((linear @ parts - scaled) ** 2))
            if misfit < least:
                best, least = np.array([math.log(w), math.log(ratio), *parts]), misfit
    return best


def _peaks(since: Array, scaled: Array) -> Array:
    """Frequencies in Hz, on and beside the highest peaks of the spectrum."""
    count, length = len(since), float(since[-1])
    even = np.interp(np.linspace(0.0, length, count), since, scaled)
    power = np.abs(np.fft.rfft(even, 4 * count))[2:]  # from half a swing on
    hz = np.fft.rfftfreq(4 * count, length / (count - 1))[2:]
    inner = np.flatnonzero((power[1:-1] >= power[:-2]) & (power[1:-1] >= power[2:])) + 1
    highest = inner[np.argsort(power[inner])[-3:]] if len(inner) else np.array([int(np.argmax(power))])
    beside = hz[highest, np.newaxis] + np.arange(-2, 3) * 0.25 / length
    return np.asarray(np.maximum(beside.ravel(), 0.3 / length))


def _must_be_ringing(p: Array, residual: Array, since: Array) -> None:
    hz, length = math.exp(min(float(p[0]), 50.0)) / (2 * math.pi), float(since[-1])
    if not np.isfinite(p).all() or p[1] > 0:  # a damping ratio above 0.7: it never swings back
        raise NotRinging("no single vibration stands out from the noise")
    if hz > 0.48 / float(np.median(np.diff(since))):
        raise NotRinging("the readings follow each other too slowly for what they show; take more in a second")
    if hz * length < 1:
        raise NotRinging("they show less than one swing; take them for longer")
    if p[1] < math.log(1e-5):
        raise NotRinging("what they show does not die away")
    worst = int(np.argmax(np.abs(residual)))
    if abs(residual[worst]) > OUTLIER * float(np.std(residual)):
        raise NotRinging(f"the reading {1000 * since[worst]:g} ms after the first does not belong; take it out")
    rho = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-300)
    if rho > RHO_LIMIT and float(np.std(residual)) > 1e-6:  # of the readings' own scatter
        raise NotRinging(
            "beside one vibration they show something else that is not noise; begin after the move has ended (--from-ms)"
        )


def swing_px(amplitude_px: float, ring_hz: float, shutter_s: float) -> float:
    """The farthest that a vibration moves the picture while the shutter is open, peak to peak.

    2 A sin(pi f t) for less than half a period, 2 A from there on. In the unit of `amplitude_px`.
    """
    part = math.sin(math.pi * ring_hz * shutter_s) if ring_hz * shutter_s < 0.5 else 1.0
    return 2 * amplitude_px * part


@dataclass(frozen=True, slots=True)
class Wait:
    """How long to wait until the picture is still, with its standard uncertainty, in seconds."""

    wait_s: float
    u_wait_s: float


def wait_for(ringing: Ringing, pixels_per_unit: float, shutter_s: float, blur_px: float) -> Wait:
    """The wait after the first reading until an exposure is blurred by at most `blur_px`.

    `pixels_per_unit` turns the sensor's unit into pixels. The vibration is not let die away any further during the
    exposure.
    """

    def wait(values: Array) -> float:
        hz, damping, amplitude = (float(value) for value in values)
        return ring_down_s(swing_px(amplitude * pixels_per_unit, hz, shutter_s), blur_px, hz, damping)

    middle = np.array([ringing.ring_hz, ringing.ring_damping, ringing.amplitude])
    steps = np.diag(np.array(ringing.uncertainties) * RELATIVE_STEP)
    slopes = np.array(
        [(wait(middle + step) - wait(middle - step)) / (2 * step.sum()) if step.any() else 0.0 for step in steps]
    )
    return Wait(wait(middle), math.sqrt(max(float(slopes @ ringing.covariance @ slopes), 0.0)))
