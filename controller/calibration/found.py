"""From results to findings: the names of the record, and the sentences for the operator."""

import math
from collections.abc import Sequence

from controller.calibration.backlash import STANDARD_APPROACHES, BacklashResult
from controller.calibration.finding import Finding, coverage_factor
from controller.calibration.level import Leg, LevelResult
from controller.calibration.plots import backlash_plots, level_plots, steps_plots, verify_plots
from controller.calibration.readings import Readings
from controller.calibration.records import AxisName, Kind
from controller.calibration.steps import LEAST_FOR_A_WAVE, LEAST_SPAN_DEG, StepsResult, Wave
from controller.calibration.verify import STANDARD_VISITS, VerifyResult
from controller.optics.outline import Array


def plus_minus(value: float, u: float, freedom: float) -> str:
    """A value and the half-width of its 95 % interval, to two digits of the latter (GUM, JCGM 100:2008, 7.2.6)."""
    half = coverage_factor(freedom) * u
    if not math.isfinite(half) or half <= abs(value) * 1e-9:
        return f"{value:.9g}"
    places = max(0, 1 - math.floor(math.log10(half)))
    return f"{value:.{places}f} ± {half:.{places}f}"


def _freedom(value: float) -> float | None:
    return None if math.isinf(value) else value


def _left_out(readings: Readings, kept: Sequence[bool] | Array, residuals: Array) -> list[dict[str, float]]:
    return [
        {"line": line, "residual_deg": float(residual)}
        for line, used, residual in zip(readings.lines, kept, residuals, strict=True)
        if not used
    ]


def _outlier_sentences(outliers: list[dict[str, float]]) -> list[str]:
    if not outliers:
        return []
    named = ", ".join(f"line {each['line']} ({each['residual_deg']:+.3g}°)" for each in outliers)
    return [f"Left out as outliers: {named}."]


def steps_found(result: StepsResult, readings: Readings, axis: AxisName, nominal: float | None) -> Finding:
    """The finding of `calibrate steps`, by angles or by whole turns."""
    by_turns = "turns" in readings.numbers
    outliers = _left_out(readings, result.kept.tolist(), result.residuals_deg)
    wave = result.wave
    said = plus_minus(result.steps_per_degree, result.u_steps_per_degree, result.freedom)
    relative = coverage_factor(result.freedom) * result.u_steps_per_degree / result.steps_per_degree
    off = "" if nominal is None else f", {100 * (result.steps_per_degree / nominal - 1):+.3f} % off the kit's gearing"
    sentences = [f"{said} steps per degree of {axis.value} (95 %){off}; a whole turn is known to {360 * relative:.2g}°."]
    if not by_turns:
        sentences += [f"The readings scatter by {result.residual_sd_deg:.2g}°.", _wave_sentence(wave)]
    sentences += _outlier_sentences(outliers)
    values = {"steps_per_degree": result.steps_per_degree}
    uncertainties = {"u_steps_per_degree": result.u_steps_per_degree}
    if not by_turns:
        values |= {"offset_deg": result.offset_deg, "correlation": result.correlation}
        uncertainties |= {"u_offset_deg": result.u_offset_deg}
    if wave is not None and wave.removed:
        values |= {"once_per_turn_deg": wave.amplitude_deg, "once_per_turn_phase_deg": wave.phase_deg}
        uncertainties |= {"u_once_per_turn_deg": wave.u_amplitude_deg}
    return Finding(
        kind=Kind.STEPS,
        axis=axis,
        values=values | {"residual_sd_deg": result.residual_sd_deg},
        uncertainties=uncertainties,
        degrees_of_freedom=_freedom(result.freedom),
        how=f"{len(readings)} whole turns on a far mark" if by_turns else f"{len(readings)} readings of an angle",
        sentences=tuple(sentences),
        residuals={"angle_deg": tuple(result.residuals_deg.tolist())},
        more={
            "axis": axis.value,
            "readings": len(readings),
            "outliers": outliers,
            "once_per_turn": None
            if wave is None
            else {
                "amplitude_deg": wave.amplitude_deg,
                "u_amplitude_deg": wave.u_amplitude_deg,
                "phase_deg": wave.phase_deg,
                "removed": wave.removed,
            },
        },
        plots=steps_plots(result, readings),
    )


