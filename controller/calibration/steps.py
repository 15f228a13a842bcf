"""Steps per degree: from readings of an angle, or from whole turns seen through the viewfinder.

Readings: angle = offset + steps / steps_per_degree, by weighted least squares. Two more errors are always fitted. One
repeats once per turn (an instrument or a gear that is off centre); it is as large as the kit says it may be, or larger if
the readings show it. The other is a drift, if the order of the readings can separate it from the slope. The uncertainty
includes what they may hide.
"""

import math
from dataclasses import dataclass

import numpy as np

from controller.calibration import order, wave
from controller.calibration.estimate import Circumstances, Estimate, estimate, order_separates_drift, places_of
from controller.calibration.finding import Stated
from controller.calibration.least_squares import Fit, Kept, Rows, chance_of_chi_squared, fit, without_outliers
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.resolution import rounding_sd
from controller.calibration.wave import HEAD_ECCENTRICITY_DEG, Wave
from controller.errors import InputError
from controller.optics.outline import Array

LEAST_READINGS = 4
MOST_OUTLIERS = 0.1  # share of the readings; at least one is allowed
RESIDUALS_P = 0.001
FOLLOWS_R2 = 0.5
GEARING_SHARE = 0.2
SHUFFLE = "read the positions in shuffled order, and the first again at the end"


@dataclass(frozen=True, slots=True)
class StepsResult:
    """The result, with standard uncertainties; `correlation` is that of offset and slope (degrees per step).

    `residuals_deg` are those of all readings from the fit; `kept` marks the readings that were used. `drift` is the
    instrument's over the whole set, degrees, None if the order of the readings cannot separate it from the slope.
    """

    steps_per_degree: float
    u_steps_per_degree: float
    offset_deg: float
    u_offset_deg: float
    correlation: float
    residual_sd_deg: float
    freedom: float
    wave: Wave | None
    residuals_deg: Array
    kept: Kept
    resolution_deg: float
    stated: Stated
    drift: Estimate | None


def from_angles(
    readings: Readings,
    nominal: float | None = None,
    reading_error_deg: float | None = None,
    eccentricity_deg: float = HEAD_ECCENTRICITY_DEG,
) -> StepsResult:
    """Steps per degree from `commanded_steps` and `angle_deg`, with `u_angle_deg` or `reading_error_deg` where stated.

    Rows are in order of time. `nominal` are the steps per degree of the kit's gearing; `eccentricity_deg` is the possible
    amplitude of its once-per-turn error. Raises ReadingsRefused with the reason and what to do.
    """
    steps, read = readings.numbers["commanded_steps"], readings.numbers["angle_deg"]
    if len(steps) < LEAST_READINGS or len(set(steps.tolist())) < 3:
        raise ReadingsRefused(
            f"{readings.name}: {len(steps)} readings at {len(set(steps.tolist()))} positions are too few; read at least "
            f"{LEAST_READINGS} at 3 positions, better 12 spread over the whole range."
        )
    angles = unwrapped(steps, read)
    must_follow(readings.name, steps, angles)
    _unit_must_be_degrees(readings.name, steps, angles, nominal)
    spread = float(np.std(angles - np.polyval(np.polyfit(steps, angles, 1), steps)))
    step = readings.resolution("angle_deg", spread)
    u = readings.numbers.get("u_angle_deg")
    if u is None and reading_error_deg is not None:
        u = np.full_like(read, reading_error_deg)
    if u is not None:
        u = np.hypot(u, rounding_sd(step))
    result = _fitted(_Model(readings.name, steps, angles, u, step, eccentricity_deg))
    _check_fit(readings.name, result, u, nominal)
    return result


def unwrapped(steps: Array, read: Array) -> Array:
    """Readings of a dial that restarts at 360, with whole turns added so that they form a straight line."""
    order = np.argsort(steps, kind="stable")
    risen = np.unwrap(read[order], period=360)
    falls = bool((np.diff(read[order]) < -180).any())
    if not falls or np.ptp(read) > 360 or _r2(steps[order], risen) < 0.9999:
        return read
    angles = np.empty_like(read)
    angles[order] = risen
    return angles


def _r2(steps: Array, angles: Array) -> float:
    if np.ptp(angles) == 0 or np.ptp(steps) == 0:
        return 0.0
    return float(np.corrcoef(steps, angles)[0, 1] ** 2)


def must_follow(name: str, steps: Array, angles: Array) -> None:
    """Raises ReadingsRefused unless the angles grow with the steps."""
    slope = float(np.polyfit(steps - steps.mean(), angles, 1)[0]) if np.ptp(angles) > 0 else 0.0
    if _r2(steps, angles) < FOLLOWS_R2 or slope == 0:
        raise ReadingsRefused(
            f"{name}: the angles do not follow the steps; check that no lines or columns are mixed up, and that the head "
            "turned."
        )
    if slope < 0:
        raise ReadingsRefused(
            f"{name}: the angles fall while the steps grow; read them the other way round (right, up: plus)."
        )


