"""How the head rings after a move: a damped sine fitted to readings of any sensor, and how long to wait for it.

Least squares, uncertainties from its normal equations (D. Bates and D. Watts, *Nonlinear Regression Analysis*, 1988,
2.3.2). The uncertainty of readings is their scatter, and at least that of their grid (JCGM 100:2008, F.2.2.1). If their
times scatter, they scatter more while the value changes fast (J. Orear, Am. J. Phys. 50:912, 1982). The readings are
tested for a second vibration. One that shows is refused; the effect of one that does not is included. One close to the
first can hide well, so there are two intervals: for a single vibration, and for the larger one of two (see close_pair).
"""

import math
from dataclasses import dataclass

import numpy as np

from controller.calibration import damped
from controller.calibration.close_pair import close_pair
from controller.calibration.finding import coverage_factor
from controller.calibration.propagation import RELATIVE_STEP
from controller.calibration.resolution import grid
from controller.calibration.vibration_noise import Noise, another, inflation, noise_of
from controller.optics.outline import Array
from controller.program.timing import ring_down_s

FEWEST = 12  # readings for five unknowns
LARGEST = 1e100
OUTLIER = 7.0  # standard deviations; noise reaches that once in a hundred thousand million readings
STANDS_OUT = 8.0  # least amplitude over its uncertainty; a fit to mere noise reaches up to 5
RHO_LIMIT = 0.6  # successive residuals that correlate more than this are not noise
COARSEST = 1 / 6  # steps of a sensor over a swing, from simulated readings: coarser ones hide the decay
FEW_STILL = 2  # equal readings at the end that count
TICK_S = 1e-6
NOISE_ROUNDS = 2
ENOUGH = 20  # evaluations when starting from a nearly right solution


class NotRinging(Exception):
    """No single decaying vibration in the readings: the reason, as the rest of a sentence."""


@dataclass(frozen=True, slots=True, eq=False)
class Ringing:
    """A fitted vibration. Frequencies in Hz (natural, not damped); `amplitude` is the envelope at `start_s`, in the
    sensor's unit. `covariance` (3, 3) is that of frequency, damping and amplitude; `fitted` (n,) are the fit's values.
    `jitter_ms` is the apparent scatter of the readings' times (standard deviation). `hidden` (m, 3, 3): for m kinds of a
    close second vibration, the squares of its hidden effect on the three, as in `close_pair.CloseModes`.
    """

    ring_hz: float
    ring_damping: float
    amplitude: float
    covariance: Array
    degrees_of_freedom: int
    residual_sd: float
    start_s: float
    fitted: Array
    jitter_ms: float
    hidden: Array

    @property
    def uncertainties(self) -> tuple[float, float, float]:
        """Standard uncertainties of frequency, damping and amplitude."""
        hz, damping, amplitude = np.sqrt(np.diag(self.covariance))
        return float(hz), float(damping), float(amplitude)

    @property
    def hidden_most(self) -> tuple[float, float, float]:
        """The largest hidden effect of a close second vibration on frequency, damping and amplitude."""
        hz, damping, amplitude = np.sqrt(np.diagonal(self.hidden, axis1=1, axis2=2).max(axis=0))
        return float(hz), float(damping), float(amplitude)

    def half_width(self, u: float, hidden: float = 0.0) -> float:
        """Half the width of the interval that contains the true value in 95 of 100 cases: of a single vibration, or, with
        the hidden effect, of the larger one of two.
        """
        return math.hypot(coverage_factor(self.degrees_of_freedom) * u, hidden)


