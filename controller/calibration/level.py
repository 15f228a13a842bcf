"""How far the pan axis leans and toward which yaw, from the tilt read at several yaws.

The top of the axis is displaced toward the yaw `toward`, so a camera turned there points too low.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import fdtrc

from controller.calibration import order
from controller.calibration.estimate import Circumstances, Estimate, estimate, order_separates_drift, places_of
from controller.calibration.finding import Stated, coverage_factor
from controller.calibration.least_squares import Fit, Kept, Rows, chance_of_chi_squared, fit, without_outliers
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.resolution import rounding_sd
from controller.optics.outline import Array

LEAST_READINGS, LEAST_ROUND_DEG = 4, 180.0
SHUFFLE = "read the yaws in shuffled order, and the first again at the end"
MOST_LEAN_DEG = 20.0
ROUNDS, EXACT = 8, 1e-13  # of Gauss-Newton; three reach the last digit of a float
RESIDUALS_P = 0.001
SIGNIFICANT_P = 0.05


@dataclass(frozen=True, slots=True)
class LevelResult:
    """The lean, its components toward yaw 0 and yaw 90, and the instrument's own zero; degrees, standard uncertainties.

    `chance` is the chance of a lean as large from the readings' uncertainty alone. `drift` is the instrument's over the
    whole set, degrees, None if the order of the readings cannot separate it from the lean.
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
    resolution_deg: float
    stated: Stated
    drift: Estimate | None

    @property
    def significant(self) -> bool:
        """Whether the lean is beyond chance."""
        return self.chance < SIGNIFICANT_P

    @property
    def lean_interval_deg(self) -> tuple[float, float]:
        """The interval that contains the lean in 95 of 100 cases; from 0 if the lean is not beyond chance."""
        half = coverage_factor(self.freedom) * self.u_lean_deg
        return max(0.0, self.lean_deg - half) if self.significant else 0.0, self.lean_deg + half

    @property
    def toward_interval_deg(self) -> tuple[float, float]:
        """The interval of its direction; the whole turn if the lean is not beyond chance."""
        half = min(coverage_factor(self.freedom) * self.u_toward_deg, 180.0) if self.significant else 180.0
        return self.toward_deg - half, self.toward_deg + half


def from_tilts(readings: Readings, reading_error_deg: float | None = None) -> LevelResult:
    """The lean from `yaw_deg` and `reading_deg` (looking up: plus), with `u_reading_deg`, or the error where stated.

    reading = zero + asin(-sin(lean) cos(yaw - toward)), exactly. Raises ReadingsRefused.
    """
    yaw, read = readings.numbers["yaw_deg"], readings.numbers["reading_deg"]
    places = np.unique(np.round(yaw % 360, 6))
    gap = float(np.diff(np.append(places, places[0] + 360)).max())
    if len(yaw) < LEAST_READINGS or len(places) < 3 or gap > LEAST_ROUND_DEG:
        raise ReadingsRefused(
            f"{readings.name}: {len(yaw)} readings at {len(places)} yaws with a gap of {gap:.0f}° are too few; read at "
            f"least {LEAST_READINGS} round the turn, better 8."
        )
    if float(np.ptp(read)) > 2 * MOST_LEAN_DEG:
        raise ReadingsRefused(
            f"{readings.name}: the readings span {float(np.ptp(read)):.3g}°, more than any tripod leans; give degrees, "
            "with the tilt axis at rest throughout."
        )
    model = _model(readings, reading_error_deg)
    every: Rows = np.arange(len(yaw))
    drifts = order_separates_drift(lambda full: model.fit(every, drifts=full), np.eye(3)[1:], len(yaw))
    least = max(LEAST_READINGS + drifts, math.ceil(0.8 * len(yaw)))
    kept, found = without_outliers(lambda rows: model.fit(rows, drifts=drifts), len(yaw), least)
    result = _result(model, found, kept, drifts)
    parameters = len(found.coefficients)
    if model.u is not None and chance_of_chi_squared(found.chi_squared, int(kept.sum()) - parameters) < RESIDUALS_P:
        raise ReadingsRefused(
            f"{readings.name}: the readings scatter by {result.residual_sd_deg:.3g}°, more than the stated reading error "
            "explains; check that the tripod is firm and that the tilt axis was not moved."
        )
    if not drifts and order.are_correlated(found, step=model.step_deg):
        raise ReadingsRefused(
            f"{readings.name}: the errors of successive readings are correlated, so the instrument drifts or the tripod "
            f"is not firm; {SHUFFLE}."
        )
    return result