def _unit_must_be_degrees(name: str, steps: Array, angles: Array, nominal: float | None) -> None:
    span = float(np.ptp(angles))
    if nominal is None:  # only the span can tell
        if 1 < span <= 2 * math.pi + 0.1:
            raise ReadingsRefused(
                f"{name}: the angles span {span:.3g}, so they may be radians; give degrees over more than 7°, or name "
                "the kit (--kit) for its gearing."
            )
        if span > 3700:
            raise ReadingsRefused(f"{name}: the angles span {span:.5g}, so they may be arc minutes; give degrees.")
        return
    ratio = float(np.ptp(steps)) / span / nominal
    for unit, expected in (
        ("radians", 180 / math.pi),
        ("arc minutes", 1 / 60),
        ("arc seconds", 1 / 3600),
        ("turns", 360),
    ):
        if abs(ratio / expected - 1) < GEARING_SHARE:
            raise ReadingsRefused(f"{name}: by the kit's gearing the angles are {unit}; give degrees.")


@dataclass(frozen=True, slots=True)
class _Model:
    """The readings and the columns that are fitted to them: the line, the once-per-turn error, the drift."""

    name: str
    steps: Array
    angles: Array
    u: Array | None
    step_deg: float
    eccentricity_deg: float

    def design(self, *, free: bool, drifts: bool) -> tuple[Array, Array]:
        """The columns, and the expected size of each one's coefficient (inf: unknown)."""
        steps, count = self.steps, len(self.steps)
        columns, prior = [np.column_stack([np.ones(count), steps])], [np.inf, np.inf]
        if free or self.eccentricity_deg > 0:
            slope = float(np.polyfit(steps - steps.mean(), self.angles, 1)[0])
            columns.append(wave.columns(np.radians(self.angles.mean() + slope * (steps - steps.mean()))))
            prior += [np.inf if free else wave.prior_sd(self.eccentricity_deg)] * 2
        if drifts:
            columns.append(order.clock(count)[:, None])
            prior.append(np.inf)
        return np.hstack(columns), np.array(prior)

    def fit(self, rows: Rows, *, free: bool, drifts: bool) -> Fit:
        """Fit those columns to the readings with these indices. Raises numpy.linalg.LinAlgError."""
        design, prior = self.design(free=free, drifts=drifts)
        u = None if self.u is None else self.u[rows]
        return fit(design[rows], self.angles[rows], u, least_sd=rounding_sd(self.step_deg), prior_sd=prior)


def _fitted(model: _Model) -> StepsResult:
    """Fit without outliers, and include hidden errors in the uncertainty. Raises ReadingsRefused."""
    count = len(model.steps)
    every: Rows = np.arange(count)
    whole = np.ptp(model.angles) >= wave.LEAST_SPAN_DEG
    # Over less than a turn, trust a gearing that is stated to be concentric.
    may_free = count >= wave.LEAST_READINGS and bool(whole or model.eccentricity_deg > 0)
    free = may_free and bool(whole)
    line = np.zeros((1, model.design(free=False, drifts=False)[0].shape[1]))
    line[0, 1] = 1.0
    drifts = order_separates_drift(lambda full: model.fit(every, free=False, drifts=full), line, count)
    # Look for one more than is allowed, so that too many are noticed.
    least = max(LEAST_READINGS, count - _most_outliers(count) - 1, 6 if free else 4)
    kept, used = without_outliers(lambda rows: model.fit(rows, free=free, drifts=drifts), count, least)
    rows = np.flatnonzero(kept)
    seen = None
    if may_free:
        seen = wave.wave(model.fit(rows, free=True, drifts=drifts), 2, model.eccentricity_deg)
        free = not seen.agrees_with_kit
    used = model.fit(rows, free=free, drifts=drifts)
    if not drifts and order.are_correlated(used, step=model.step_deg):
        # If the order does not protect, errors that are correlated in time spoil the slope.
        raise ReadingsRefused(
            f"{model.name}: the errors of successive readings are correlated, so the instrument drifts or the axis does "
            f"not turn evenly; {SHUFFLE}."
        )
    design, _ = model.design(free=free, drifts=drifts)
    told = seen if whole else None
    return _result(model, used, design, kept, told, drifts)


def _result(model: _Model, used: Fit, design: Array, kept: Kept, seen: Wave | None, drifts: bool) -> StepsResult:
    fitted = design @ used.coefficients
    places = places_of(used, model.steps[kept], fitted[kept], model.step_deg)
    taken = Circumstances.of(used, kept, drifts, model.step_deg, places)
    unit = np.eye(len(used.coefficients))
    slope, offset = estimate(used, unit[1], taken), estimate(used, unit[0], taken)
    apart = used.u(0) * used.u(1)
    return StepsResult(
        steps_per_degree=1 / slope.value,
        u_steps_per_degree=slope.u / slope.value**2,
        offset_deg=offset.value,
        u_offset_deg=offset.u,
        correlation=float(used.covariance[0, 1]) / apart if apart > 0 else 0.0,
        residual_sd_deg=used.residual_sd,
        freedom=slope.freedom,
        wave=seen,
        residuals_deg=model.angles - fitted,
        kept=kept,
        resolution_deg=model.step_deg,
        stated=taken.stated,
        drift=estimate(used, unit[-1], taken) if drifts else None,
    )


