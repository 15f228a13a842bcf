"""Steps per degree: from readings of an angle, or from whole turns seen through the viewfinder.

Readings: angle = offset + steps / steps_per_degree, by weighted least squares, with an error that comes back once per
turn (an instrument or a gear that is not centred) fitted and removed where it is significant. Where it is not, it may
still hide in the noise and lean on the slope; what it could do there is added to the uncertainty.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import f as fisher

from controller.calibration.least_squares import Fit, Kept, Rows, chance_of_chi_squared, fit, without_outliers
from controller.calibration.readings import NotBelievable, Readings
from controller.errors import InputError
from controller.optics.outline import Array

LEAST_READINGS = 4
LEAST_FOR_A_WAVE, LEAST_SPAN_DEG = 8, 270.0  # readings and turn from which a once-per-turn error can be told from a slope
WAVE_P = 0.05
MOST_OUTLIERS = 0.1  # share of the readings; one is always allowed
RESIDUALS_P = 0.001
FOLLOWS_R2 = 0.5
GEARING_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Wave:
    """A once-per-turn error, amplitude * cos(angle - phase), and the chance to see one as large where there is none."""

    amplitude_deg: float
    u_amplitude_deg: float
    phase_deg: float
    chance: float
    removed: bool


@dataclass(frozen=True, slots=True)
class StepsResult:
    """What was found, with standard uncertainties; `correlation` is that of offset and slope (degrees per step).

    `residuals_deg` are those of all readings from what was fitted, `kept` says which of them were used.
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


def from_angles(readings: Readings, nominal: float | None = None, reading_error_deg: float | None = None) -> StepsResult:
    """Steps per degree from `commanded_steps` and `angle_deg`, with `u_angle_deg` or `reading_error_deg` where stated.

    `nominal` are the steps per degree of the kit's gearing. Raises NotBelievable with the reason and what to do.
    """
    steps, read = readings.numbers["commanded_steps"], readings.numbers["angle_deg"]
    u = readings.numbers.get("u_angle_deg")
    if u is None and reading_error_deg is not None:
        u = np.full_like(read, reading_error_deg)
    if len(steps) < LEAST_READINGS or len(set(steps.tolist())) < 3:
        raise NotBelievable(
            f"{readings.name}: {len(steps)} readings at {len(set(steps.tolist()))} positions are too few; read at least "
            f"{LEAST_READINGS} at 3 positions, better 12 spread over the whole range."
        )
    angles = unwrapped(steps, read)
    must_follow(readings.name, steps, angles)
    _unit_must_be_degrees(readings.name, steps, angles, nominal)
    result = _fitted(steps, angles, u)
    _must_be_believable(readings.name, result, u, nominal)
    return result


def unwrapped(steps: Array, read: Array) -> Array:
    """Readings of a dial that begins again at 360, with whole turns added where that makes a straight line of them."""
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
    """The angles must grow with the steps. Raises NotBelievable."""
    slope = float(np.polyfit(steps - steps.mean(), angles, 1)[0]) if np.ptp(angles) > 0 else 0.0
    if _r2(steps, angles) < FOLLOWS_R2 or slope == 0:
        raise NotBelievable(
            f"{name}: the angles do not follow the steps; were lines or columns mixed up, or did the head not turn?"
        )
    if slope < 0:
        raise NotBelievable(
            f"{name}: the angles fall while the steps grow; read them the other way round (right, up: plus)."
        )


def _unit_must_be_degrees(name: str, steps: Array, angles: Array, nominal: float | None) -> None:
    span = float(np.ptp(angles))
    if nominal is None:  # only the span can tell
        if 1 < span <= 2 * math.pi + 0.1:
            raise NotBelievable(
                f"{name}: the angles span {span:.3g}, as radians would; give degrees over more than 7°, or name the kit "
                "(--kit) so that its gearing can tell."
            )
        if span > 3700:
            raise NotBelievable(f"{name}: the angles span {span:.5g}, as arc minutes would; give degrees.")
        return
    ratio = float(np.ptp(steps)) / span / nominal
    for unit, expected in (
        ("radians", 180 / math.pi),
        ("arc minutes", 1 / 60),
        ("arc seconds", 1 / 3600),
        ("turns", 360),
    ):
        if abs(ratio / expected - 1) < GEARING_SHARE:
            raise NotBelievable(f"{name}: by the kit's gearing the angles are {unit}; give degrees.")