@dataclass(frozen=True, slots=True)
class _Model:
    """The readings. Their model has a zero, two sines of the lean and, if asked for, the drift."""

    yaw_deg: Array
    read_deg: Array
    u: Array | None
    step_deg: float

    def fit(self, rows: Rows, *, drifts: bool) -> Fit:
        """Fit by Gauss-Newton. The coefficients are zero (degrees), the two sines of the lean with reversed signs, and
        the drift over the whole set (degrees). Raises numpy.linalg.LinAlgError.
        """
        yaw, read = np.radians(self.yaw_deg[rows]), self.read_deg[rows]
        late = order.clock(len(self.yaw_deg))[rows]
        now = np.array([float(read.mean()), 0.0, 0.0, 0.0])
        found = None
        for _ in range(ROUNDS):
            model, sines = _tilt(now, yaw)
            slope = np.degrees(1 / np.sqrt(1 - sines**2))
            design = np.column_stack([np.ones_like(yaw), np.cos(yaw) * slope, np.sin(yaw) * slope, late])
            found = fit(
                design[:, : 3 + drifts],
                read - model - now[3] * late,
                None if self.u is None else self.u[rows],
                least_sd=rounding_sd(self.step_deg),
            )
            now[: 3 + drifts] += found.coefficients
            if np.abs(found.coefficients[1:3]).max() < EXACT:
                break
        assert found is not None
        return replace(found, coefficients=now[: 3 + drifts])


def _model(readings: Readings, reading_error_deg: float | None) -> _Model:
    """The readings with their resolution, and with their uncertainties if these are stated."""
    yaw, read = readings.numbers["yaw_deg"], readings.numbers["reading_deg"]
    left = _Model(yaw, read, None, 0.0).fit(np.arange(len(yaw)), drifts=False).residual_sd
    step = readings.resolution("reading_deg", left)
    u = readings.numbers.get("u_reading_deg")
    if u is None and reading_error_deg is not None:
        u = np.full_like(read, reading_error_deg)
    return _Model(yaw, read, None if u is None else np.hypot(u, rounding_sd(step)), step)


def _tilt(coefficients: Array, yaw_rad: Array) -> tuple[Array, Array]:
    """Readings by the model without drift, degrees, and the sines of the pitch."""
    zero, to_0, to_90 = coefficients[:3]
    sine = np.clip(to_0 * np.cos(yaw_rad) + to_90 * np.sin(yaw_rad), -0.999, 0.999)
    return zero + np.degrees(np.arcsin(sine)), sine


def _result(model: _Model, found: Fit, kept: Kept, drifts: bool) -> LevelResult:
    cosine, sine = (float(value) for value in found.coefficients[1:3])
    size = math.hypot(cosine, sine)
    lean, toward = math.asin(min(size, 1.0)), math.atan2(-sine, -cosine)
    fitted = _tilt(found.coefficients, np.radians(model.yaw_deg))[0]
    if drifts:
        fitted = fitted + found.coefficients[3] * order.clock(len(fitted))
    places = places_of(found, np.round(model.yaw_deg[kept] % 360, 6), fitted[kept], model.step_deg)
    taken = Circumstances.of(found, kept, drifts, model.step_deg, places)

    def of(to_0: float, to_90: float) -> Estimate:
        return estimate(found, np.array([0.0, to_0, to_90, 0.0][: 3 + drifts]), taken)

    ahead_0, ahead_90 = (cosine / size, sine / size) if size > 0 else (1.0, 0.0)
    along, across, to_0, to_90 = of(ahead_0, ahead_90), of(-ahead_90, ahead_0), of(1.0, 0.0), of(0.0, 1.0)
    # Add the rounding: readings without any scatter would leave nothing to divide by.
    statistic = size**2 / (along.u**2 + 1e-20) / 2
    return LevelResult(
        lean_deg=math.degrees(lean),
        u_lean_deg=math.degrees(along.u) / math.cos(lean),
        toward_deg=math.degrees(toward) % 360,
        u_toward_deg=min(math.degrees(across.u / size), 180.0) if size > 0 else 180.0,
        lean_to_0_deg=math.degrees(math.asin(-cosine)),
        u_lean_to_0_deg=math.degrees(to_0.u),
        lean_to_90_deg=math.degrees(math.asin(-sine)),
        u_lean_to_90_deg=math.degrees(to_90.u),
        zero_deg=float(found.coefficients[0]),
        residual_sd_deg=found.residual_sd,
        freedom=min(each.freedom for each in (along, to_0, to_90)),
        chance=float(fdtrc(2, min(along.freedom, 1e9), statistic)),
        residuals_deg=model.read_deg - fitted,
        kept=kept,
        resolution_deg=model.step_deg,
        stated=taken.stated,
        drift=estimate(found, np.array([0.0, 0.0, 0.0, 1.0]), taken) if drifts else None,
    )


@dataclass(frozen=True, slots=True)
class TripodLeg:
    """One leg of the tripod: the yaw of its foot, seen from the axis, and how far to raise it."""

    yaw_deg: float
    raise_mm: float


def legs_to_raise(
    lean_deg: float, toward_deg: float, first_leg_yaw_deg: float, radius_mm: float
) -> tuple[TripodLeg, ...]:
    """How far to raise each of three legs, a third of a turn apart, to make the axis vertical.

    The feet are on a circle of `radius_mm` about the axis. The highest foot stays as it is.
    """
    yaws = [first_leg_yaw_deg + 120 * number for number in range(3)]
    sine = math.sin(math.radians(lean_deg))
    heights = [-radius_mm * sine * math.cos(math.radians(yaw - toward_deg)) for yaw in yaws]
    return tuple(TripodLeg(yaw % 360, max(heights) - height) for yaw, height in zip(yaws, heights, strict=True))
