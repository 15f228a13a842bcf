"""What is left of a vibration at the end of a move, without and with a shaper.

After an unshaped move, this is the fitted vibration at time 0. After a shaped one it may be below the noise, where no
frequency can be fitted. So frequency and damping are those after the unshaped move, and only a cosine and a sine are
fitted, which are linear. Both are within a circle whose radius follows from Fisher's distribution (Bates and Watts 1988,
chapter 1), and so is their length. Identical readings do not prove stillness within their grid (JCGM 100:2008, 4.3.7).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.stats import f as fisher

from controller.calibration.propagation import RELATIVE_STEP
from controller.calibration.settle import Ringing
from controller.calibration.vibration_noise import inflation
from controller.optics.outline import Array

FEWEST = 8  # readings for three unknowns


@dataclass(frozen=True, slots=True)
class Remains:
    """An amplitude at the end of the move, to either side, in the unit of the readings, and the half-width of its 95 %
    interval. `scatter` is the standard deviation of the readings about the fit.
    """

    amplitude: float
    half: float
    scatter: float

    @property
    def low(self) -> float:
        """The lower end of the interval."""
        return max(0.0, self.amplitude - self.half)

    @property
    def high(self) -> float:
        """The upper end of the interval."""
        return self.amplitude + self.half


class TooFew(Exception):
    """Too few readings to say what is left."""


def left_of(ringing: Ringing) -> Remains:
    """The amplitude of a fitted vibration at time 0. The fit's own is at its first reading."""

    def at_end(values: Array) -> float:
        hz, damping, amplitude = (float(value) for value in values)
        return amplitude * math.exp(damping * 2 * math.pi * hz * ringing.start_s)

    middle = np.array([ringing.ring_hz, ringing.ring_damping, ringing.amplitude])
    steps = np.diag(np.array(ringing.uncertainties) * RELATIVE_STEP)
    slopes = np.array(
        [(at_end(middle + step) - at_end(middle - step)) / (2 * step.sum()) if step.any() else 0.0 for step in steps]
    )
    u = math.sqrt(max(float(slopes @ ringing.covariance @ slopes), 0.0))
    return Remains(at_end(middle), ringing.half_width(u), ringing.residual_sd)


def left_with(ringing: Ringing, time_s: Array, value: Array, step: float) -> Remains:
    """The amplitude at time 0 of a vibration like `ringing` in other readings, both (n,), read in steps of `step`.

    Raises TooFew.
    """
    if len(time_s) < FEWEST:
        raise TooFew
    amplitude, spread, residual = _length(ringing.ring_hz, ringing.ring_damping, time_s, value)
    freedom = len(time_s) - 3
    scatter = math.sqrt(float(residual @ residual) / freedom)
    sd = max(scatter, step / math.sqrt(12)) * math.sqrt(inflation(residual))
    radius = math.sqrt(2 * float(fisher.ppf(0.95, 2, freedom))) * sd * spread
    hidden = step / 2 if scatter < step / 2 else 0.0  # readings that hardly differ hide what is within a step
    shifts = []
    for name, u in zip(("ring_hz", "ring_damping"), ringing.uncertainties[:2], strict=True):
        half = ringing.half_width(u)
        changed = {"ring_hz": ringing.ring_hz, "ring_damping": ringing.ring_damping}
        changed[name] += half if name == "ring_hz" or changed[name] + half < 1 else -half
        shifts.append(_length(changed["ring_hz"], changed["ring_damping"], time_s, value)[0] - amplitude)
    return Remains(amplitude, math.hypot(radius, hidden, *shifts), scatter)


def without(ringing: Ringing, time_s: Array, value: Array) -> Array:
    """Other readings, both (n,), without the vibration of that frequency and damping, and without their rest position."""
    return _length(ringing.ring_hz, ringing.ring_damping, time_s, value)[2]


def _length(hz: float, damping: float, time_s: Array, value: Array) -> tuple[float, float, Array]:
    """The amplitude, the largest standard deviation of its parts for readings of standard deviation 1, and residuals."""
    omega = 2 * math.pi * hz
    fade = np.exp(-np.minimum(damping * omega * time_s, 700.0))
    turn = omega * math.sqrt(1 - damping**2) * time_s
    columns = np.stack([fade * np.cos(turn), fade * np.sin(turn), np.ones_like(time_s)], axis=1)
    parts = np.linalg.lstsq(columns, value, rcond=None)[0]
    covariance = np.linalg.pinv(columns.T @ columns)[:2, :2]
    spread = math.sqrt(float(np.linalg.eigvalsh(covariance)[-1]))
    return math.hypot(float(parts[0]), float(parts[1])), spread, value - columns @ parts
