"""From results to findings: the names in the record and the sentences for the operator."""

import math
from collections.abc import Sequence

from controller.calibration import backlash, level, steps, verify
from controller.calibration.backlash import STANDARD_APPROACHES, BacklashResult
from controller.calibration.estimate import Estimate
from controller.calibration.finding import Finding, Stated, coverage_factor
from controller.calibration.interval_words import from_to, plus_minus
from controller.calibration.level import LevelResult, TripodLeg
from controller.calibration.plots import backlash_plots, level_plots, steps_plots, verify_plots
from controller.calibration.readings import Readings
from controller.calibration.records import AxisName, CalibrationKind
from controller.calibration.steps import StepsResult
from controller.calibration.verify import STANDARD_VISITS, VerifyResult
from controller.calibration.wave import HEAD_ECCENTRICITY_DEG, LEAST_READINGS, LEAST_SPAN_DEG, Wave
from controller.optics.outline import Array


def _order_sentences(stated: Stated, drift: Estimate | None, advice: str) -> list[str]:
    """Sentences on what the order of the readings protects against."""
    if stated is Stated.SCATTER:
        return [
            "The intervals are from the scatter alone, not 95 %: in the order of these readings, a drift or correlated "
            f"errors cannot be separated from the result. For 95 % intervals, {advice}."
        ]
    if drift is not None and abs(drift.value) > drift.half_width:
        return [
            f"The readings drift by {plus_minus(drift.value, drift.u, drift.freedom)}° over the set, which was removed."
        ]
    return []


def _resolution_sentence(scatter_deg: float, resolution_deg: float) -> str:
    if scatter_deg < 1e-6 * resolution_deg:
        return f"The readings do not scatter and are read to {resolution_deg:.2g}°, which is included."
    read = f" and are read to {resolution_deg:.2g}°" if resolution_deg > 0.01 * scatter_deg else ""
    return f"The readings scatter by {scatter_deg:.2g}°{read}; both are included."


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


def steps_found(
    result: StepsResult,
    readings: Readings,
    axis: AxisName,
    nominal: float | None,
    eccentricity_deg: float = HEAD_ECCENTRICITY_DEG,
) -> Finding:
    """The finding of `calibrate steps`, by angles or by whole turns."""
    by_turns = "turns" in readings.numbers
    outliers = _left_out(readings, result.kept.tolist(), result.residuals_deg)
    wave = result.wave
    said = plus_minus(result.steps_per_degree, result.u_steps_per_degree, result.freedom)
    relative = coverage_factor(result.freedom) * result.u_steps_per_degree / result.steps_per_degree
    off = "" if nominal is None else f", {100 * (result.steps_per_degree / nominal - 1):+.3f} % off the kit's gearing"
    sentences = [
        f"{said} steps per degree of {axis.value} ({result.stated}){off}; "
        f"a whole turn is known to ± {360 * relative:.2g}°."
    ]
    if not by_turns:
        sentences.append(_resolution_sentence(result.residual_sd_deg, result.resolution_deg))
        sentences.append(_wave_sentence(wave, eccentricity_deg))
        sentences += _order_sentences(result.stated, result.drift, steps.SHUFFLE)
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
        kind=CalibrationKind.STEPS,
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
            "resolution_deg": result.resolution_deg,
            "drift_deg": None if result.drift is None else result.drift.value,
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
        stated=result.stated,
    )


def _wave_sentence(wave: Wave | None, eccentricity_deg: float) -> str:
    hidden = f"the amount in the kit (eccentricity_deg = {eccentricity_deg:g}) is included in the uncertainty"
    if wave is None:
        return (
            f"A once-per-turn error could not be tested for, which needs {LEAST_READINGS} readings over "
            f"{LEAST_SPAN_DEG:.0f}°; {hidden}."
        )
    if wave.removed:
        size = plus_minus(wave.amplitude_deg, wave.u_amplitude_deg, math.inf)
        return f"A once-per-turn error of {size}° (highest at {wave.phase_deg % 360:.0f}°) was removed."
    return f"No once-per-turn error shows; {hidden}."