def _fitted(steps: Array, angles: Array, u: Array | None) -> StepsResult:
    line = np.column_stack([np.ones_like(steps), steps])
    slope = float(np.polyfit(steps - steps.mean(), angles, 1)[0])
    turn = np.radians(angles.mean() + slope * (steps - steps.mean()))
    whole = np.column_stack([line, np.cos(turn), np.sin(turn)])
    may_wave = len(steps) >= LEAST_FOR_A_WAVE and np.ptp(angles) >= LEAST_SPAN_DEG
    widest = whole if may_wave else line

    def fit_of(design: Array, rows: Rows) -> Fit:
        return fit(design[rows], angles[rows], None if u is None else u[rows])

    # One more than may be, so that too many are noticed.
    least = max(LEAST_READINGS, len(steps) - _most_outliers(len(steps)) - 1, widest.shape[1] + 1)
    kept, full = without_outliers(lambda rows: fit_of(widest, rows), len(steps), least)
    plain = fit_of(line, np.flatnonzero(kept))
    wave = _wave(plain, full) if may_wave else None
    used, design = (full, whole) if wave is not None and wave.removed else (plain, line)
    result = _result(used, angles - design @ used.coefficients, kept, wave)
    return _widened(result, plain, full) if wave is not None and not wave.removed else result


def _result(used: Fit, residuals: Array, kept: Kept, wave: Wave | None) -> StepsResult:
    slope, u_slope = float(used.coefficients[1]), used.u(1)
    apart = used.u(0) * u_slope
    return StepsResult(
        steps_per_degree=1 / slope,
        u_steps_per_degree=u_slope / slope**2,
        offset_deg=float(used.coefficients[0]),
        u_offset_deg=used.u(0),
        correlation=float(used.covariance[0, 1]) / apart if apart > 0 else 0.0,
        residual_sd_deg=used.residual_sd,
        freedom=used.freedom,
        wave=wave,
        residuals_deg=residuals,
        kept=kept,
    )


def _wave(plain: Fit, full: Fit) -> Wave:
    """The once-per-turn error of the full fit, and whether it is significant (F test of the two nested models)."""
    cosine, sine = (float(value) for value in full.coefficients[2:4])
    amplitude = math.hypot(cosine, sine)
    gained = max(0.0, plain.chi_squared - full.chi_squared) / 2
    spread = 1.0 if math.isinf(full.freedom) else full.chi_squared / full.freedom
    # Both fit to the last digits of a float: then what is gained is rounding.
    exact = plain.residual_sd < 1e-9
    chance = 1.0 if exact else float(fisher.sf(gained / max(spread, 1e-300), 2, min(full.freedom, 1e9)))
    toward = np.array([cosine, sine]) / amplitude if amplitude > 0 else np.array([1.0, 0.0])
    u = math.sqrt(float(toward @ full.covariance[2:4, 2:4] @ toward))
    return Wave(amplitude, u, math.degrees(math.atan2(sine, cosine)), chance, removed=chance < WAVE_P)


def _widened(result: StepsResult, plain: Fit, full: Fit) -> StepsResult:
    """Count what a hidden once-per-turn error could do to slope and offset as a further uncertainty.

    The full fit knows no such bias, so its difference from the plain one estimates the bias (Hausman, "Specification
    Tests in Econometrics", Econometrica 46, 1978). Left out, an error about as large as the noise would make the
    stated interval true in only 85 of 100 cases.
    """
    bias_offset, bias_slope = (full.coefficients[:2] - plain.coefficients).tolist()
    u_slope = result.u_steps_per_degree / result.steps_per_degree**2
    return replace(
        result,
        u_steps_per_degree=math.hypot(u_slope, bias_slope) * result.steps_per_degree**2,
        u_offset_deg=math.hypot(result.u_offset_deg, bias_offset),
    )