def _wave_sentence(wave: Wave | None) -> str:
    if wave is None:
        return (
            "An error that comes back once per turn could not be looked for: that takes "
            f"{LEAST_FOR_A_WAVE} readings over {LEAST_SPAN_DEG:.0f}°."
        )
    if wave.removed:
        return (
            f"An error of {wave.amplitude_deg:.2g}° that comes back once per turn (highest at "
            f"{wave.phase_deg % 360:.0f}°) was taken out."
        )
    return "No error that comes back once per turn stands out; what may hide in the scatter is counted in."


def backlash_found(result: BacklashResult, readings: Readings, axis: AxisName, steps_per_degree: float | None) -> Finding:
    """The finding of `calibrate backlash`."""
    mean = plus_minus(abs(result.mean_reversal_deg), result.u_mean_reversal_deg, result.freedom)
    sentences = [
        f"Play of the {axis.value} axis: {result.reversal_deg:.3g}° at the worst position (B), {mean}° in the mean.",
        f"Repeatability R {result.repeatability_deg:.3g}° from both sides, {result.repeatability_up_deg:.3g}° from below "
        f"and {result.repeatability_down_deg:.3g}° from above; accuracy A {result.accuracy_deg:.3g}° (ISO 230-2).",
        _rule(result.play_deg, steps_per_degree),
    ]
    fewest = min(min(len(p.up), len(p.down)) for p in result.positions)
    if fewest < STANDARD_APPROACHES:
        sentences.append(f"The standard asks for {STANDARD_APPROACHES} approaches from each side; here were {fewest}.")
    values = {
        "play_deg": result.play_deg,
        "reversal_deg": result.reversal_deg,
        "mean_reversal_deg": result.mean_reversal_deg,
        "repeatability_deg": result.repeatability_deg,
        "systematic_deg": result.systematic_deg,
        "mean_deviation_range_deg": result.mean_deviation_range_deg,
        "accuracy_deg": result.accuracy_deg,
        "repeatability_up_deg": result.repeatability_up_deg,
        "repeatability_down_deg": result.repeatability_down_deg,
    }
    return Finding(
        kind=Kind.BACKLASH,
        axis=axis,
        values=values,
        uncertainties={
            "u_mean_reversal_deg": result.u_mean_reversal_deg,
            "u_reversal_deg": result.u_reversal_deg,
        },
        degrees_of_freedom=_freedom(result.freedom),
        how=f"{len(result.positions)} positions approached from both sides, {len(readings)} readings",
        sentences=tuple(sentences),
        residuals={
            "up_deg": tuple(x for p in result.positions for x in p.up.tolist()),
            "down_deg": tuple(x for p in result.positions for x in p.down.tolist()),
        },
        more={
            "axis": axis.value,
            "positions": [
                {"target_deg": p.target_deg, "reversal_deg": p.reversal_deg, "mean_deviation_deg": p.mean_deg}
                for p in result.positions
            ],
        },
        plots=backlash_plots(result),
    )


def _rule(play_deg: float, steps_per_degree: float | None) -> str:
    if play_deg == 0:
        return "No play stands out from the scatter, so frames may be approached from either side."
    steps = "" if steps_per_degree is None else f" ({play_deg * steps_per_degree:.0f} steps)"
    return (
        "Every frame will be approached with growing angle; where the axis must turn back it first goes too far, by more "
        f"than the play of {play_deg:.3g}°{steps}."
    )


def level_found(result: LevelResult, readings: Readings, legs: Sequence[Leg], steepest_deg: float) -> Finding:
    """The finding of `calibrate level`; `steepest_deg` is the pitch for which the roll that remains is told."""
    outliers = _left_out(readings, result.kept.tolist(), result.residuals_deg)
    sentences = _level_sentences(result, legs, steepest_deg) + _outlier_sentences(outliers)
    return Finding(
        kind=Kind.LEVEL,
        axis=None,
        values={
            "lean_deg": result.lean_deg,
            "toward_deg": result.toward_deg,
            "lean_to_0_deg": result.lean_to_0_deg,
            "lean_to_90_deg": result.lean_to_90_deg,
            "zero_deg": result.zero_deg,
            "residual_sd_deg": result.residual_sd_deg,
        },
        uncertainties={
            "u_lean_deg": result.u_lean_deg,
            "u_toward_deg": result.u_toward_deg,
            "u_lean_to_0_deg": result.u_lean_to_0_deg,
            "u_lean_to_90_deg": result.u_lean_to_90_deg,
        },
        degrees_of_freedom=_freedom(result.freedom),
        how=f"{len(readings)} tilt readings round the turn",
        sentences=tuple(sentences),
        residuals={"reading_deg": tuple(result.residuals_deg.tolist())},
        more={
            "significant": result.significant,
            "legs": [{"yaw_deg": leg.yaw_deg, "raise_mm": leg.raise_mm} for leg in legs],
            "outliers": outliers,
        },
        plots=level_plots(result, readings),
    )