def backlash_found(result: BacklashResult, readings: Readings, axis: AxisName, steps_per_degree: float | None) -> Finding:
    """The finding of `calibrate backlash`."""
    mean, made = result.mean_reversal, result.figures
    outliers = _left_out(readings, result.kept.tolist(), result.residuals_deg)
    one_side = result.repeatability_of_one_side
    sentences = [
        f"Play of the {axis.value} axis: {from_to(result.reversal)} at the worst position (B), "
        f"{plus_minus(abs(mean.value), mean.u, mean.freedom)}° on average ({result.stated}).",
        f"Repeatability R {from_to(result.repeatability)} from both sides; accuracy A {from_to(result.accuracy)} "
        f"(ISO 230-2, {result.stated}).",
        _rule(result.play_deg, steps_per_degree),
    ]
    sentences += _order_sentences(result.stated, None, backlash.SHUFFLE) + _outlier_sentences(outliers)
    fewest = min(min(len(p.up), len(p.down)) for p in result.positions)
    if fewest < STANDARD_APPROACHES:
        sentences.append(
            f"The standard asks for {STANDARD_APPROACHES} approaches from each side; these readings have {fewest}."
        )
    sides = {
        f"repeatability_{side}_deg": one_side.with_value(value)
        for side, value in (("up", made.repeatability_up_deg), ("down", made.repeatability_down_deg))
    }
    figures = {
        "reversal_deg": result.reversal,
        "repeatability_deg": result.repeatability,
        "systematic_deg": result.systematic,
        "mean_deviation_range_deg": result.mean_deviation_range,
        "accuracy_deg": result.accuracy,
    } | sides
    return Finding(
        kind=CalibrationKind.BACKLASH,
        axis=axis,
        values={"play_deg": result.play_deg, "mean_reversal_deg": mean.value}
        | {name: figure.value for name, figure in figures.items()},
        uncertainties={"u_mean_reversal_deg": mean.u},
        degrees_of_freedom=_freedom(mean.freedom),
        how=f"{len(result.positions)} positions approached from both sides, {len(readings)} readings",
        sentences=tuple(sentences),
        residuals={
            "up_deg": tuple(x for p in result.positions for x in p.up.tolist()),
            "down_deg": tuple(x for p in result.positions for x in p.down.tolist()),
        },
        more={
            "axis": axis.value,
            "resolution_deg": result.resolution_deg,
            "outliers": outliers,
            "positions": [
                {"target_deg": p.target_deg, "reversal_deg": p.reversal_deg, "mean_deviation_deg": p.mean_deg}
                for p in result.positions
            ],
        },
        plots=backlash_plots(result),
        intervals={name: figure.interval for name, figure in figures.items()},
        stated=result.stated,
    )


def _rule(play_deg: float, steps_per_degree: float | None) -> str:
    if play_deg == 0:
        return "No play shows beyond the scatter, so frames may be approached from either side."
    steps = "" if steps_per_degree is None else f" ({play_deg * steps_per_degree:.0f} steps)"
    return (
        "Every frame will be approached with growing angle. If the axis must turn back, it first goes too far by more "
        f"than the play of {play_deg:.3g}°{steps}."
    )


def level_found(result: LevelResult, readings: Readings, legs: Sequence[TripodLeg], steepest_deg: float) -> Finding:
    """The finding of `calibrate level`; `steepest_deg` is the pitch at which the remaining roll is stated."""
    outliers = _left_out(readings, result.kept.tolist(), result.residuals_deg)
    sentences = _level_sentences(result, legs, steepest_deg)
    sentences.append(_resolution_sentence(result.residual_sd_deg, result.resolution_deg))
    sentences += _order_sentences(result.stated, result.drift, level.SHUFFLE) + _outlier_sentences(outliers)
    return Finding(
        kind=CalibrationKind.LEVEL,
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
            "resolution_deg": result.resolution_deg,
            "drift_deg": None if result.drift is None else result.drift.value,
            "legs": [{"yaw_deg": leg.yaw_deg, "raise_mm": leg.raise_mm} for leg in legs],
            "outliers": outliers,
        },
        plots=level_plots(result, readings),
        intervals={"lean_deg": result.lean_interval_deg, "toward_deg": result.toward_interval_deg},
        stated=result.stated,
    )


