"""The error of a gearing that repeats once per turn: the kit's expected size, and what readings show of it."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from controller.calibration.least_squares import Fit
from controller.kit.kit import Axis
from controller.optics.outline import Array

LEAST_READINGS, LEAST_SPAN_DEG = 8, 270.0  # from which such an error can be separated from a slope
WAVE_P = 0.05
HEAD_ECCENTRICITY_DEG = Axis().eccentricity_deg  # if no kit is named


@dataclass(frozen=True, slots=True)
class Wave:
    """A once-per-turn error, amplitude * cos(angle - phase), and the chance of one as large if there is none.

    `removed`: it is beyond chance, so its amplitude is worth stating. Otherwise the uncertainty still includes what may
    hide. `agrees_with_kit`: it is no larger than the kit says.
    """

    amplitude_deg: float
    u_amplitude_deg: float
    phase_deg: float
    chance: float
    removed: bool
    agrees_with_kit: bool


def columns(turn_rad: Array) -> Array:
    """The wave's columns of a design, (n, 2)."""
    return np.column_stack([np.cos(turn_rad), np.sin(turn_rad)])


def prior_sd(eccentricity_deg: float) -> float:
    """Of either column's coefficient at an unknown phase: cos and sin share the square of the amplitude."""
    return eccentricity_deg / math.sqrt(2)


def wave(free: Fit, first: int, eccentricity_deg: float) -> Wave:
    """The wave whose coefficients are the two from `first` on of a fit that left them free.

    Its chance: F test of coefficients against their covariance (N. R. Draper and H. Smith, *Applied Regression Analysis*,
    section 2.10). For agreement with the kit: the same test, with the kit's figure added to the covariance.
    """
    found = free.coefficients[first : first + 2]
    covariance = free.covariance[first : first + 2, first : first + 2]
    amplitude = float(np.hypot(*found))
    toward = found / amplitude if amplitude > 0 else np.array([1.0, 0.0])
    chance = _chance(found, covariance, free.freedom)
    expected = covariance + prior_sd(eccentricity_deg) ** 2 * np.eye(2)
    return Wave(
        amplitude_deg=amplitude,
        u_amplitude_deg=math.sqrt(float(toward @ covariance @ toward)),
        phase_deg=math.degrees(math.atan2(found[1], found[0])),
        chance=chance,
        removed=chance < WAVE_P,
        agrees_with_kit=_chance(found, expected, free.freedom) >= WAVE_P,
    )


def _chance(found: Array, covariance: Array, freedom: float) -> float:
    least = 1e-20 * np.eye(2)  # degrees squared: readings without any scatter leave only rounding
    return float(fdtrc(2, min(freedom, 1e9), float(found @ np.linalg.solve(covariance + least, found)) / 2))