def fit_ringing(time_s: Array, value: Array, factor: float = 1.0) -> Ringing:
    """Fit one vibration to readings, both (n,), times growing. The sensor's own values were multiplied by `factor`.

    Raises NotRinging.
    """
    if len(time_s) < FEWEST:
        raise NotRinging(f"only {len(time_s)} readings, give at least {FEWEST}")
    if np.abs(value).max() > LARGEST:
        raise NotRinging("some readings are impossibly large")
    scale = float(np.std(value))
    if scale <= 1e-12 * max(1.0, float(np.abs(value).max())):
        raise NotRinging("all readings are the same")
    since, scaled = time_s - time_s[0], (value - value.mean()) / scale
    found = damped.fitted(since, scaled, np.ones_like(since), damped.start(since, scaled))
    residual = damped.values_and_slopes(found, since)[0] - scaled
    step = factor * grid(value / factor, float(np.std(residual)) * scale / factor)
    _must_be_fine(step, math.hypot(found[2], found[3]) * scale)
    _must_be_ringing(found, residual, since)
    used = _moving(value, step)
    since, scaled = since[:used], scaled[:used]
    if len(since) < FEWEST:
        raise NotRinging(f"only {len(since)} readings show any motion, give at least {FEWEST}")
    noise, found = _with_noise(found, since, scaled, step / scale)
    residual, bends = damped.values_and_slopes(found, since)[0] - scaled, damped.values_and_slopes(found, since)[1]
    weight = 1 / noise.sd(_speed(found, since))
    weighted = bends * weight[:, np.newaxis]
    cov = np.linalg.pinv(weighted.T @ weighted)
    if math.hypot(found[2], found[3]) ** 2 < STANDS_OUT**2 * max(cov[2, 2], cov[3, 3]):
        raise NotRinging("no single vibration stands out from the noise")
    second = another(since, residual, weight, found, scaled)
    if second.seen:
        raise NotRinging(
            f"beside the vibration at {second.main_hz:.1f} Hz there is another at {second.hz:.1f} Hz, {second.share:.2g} "
            "times as large; begin when one has died away (--from-ms), or stiffen the part that rings"
        )
    hang = inflation(residual * weight)
    pair = close_pair(since, residual, weight, found, hang)
    if pair.seen:
        raise NotRinging(
            "there are two vibrations at nearly the same frequency; record for longer, begin when one has died away "
            "(--from-ms), or stiffen the part that rings"
        )
    _must_be_noise(residual)
    covariances = np.concatenate([[cov * hang + second.unseen], pair.hidden])
    return _ringing(found, covariances, noise, since, scale, (float(time_s[0]), value, time_s))


def _must_be_fine(step: float, amplitude: float) -> None:
    if step > amplitude * COARSEST:
        raise NotRinging(
            f"the readings come in steps of {step:.2g}, too coarse for a swing of {amplitude:.2g} to either side; use a "
            "finer sensor, or a longer and faster move"
        )


def _moving(value: Array, step: float) -> int:
    """The number of readings until a coarse sensor shows no more motion. A long run of equal ones at the end counts as
    FEW_STILL.
    """
    differ = np.flatnonzero(np.abs(value - value[-1]) > step / 2)
    return len(value) if not len(differ) else min(len(value), int(differ[-1]) + 1 + FEW_STILL)


def _speed(p: Array, since: Array) -> Array:
    """The rate of change of the fitted value, per second."""
    ahead, behind = (damped.values_and_slopes(p, since + shift)[0] for shift in (TICK_S, -TICK_S))
    return np.asarray((ahead - behind) / (2 * TICK_S))


def _with_noise(found: Array, since: Array, scaled: Array, step: float) -> tuple[Noise, Array]:
    """The noise of the readings and of their times, and the fit weighted by it."""
    noise = Noise(1.0, 0.0, 0.0)
    for _ in range(NOISE_ROUNDS):
        speed = _speed(found, since)
        noise = noise_of(damped.values_and_slopes(found, since)[0] - scaled, speed, step, len(found))
        found = damped.fitted(since, scaled, 1 / noise.sd(speed), found, ENOUGH)
    return noise, found


