"""The plots of each procedure, as values."""

import math

import numpy as np

from controller.calibration.backlash import BacklashResult
from controller.calibration.finding import Plot, PlotSeries
from controller.calibration.level import LevelResult
from controller.calibration.readings import Readings
from controller.calibration.steps import StepsResult
from controller.calibration.verify import VerifyResult
from controller.optics.outline import Array

CURVE = 200  # points of a drawn curve


def steps_plots(result: StepsResult, readings: Readings) -> tuple[Plot, ...]:
    """The line, the residuals and the once-per-turn error; or the returns to the mark."""
    kept = result.kept
    if "turns" in readings.numbers:
        turns = readings.numbers["turns"]
        series = (PlotSeries("turns", turns.tolist(), result.residuals_deg.tolist()),)
        caption = "How far each return to the mark was from the fitted steps per turn."
        return (Plot("Residuals", caption, "whole turns", "residual, degrees", series),)
    steps = readings.numbers["commanded_steps"]
    fitted = np.linspace(float(steps.min()), float(steps.max()), CURVE)
    line = result.offset_deg + fitted / result.steps_per_degree
    read = result.residuals_deg + result.offset_deg + steps / result.steps_per_degree
    read += _wave_at(result, read)
    residuals = [PlotSeries("readings", steps[kept].tolist(), result.residuals_deg[kept].tolist())]
    if not kept.all():
        residuals.append(PlotSeries("outliers", steps[~kept].tolist(), result.residuals_deg[~kept].tolist()))
    plots = [
        Plot(
            "Angle over steps",
            "The readings and the line fitted through them.",
            "commanded steps",
            "angle, degrees",
            (
                PlotSeries("readings", steps.tolist(), read.tolist()),
                PlotSeries("fit", fitted.tolist(), line.tolist(), line=True),
            ),
        ),
        Plot(
            "Residuals", "How far each reading is from the fit.", "commanded steps", "residual, degrees", tuple(residuals)
        ),
    ]
    if result.wave is not None:
        plots.append(_wave_plot(result, steps, fitted))
    return tuple(plots)


def _wave_at(result: StepsResult, angles_deg: Array) -> Array:
    """The once-per-turn error that was removed, at these angles."""
    wave = result.wave
    if wave is None or not wave.removed:
        return np.zeros_like(angles_deg)
    return np.asarray(wave.amplitude_deg * np.cos(np.radians(angles_deg - wave.phase_deg)))


def _wave_plot(result: StepsResult, steps: Array, fitted: Array) -> Plot:
    assert result.wave is not None
    wave = result.wave
    angles = [result.offset_deg + s / result.steps_per_degree for s in (steps, fitted)]
    curve = wave.amplitude_deg * np.cos(np.radians(angles[1] - wave.phase_deg))
    points = result.residuals_deg + _wave_at(result, angles[0])
    word = "taken out" if wave.removed else "not significant, left in"
    return Plot(
        "Once per turn",
        f"How far each reading is from the line alone, and the once-per-turn error ({word}).",
        "angle, degrees",
        "error, degrees",
        (
            PlotSeries("readings less the line", angles[0][result.kept].tolist(), points[result.kept].tolist()),
            PlotSeries("once per turn", angles[1].tolist(), curve.tolist(), line=True),
        ),
    )


def backlash_plots(result: BacklashResult) -> tuple[Plot, ...]:
    """The deviations from both sides."""
    sides = (
        ("from below", [(p.target_deg, x) for p in result.positions for x in p.up.tolist()]),
        ("from above", [(p.target_deg, x) for p in result.positions for x in p.down.tolist()]),
    )
    return (
        Plot(
            "Deviation",
            "Measured less target at each position, from both sides; the gap between them is the play.",
            "target, degrees",
            "deviation, degrees",
            tuple(PlotSeries(name, [x for x, _ in side], [y for _, y in side]) for name, side in sides),
        ),
    )


def level_plots(result: LevelResult, readings: Readings) -> tuple[Plot, ...]:
    """The tilt round the turn with the fitted lean."""
    yaw, curve = readings.numbers["yaw_deg"], np.linspace(0, 360, CURVE)
    ahead = np.cos(np.radians(curve - result.toward_deg))
    fitted = result.zero_deg + np.degrees(np.arcsin(-math.sin(math.radians(result.lean_deg)) * ahead))
    return (
        Plot(
            "Tilt round the turn",
            "The readings, and the lean fitted to them.",
            "yaw, degrees",
            "reading, degrees",
            (
                PlotSeries("readings", (yaw % 360).tolist(), readings.numbers["reading_deg"].tolist()),
                PlotSeries("fit", curve.tolist(), fitted.tolist(), line=True),
            ),
        ),
        Plot(
            "Residuals",
            "How far each reading is from the fit.",
            "yaw, degrees",
            "residual, degrees",
            (PlotSeries("readings", (yaw % 360).tolist(), result.residuals_deg.tolist()),),
        ),
    )


def verify_plots(result: VerifyResult) -> tuple[Plot, ...]:
    """Where each visit ended, seen from its target."""
    right, upward = (column.tolist() for column in result.misses_deg.T)
    caption = "How far each visit was from its target."
    series = (PlotSeries("visits", right, upward),)
    return (Plot("Misses", caption, "to the right, degrees", "upward, degrees", series),)