def _most_outliers(count: int) -> int:
    return max(1, int(MOST_OUTLIERS * count))


def _must_be_believable(name: str, result: StepsResult, u: Array | None, nominal: float | None) -> None:
    must_fit_gearing(name, result.steps_per_degree, nominal)
    if int((~result.kept).sum()) > _most_outliers(len(result.kept)):
        raise NotBelievable(
            f"{name}: more than {_most_outliers(len(result.kept))} of {len(result.kept)} readings lie farther off the "
            "line than the others or the stated reading error explain; look for slack or slip, and read again."
        )
    if u is None:
        return
    parameters = 4 if result.wave is not None and result.wave.removed else 2
    stated = u[result.kept]
    squares = float(((result.residuals_deg[result.kept] / stated) ** 2).sum())
    if chance_of_chi_squared(squares, len(stated) - parameters) < RESIDUALS_P:
        raise NotBelievable(
            f"{name}: the readings scatter by {result.residual_sd_deg:.3g}°, more than the stated reading error of "
            f"{float(np.sqrt(np.mean(stated**2))):.3g}° explains; look for slack or slip, or state a larger one."
        )


def must_fit_gearing(name: str, steps_per_degree: float, nominal: float | None) -> None:
    """Raises NotBelievable where the steps per degree are too far off the kit's gearing."""
    if nominal is None or abs(steps_per_degree / nominal - 1) <= GEARING_SHARE:
        return
    raise NotBelievable(
        f"{name}: {steps_per_degree:.6g} steps per degree are {100 * (steps_per_degree / nominal - 1):+.0f} % off the "
        f"kit's gearing ({nominal:.6g}); correct full_steps_per_turn, microsteps or gear_ratio, or measure again."
    )


def from_turns(readings: Readings, nominal: float | None = None, aim_error_deg: float | None = None) -> StepsResult:
    """Steps per degree from whole `turns` and the `steps` from the mark back on to the mark; a row for each time.

    Every row has two aims, so its error does not grow with its turns: a line through the origin. Positions are whole
    steps; their rounding (variance 1/12 each: GUM, JCGM 100:2008, 4.3.7) may be the same every time, so it is not
    averaged. Degrees of freedom after Welch and Satterthwaite (GUM, G.4). `aim_error_deg` is the standard uncertainty
    of one aim. Raises NotBelievable.
    """
    turns, steps = readings.numbers["turns"], readings.numbers["steps"]
    for line, turned in zip(readings.lines, turns, strict=True):
        if turned < 1 or turned != round(turned):
            raise InputError(f"{readings.name} line {line}: turns = {turned:g} must be 1, 2, 3 or more whole turns.")
    if len(turns) < (3 if aim_error_deg is None else 1):
        raise NotBelievable(
            f"{readings.name}: {len(turns)} rows are too few to say how sure they are; give three, or the reading error "
            "(--reading-error-deg)."
        )
    squares = float(turns @ turns)
    per_turn = float(turns @ steps) / squares
    if per_turn <= 0:
        raise NotBelievable(f"{readings.name}: the steps must be counted as positive numbers.")
    residuals, left = steps - per_turn * turns, len(turns) - 1
    must_fit_gearing(readings.name, per_turn / 360, nominal)
    scatter = float(residuals @ residuals) / left if left else 0.0
    if aim_error_deg is not None:
        stated = 2 * (aim_error_deg * per_turn / 360) ** 2 + 1 / 6
        if left and chance_of_chi_squared(left * scatter / stated, left) < RESIDUALS_P:
            raise NotBelievable(
                f"{readings.name}: the turns differ by {math.sqrt(scatter) / per_turn * 360:.3g}°, more than two aims "
                "with the stated reading error explain; does something slip?"
            )
        scatter = stated
    rounding = (float(turns.sum()) / squares) ** 2 / 6
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
    )