def _ringing(
    p: Array, covariances: Array, noise: Noise, since: Array, scale: float, read: tuple[float, Array, Array]
) -> Ringing:
    """Convert to the units of Ringing. `covariances` (1 + m, 5, 5): of the fit, and the hidden effect of m kinds of
    pairs.
    """
    begin_s, value, time_s = read
    log_w, log_ratio, a, b, _ = p.tolist()
    ratio = math.exp(log_ratio)
    damping = ratio / math.hypot(1, ratio)
    amplitude = math.hypot(a, b)
    slopes = np.zeros((3, 5))
    hz = math.exp(log_w) / (2 * math.pi) * math.hypot(1, ratio)
    slopes[0, :2] = hz, hz * damping**2
    slopes[1, 1] = damping * (1 - damping**2)
    # Times that scatter by s reduce the apparent swing by exp(-(w s)^2 / 2).
    blurred = math.exp((math.exp(log_w) * noise.time_s) ** 2 / 2)
    slopes[2, 2:4] = blurred * a * scale / amplitude, blurred * b * scale / amplitude
    covariance, *hidden = slopes @ covariances @ slopes.T
    covariance[2, 2] += (amplitude * scale * (blurred - 1) * noise.u_time_share) ** 2
    if amplitude * scale < STANDS_OUT * math.sqrt(covariance[2, 2]):
        raise NotRinging("no single vibration stands out from the noise")
    fit = damped.values_and_slopes(p, time_s - begin_s)[0] * scale + value.mean()
    return Ringing(
        ring_hz=hz,
        ring_damping=damping,
        amplitude=amplitude * scale * blurred,
        covariance=covariance,
        degrees_of_freedom=len(since) - 5,
        residual_sd=float(np.std(fit - value, ddof=5)),
        start_s=begin_s,
        fitted=fit,
        jitter_ms=1000 * noise.time_s,
        hidden=np.array(hidden),
    )


def _must_be_ringing(p: Array, residual: Array, since: Array) -> None:
    hz, length = math.exp(min(float(p[0]), 50.0)) / (2 * math.pi), float(since[-1])
    if not np.isfinite(p).all() or p[1] > 0:  # a damping ratio above 0.7: it never swings back
        raise NotRinging("no single vibration stands out from the noise")
    if hz > 0.48 / float(np.median(np.diff(since))):
        raise NotRinging("the readings are too far apart in time for this vibration; record more of them per second")
    if hz * length < 1:
        raise NotRinging("the readings cover less than one swing; record for longer")
    if p[1] < math.log(1e-5):
        raise NotRinging("the vibration does not die away")
    worst = int(np.argmax(np.abs(residual)))
    if abs(residual[worst]) > OUTLIER * float(np.std(residual)):
        raise NotRinging(f"the reading {1000 * since[worst]:g} ms after the first is an outlier; remove it")


def _must_be_noise(residual: Array) -> None:
    rho = float(residual[1:] @ residual[:-1]) / max(float(residual @ residual), 1e-300)
    if rho > RHO_LIMIT and float(np.std(residual)) > 1e-6:  # relative to the readings' own scatter
        raise NotRinging(
            "beside one vibration the readings contain more than noise; begin after the move has ended (--from-ms)"
        )


def swing_px(amplitude_px: float, ring_hz: float, shutter_s: float) -> float:
    """The largest movement of the picture by a vibration while the shutter is open, peak to peak.

    2 A sin(pi f t) for less than half a period, 2 A for longer. In the unit of `amplitude_px`.
    """
    part = math.sin(math.pi * ring_hz * shutter_s) if ring_hz * shutter_s < 0.5 else 1.0
    return 2 * amplitude_px * part


@dataclass(frozen=True, slots=True)
class Wait:
    """How long to wait until the picture is still, with its standard uncertainty, in seconds.

    `hidden_s` is the largest difference in the wait that the larger one of two vibrations may need.
    """

    wait_s: float
    u_wait_s: float
    hidden_s: float


def wait_for(ringing: Ringing, pixels_per_unit: float, shutter_s: float, blur_px: float) -> Wait:
    """The wait after the first reading until an exposure is blurred by at most `blur_px`.

    `pixels_per_unit` converts the sensor's unit into pixels. Decay during the exposure is ignored.
    """

    def wait(values: Array) -> float:
        hz, damping, amplitude = (float(value) for value in values)
        return ring_down_s(swing_px(amplitude * pixels_per_unit, hz, shutter_s), blur_px, hz, damping)

    middle = np.array([ringing.ring_hz, ringing.ring_damping, ringing.amplitude])
    steps = np.diag(np.array(ringing.uncertainties) * RELATIVE_STEP)
    slopes = np.array(
        [(wait(middle + step) - wait(middle - step)) / (2 * step.sum()) if step.any() else 0.0 for step in steps]
    )
    squares = [float(slopes @ each @ slopes) for each in (ringing.covariance, *ringing.hidden)]
    return Wait(wait(middle), math.sqrt(max(squares[0], 0.0)), math.sqrt(max(0.0, *squares[1:])))