def _level_sentences(result: LevelResult, legs: Sequence[TripodLeg], steepest_deg: float) -> list[str]:
    lean = plus_minus(result.lean_deg, result.u_lean_deg, result.freedom)
    toward = plus_minus(result.toward_deg, result.u_toward_deg, result.freedom)
    if not result.significant:
        return [
            f"No lean shows beyond the readings' uncertainty: it is {result.lean_interval_deg[1]:.2g}° at most "
            f"({lean}°, {result.stated})."
        ]
    lifts = [f"the leg at yaw {leg.yaw_deg:.0f}° by {leg.raise_mm:.1f} mm" for leg in legs if leg.raise_mm > 0.05]
    roll = math.degrees(math.atan2(math.sin(math.radians(result.lean_deg)), math.cos(math.radians(steepest_deg))))
    return [
        f"The pan axis leans by {lean}° toward yaw {toward}° ({result.stated}): a camera turned that way points too low.",
        f"Raise {' and '.join(lifts)}, then measure again." if lifts else "No leg needs raising by as much as 0.1 mm.",
        f"If you leave it, write lean_deg = {result.lean_deg:.3f} and lean_toward_deg = {result.toward_deg:.1f} under "
        "[head] in the kit. That corrects yaw and pitch of every pose. A roll of up to "
        f"{result.lean_deg:.2g}° at the horizon and {roll:.2g}° at a pitch of {steepest_deg:.0f}° remains.",
    ]


def verify_found(result: VerifyResult, readings: Readings, needed_deg: float, needed_by: str) -> Finding:
    """The finding of `calibrate verify`: passed if every pose certainly meets `needed_deg`, with RP included.

    The whole interval of the worst pose must be within it (guarded acceptance: JCGM 106:2012, 8.3.2).
    """
    passed = result.worst.high <= needed_deg
    verdict = "Passed" if passed else "FAILED" if result.worst.low > needed_deg else "NOT SHOWN"
    sentences = [
        f"{verdict}: poses are met within {from_to(result.worst)} (accuracy plus repeatability, {result.stated}); "
        f"{needed_by} {needed_deg:.3g}°.",
        f"Pose accuracy AP {from_to(result.accuracy)}, repeatability RP {from_to(result.repeatability)} at the worst "
        f"pose and {from_to(result.pooled)} over all; the first pose was met again within {from_to(result.returned)} "
        f"(ISO 9283, {result.stated}).",
    ]
    sentences += _advice_sentences(result, verdict)
    figures = {
        "repeatability_deg": result.repeatability,
        "accuracy_deg": result.accuracy,
        "worst_deg": result.worst,
        "pooled_repeatability_deg": result.pooled,
        "return_deg": result.returned,
    }
    return Finding(
        kind=CalibrationKind.VERIFY,
        axis=None,
        values={name: figure.value for name, figure in figures.items()}
        | {"needed_deg": needed_deg, "passed": float(passed)},
        uncertainties={},
        degrees_of_freedom=None,
        how=f"{len(readings)} visits of {len(result.poses)} poses",
        sentences=tuple(sentences),
        residuals={
            "right_deg": tuple(result.misses_deg[:, 0].tolist()),
            "up_deg": tuple(result.misses_deg[:, 1].tolist()),
        },
        more={
            "passed": passed,
            "verdict": verdict.lower(),
            "resolution_deg": result.resolution_deg,
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
        intervals={name: figure.interval for name, figure in figures.items()},
        stated=result.stated,
    )


def _advice_sentences(result: VerifyResult, verdict: str) -> list[str]:
    sentences = []
    if verdict == "NOT SHOWN":
        sentences.append(
            "Visit each pose more often, or with a better instrument: the interval extends beyond the needed accuracy."
        )
    elif verdict == "FAILED":
        sentences.append("Calibrate steps, backlash and level again, look for slack, or plan with more overlap.")
    sentences += _order_sentences(result.stated, None, verify.SHUFFLE)
    fewest = min(pose.visits for pose in result.poses)
    if fewest < STANDARD_VISITS:
        sentences.append(
            f"The standard asks for {STANDARD_VISITS} visits of each pose; these readings have {fewest} or more."
        )
    return sentences
