"""How far, and toward where, the pan axis leans: from the tilt read at several yaws.

The sense of `toward`: the top of the axis has moved toward that yaw, so a camera that looks there looks too low.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import f as fisher

from controller.calibration.least_squares import Fit, Kept, chance_of_chi_squared, fit, without_outliers
from controller.calibration.readings import NotBelievable, Readings
from controller.optics.outline import Array

LEAST_READINGS, LEAST_ROUND_DEG = 4, 180.0
MOST_LEAN_DEG = 20.0
ROUNDS = 8  # of Gauss and Newton; three reach the last digit of a float
RESIDUALS_P = 0.001
SIGNIFICANT_P = 0.05


@dataclass(frozen=True, slots=True)
class LevelResult:
    """The lean, its components toward yaw 0 and yaw 90, and the instrument's own zero; degrees, standard uncertainties.

    `chance` is that of a lean as large by the readings' scatter alone.
    """

    lean_deg: float
    u_lean_deg: float
    toward_deg: float
    u_toward_deg: float
    lean_to_0_deg: float
    u_lean_to_0_deg: float
    lean_to_90_deg: float
    u_lean_to_90_deg: float
    zero_deg: float
    residual_sd_deg: float
    freedom: float
    chance: float
    residuals_deg: Array
    kept: Kept

    @property
    def significant(self) -> bool:
        """Whether a lean was seen at all."""
        return self.chance < SIGNIFICANT_P


def from_tilts(readings: Readings, reading_error_deg: float | None = None) -> LevelResult:
    """The lean from `yaw_deg` and `reading_deg` (looking up: plus), with `u_reading_deg` or the error where stated.

    reading = zero + asin(-sin(lean) cos(yaw - toward)), exactly. Raises NotBelievable.
    """
    yaw, read = readings.numbers["yaw_deg"], readings.numbers["reading_deg"]
    u = readings.numbers.get("u_reading_deg")
    if u is None and reading_error_deg is not None:
        u = np.full_like(read, reading_error_deg)
    places = np.unique(np.round(yaw % 360, 6))
    gap = float(np.diff(np.append(places, places[0] + 360)).max())
    if len(yaw) < LEAST_READINGS or len(places) < 3 or gap > LEAST_ROUND_DEG:
        raise NotBelievable(
            f"{readings.name}: {len(yaw)} readings at {len(places)} yaws with a gap of {gap:.0f}° are too few; read at "
            f"least {LEAST_READINGS} round the turn, better 8."
        )
    if float(np.ptp(read)) > 2 * MOST_LEAN_DEG:
        raise NotBelievable(
            f"{readings.name}: the readings span {float(np.ptp(read)):.3g}°, more than any tripod leans; give degrees, "
            "with the tilt axis at rest throughout."
        )
    kept, found = without_outliers(
        lambda rows: _fit(yaw[rows], read[rows], None if u is None else u[rows]),
        len(yaw),
        max(LEAST_READINGS, math.ceil(0.8 * len(yaw))),
    )
    result = _result(found, yaw, read, kept)
    if u is not None and chance_of_chi_squared(found.chi_squared, int(kept.sum()) - 3) < RESIDUALS_P:
        raise NotBelievable(
            f"{readings.name}: the readings scatter by {result.residual_sd_deg:.3g}°, more than the stated reading error "
            "explains; does the tripod give, or was the tilt axis moved?"
        )
    return result


def _tilt(zero: float, to_0: float, to_90: float, yaw_rad: Array) -> tuple[Array, Array]:
    """Readings by the model, radians, and the sines of the pitch; parameters are minus the sines of the lean's parts."""
    sine = np.clip(to_0 * np.cos(yaw_rad) + to_90 * np.sin(yaw_rad), -0.999, 0.999)
    return zero + np.arcsin(sine), sine


def _fit(yaw_deg: Array, read_deg: Array, u_deg: Array | None) -> Fit:
    """Gauss and Newton; the coefficients are zero (radians) and the two sines of the lean, signs turned."""
    yaw, read = np.radians(yaw_deg), np.radians(read_deg)
    zero, cosine, sine = float(read.mean()), 0.0, 0.0
    found = None
    for _ in range(ROUNDS):
        model, sines = _tilt(zero, cosine, sine, yaw)
        slope = 1 / np.sqrt(1 - sines**2)
        design = np.column_stack([np.ones_like(yaw), np.cos(yaw) * slope, np.sin(yaw) * slope])
        found = fit(design, read - model, None if u_deg is None else np.radians(u_deg))
        step = found.coefficients.tolist()
        zero, cosine, sine = zero + step[0], cosine + step[1], sine + step[2]
    assert found is not None
    return replace(found, coefficients=np.array([zero, cosine, sine]))


def _result(found: Fit, yaw_deg: Array, read_deg: Array, kept: Kept) -> LevelResult:
    zero, cosine, sine = (float(value) for value in found.coefficients)
    size = math.hypot(cosine, sine)
    lean, toward = math.asin(min(size, 1.0)), math.atan2(-sine, -cosine)
    covariance = found.covariance[1:, 1:]
    along = np.array([cosine, sine]) / size if size > 0 else np.array([1.0, 0.0])
    across = np.array([-along[1], along[0]])
    u_lean = math.sqrt(float(along @ covariance @ along)) / math.cos(lean)
    u_toward = math.sqrt(float(across @ covariance @ across)) / size if size > 0 else math.pi
    lean_by_sine = np.array([cosine, sine])
    rounding = 1e-20 * np.eye(2)  # so that readings without any scatter leave something to divide by
    statistic = float(lean_by_sine @ np.linalg.solve(covariance + rounding, lean_by_sine)) / 2
    return LevelResult(
        lean_deg=math.degrees(lean),
        u_lean_deg=math.degrees(u_lean),
        toward_deg=math.degrees(toward) % 360,
        u_toward_deg=min(math.degrees(u_toward), 180.0),
        lean_to_0_deg=math.degrees(math.asin(-cosine)),
        u_lean_to_0_deg=math.degrees(found.u(1)),
        lean_to_90_deg=math.degrees(math.asin(-sine)),
        u_lean_to_90_deg=math.degrees(found.u(2)),
        zero_deg=math.degrees(zero),
        residual_sd_deg=math.degrees(found.residual_sd),
        freedom=found.freedom,
        chance=float(fisher.sf(statistic, 2, min(found.freedom, 1e9))),
        residuals_deg=read_deg - np.degrees(_tilt(zero, cosine, sine, np.radians(yaw_deg))[0]),
        kept=kept,
    )


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg of the tripod: where its foot stands, seen from the axis, and by how much to raise it."""

    yaw_deg: float
    raise_mm: float


def legs_to_raise(lean_deg: float, toward_deg: float, first_leg_yaw_deg: float, radius_mm: float) -> tuple[Leg, ...]:
    """By how much to raise each of three legs, a third of a turn apart, so that the axis stands upright.

    The feet stand on a circle of `radius_mm` about the axis. The highest foot stays as it is.
    """
    yaws = [first_leg_yaw_deg + 120 * number for number in range(3)]
    sine = math.sin(math.radians(lean_deg))
    heights = [-radius_mm * sine * math.cos(math.radians(yaw - toward_deg)) for yaw in yaws]
    return tuple(Leg(yaw % 360, max(heights) - height) for yaw, height in zip(yaws, heights, strict=True))