def _most_outliers(count: int) -> int:
    return max(1, int(MOST_OUTLIERS * count))


def _check_fit(name: str, result: StepsResult, u: Array | None, nominal: float | None) -> None:
    must_fit_gearing(name, result.steps_per_degree, nominal)
    if int((~result.kept).sum()) > _most_outliers(len(result.kept)):
        raise ReadingsRefused(
            f"{name}: more than {_most_outliers(len(result.kept))} of {len(result.kept)} readings are outliers; look "
            "for slack or slip and read again, or correct the stated reading error."
        )
    if u is None:
        return
    parameters = (4 if result.wave is not None and result.wave.removed else 2) + (result.drift is not None)
    stated = u[result.kept]
    squares = float(((result.residuals_deg[result.kept] / stated) ** 2).sum())
    if chance_of_chi_squared(squares, len(stated) - parameters) < RESIDUALS_P:
        raise ReadingsRefused(
            f"{name}: the readings scatter by {result.residual_sd_deg:.3g}°, more than the stated reading error of "
            f"{float(np.sqrt(np.mean(stated**2))):.3g}° explains; look for slack or slip, or state a larger error."
        )


def must_fit_gearing(name: str, steps_per_degree: float, nominal: float | None) -> None:
    """Raises ReadingsRefused if the steps per degree are too far off the kit's gearing."""
    if nominal is None or abs(steps_per_degree / nominal - 1) <= GEARING_SHARE:
        return
    raise ReadingsRefused(
        f"{name}: {steps_per_degree:.6g} steps per degree are {100 * (steps_per_degree / nominal - 1):+.0f} % off the "
        f"kit's gearing ({nominal:.6g}); correct full_steps_per_turn, microsteps or gear_ratio, or measure again."
    )


def from_turns(readings: Readings, nominal: float | None = None, aim_error_deg: float | None = None) -> StepsResult:
    """Steps per degree from whole `turns` and the `steps` from the mark back to the mark; one row for each measurement.

    Every row has two aims, so its error does not grow with its turns: a line through the origin. Positions are whole
    steps, or coarser if the steps show it. Their rounding (variance 1/12 each: GUM, JCGM 100:2008, 4.3.7) may be the same
    every time, so it is not averaged. Degrees of freedom after Welch and Satterthwaite (GUM, G.4). `aim_error_deg` is the
    standard uncertainty of one aim. Raises ReadingsRefused.
    """
    turns, steps = readings.numbers["turns"], readings.numbers["steps"]
    for line, turned in zip(readings.lines, turns, strict=True):
        if turned < 1 or turned != round(turned):
            raise InputError(f"{readings.name} line {line}: turns = {turned:g} must be 1, 2, 3 or more whole turns.")
    if len(turns) < (3 if aim_error_deg is None else 1):
        raise ReadingsRefused(
            f"{readings.name}: {len(turns)} rows are too few to estimate the uncertainty; give three, or the reading "
            "error (--reading-error-deg)."
        )
    squares = float(turns @ turns)
    per_turn = float(turns @ steps) / squares
    if per_turn <= 0:
        raise ReadingsRefused(f"{readings.name}: the steps must be positive numbers.")
    residuals, left = steps - per_turn * turns, len(turns) - 1
    must_fit_gearing(readings.name, per_turn / 360, nominal)
    scatter = float(residuals @ residuals) / left if left else 0.0
    step = max(1.0, readings.resolution("steps", math.sqrt(scatter)))
    if aim_error_deg is not None:
        stated = 2 * (aim_error_deg * per_turn / 360) ** 2 + step**2 / 6
        if left and chance_of_chi_squared(left * scatter / stated, left) < RESIDUALS_P:
            raise ReadingsRefused(
                f"{readings.name}: the turns differ by {math.sqrt(scatter) / per_turn * 360:.3g}°, more than two aims "
                "with the stated reading error explain; look for slip."
            )
        scatter = stated
    rounding = (float(turns.sum()) / squares) ** 2 * step**2 / 6
    variance = scatter / squares + rounding
    freedom = math.inf if aim_error_deg is not None or scatter == 0 else left * (variance * squares / scatter) ** 2
    return StepsResult(
        steps_per_degree=per_turn / 360,
        u_steps_per_degree=math.sqrt(variance) / 360,
        offset_deg=0.0,
        u_offset_deg=0.0,
        correlation=0.0,
        residual_sd_deg=math.sqrt(float(residuals @ residuals) / max(left, 1)) / per_turn * 360,
        freedom=freedom,
        wave=None,
        residuals_deg=residuals / per_turn * 360,
        kept=np.ones(len(turns), dtype=bool),
        resolution_deg=step / per_turn * 360,
        stated=Stated.ALL,
        drift=None,
    )