def _level_sentences(result: LevelResult, legs: Sequence[Leg], steepest_deg: float) -> list[str]:
    lean = plus_minus(result.lean_deg, result.u_lean_deg, result.freedom)
    toward = plus_minus(result.toward_deg, result.u_toward_deg, result.freedom)
    if not result.significant:
        return [f"No lean stands out from the scatter of the readings ({lean}°, 95 %)."]
    lifts = [f"the leg at yaw {leg.yaw_deg:.0f}° by {leg.raise_mm:.1f} mm" for leg in legs if leg.raise_mm > 0.05]
    roll = math.degrees(math.atan2(math.sin(math.radians(result.lean_deg)), math.cos(math.radians(steepest_deg))))
    return [
        f"The pan axis leans by {lean}° toward yaw {toward}° (95 %): what looks there looks too low.",
        f"Raise {' and '.join(lifts)}, then measure again." if lifts else "No leg needs raising by as much as 0.1 mm.",
        f"Left as it is, lean_deg = {result.lean_deg:.3f} and lean_toward_deg = {result.toward_deg:.1f} under [head] "
        f"in the kit correct yaw and pitch of every pose; a roll of up to {result.lean_deg:.2g}° at the horizon and "
        f"{roll:.2g}° at a pitch of {steepest_deg:.0f}° stays.",
    ]


def verify_found(result: VerifyResult, readings: Readings, needed_deg: float, needed_by: str) -> Finding:
    """The finding of `calibrate verify`: passed if every pose is met within `needed_deg`, RP counted in."""
    passed = result.worst_deg <= needed_deg
    pooled = plus_minus(result.pooled_repeatability_deg, result.u_pooled_repeatability_deg, result.freedom)
    fewest = min(pose.visits for pose in result.poses)
    sentences = [
        f"{'Passed' if passed else 'FAILED'}: poses are met within {result.worst_deg:.3g}° (accuracy plus "
        f"repeatability); {needed_by} {needed_deg:.3g}°.",
        f"Pose accuracy AP {result.accuracy_deg:.3g}°, repeatability RP {result.repeatability_deg:.3g}° at the worst "
        f"pose and {pooled}° over all (95 %); the first pose was met again within {result.return_deg:.3g}° (ISO 9283).",
    ]
    if not passed:
        sentences.append("Calibrate steps, backlash and level again, look for slack, or plan with more overlap.")
    if fewest < STANDARD_VISITS:
        sentences.append(f"The standard asks for {STANDARD_VISITS} visits of each pose; here were {fewest} or more.")
    return Finding(
        kind=Kind.VERIFY,
        axis=None,
        values={
            "repeatability_deg": result.repeatability_deg,
            "accuracy_deg": result.accuracy_deg,
            "worst_deg": result.worst_deg,
            "pooled_repeatability_deg": result.pooled_repeatability_deg,
            "return_deg": result.return_deg,
            "needed_deg": needed_deg,
            "passed": float(passed),
        },
        uncertainties={"u_pooled_repeatability_deg": result.u_pooled_repeatability_deg},
        degrees_of_freedom=_freedom(result.freedom),
        how=f"{len(readings)} visits of {len(result.poses)} poses",
        sentences=tuple(sentences),
        residuals={
            "right_deg": tuple(result.misses_deg[:, 0].tolist()),
            "up_deg": tuple(result.misses_deg[:, 1].tolist()),
        },
        more={
            "passed": passed,
            "poses": [
                {
                    "yaw_deg": pose.yaw_deg,
                    "pitch_deg": pose.pitch_deg,
                    "visits": pose.visits,
                    "accuracy_deg": pose.accuracy_deg,
                    "repeatability_deg": pose.repeatability_deg,
                }
                for pose in result.poses
            ],
        },
        plots=verify_plots(result),
    )
