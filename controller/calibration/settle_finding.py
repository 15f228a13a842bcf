"""The finding of how the head vibrates after a move, from a sensor's readings or a burst of photographs."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from controller.calibration.finding import Finding, Plot, PlotSeries
from controller.calibration.interval_words import low_to_high, plus_minus
from controller.calibration.known_lens import LensGiven, lens_name
from controller.calibration.photograph_pairs import registered
from controller.calibration.photographs import Photograph, camera_for
from controller.calibration.readings import Readings, ReadingsRefused
from controller.calibration.records import CalibrationKind
from controller.calibration.settle import NotRinging, Ringing, fit_ringing, wait_for
from controller.errors import InputError
from controller.kit.kit import Kit
from controller.optics.outline import Array
from controller.optics.projection import off_axis_angle
from controller.program.timing import SETTLED_PX

MOST_KEPT = 1000  # the largest number of residuals in a record
SINGLE = "95 %, if a single vibration rings"


@dataclass(frozen=True, slots=True)
class Still:
    """What counts as still: a blur in pixels, peak to peak, for a lens and a shutter time (otherwise the kit's)."""

    lens: LensGiven
    shutter_s: float | None = None
    blur_px: float = SETTLED_PX

    def shutter_for(self, kit: Kit | None) -> float | None:
        """The shutter time in seconds: the one given, or the kit's longest. None without both."""
        return self.shutter_s or (max(kit.shutter_times_s()) if kit is not None else None)


@dataclass(frozen=True, slots=True)
class _Read:
    """Readings: source, times, values, and how many degrees one unit is (None: unknown).

    `factor` is what the sensor's own values were multiplied by.
    """

    name: str
    time_s: Array
    value: Array
    unit: str
    degrees: float | None
    factor: float = 1.0


def readings_finding(
    kit: Kit | None, readings: Readings, from_ms: float, degrees_per_unit: float | None, still: Still
) -> Finding:
    """From readings with the columns time_ms and value, without those before `from_ms`.

    Raises InputError, ReadingsRefused.
    """
    time, value = readings.numbers["time_ms"], readings.numbers["value"]
    backward = np.flatnonzero(np.diff(time) <= 0)
    if len(backward):
        raise InputError(
            f"{readings.name} line {readings.lines[backward[0] + 1]}: time_ms does not grow; give readings in order."
        )
    kept = time >= from_ms
    unit = "the sensor's unit" if degrees_per_unit is None else "°"
    factor = 1.0 if degrees_per_unit is None else degrees_per_unit
    degrees = None if degrees_per_unit is None else 1.0
    return _finding(kit, _Read(readings.name, time[kept] / 1000, value[kept] * factor, unit, degrees, factor), still)


def burst_finding(kit: Kit | None, taken: Sequence[Photograph], every_ms: float | None, still: Still) -> Finding:
    """From a burst of photographs, each registered with the last. Raises InputError, ReadingsRefused."""
    camera = camera_for(taken[-1], kit, still.lens.focal_mm, still.lens.pixel_um)
    turns = [registered(taken[-1], photograph, camera)[0].vector_rad for photograph in taken[:-1]]
    moved = np.degrees(np.array([*turns, np.zeros(3)]))
    axis = 1 if np.ptp(moved[:, 1]) >= np.ptp(moved[:, 0]) else 0  # to the right, or up: the larger motion
    time = _moments_s(taken, every_ms)
    return _finding(kit, _Read(str(taken[0].path), time, moved[:, axis], "°", 1.0), still)


def _moments_s(taken: Sequence[Photograph], every_ms: float | None) -> Array:
    """When the photographs were shot, the first at 0, in seconds. Raises InputError."""
    if every_ms is not None:
        return np.asarray(np.arange(len(taken)) * every_ms / 1000)
    moments = np.array([math.nan if photograph.taken_s is None else photograph.taken_s for photograph in taken])
    wrong = np.flatnonzero(~(np.diff(moments) > 0))
    if len(wrong):
        raise InputError(
            f"{taken[wrong[0] + 1].path}: does not state a time in milliseconds that is later than the one "
            "before; give the time between them with --every-ms."
        )
    return np.asarray(moments - moments[0])


def _finding(kit: Kit | None, read: _Read, still: Still) -> Finding:
    try:
        ringing = fit_ringing(read.time_s, read.value, read.factor)
    except NotRinging as error:
        raise ReadingsRefused(f"{read.name}: {error}.") from None
    values = {"ring_hz": ringing.ring_hz, "ring_damping": ringing.ring_damping, "amplitude": ringing.amplitude}
    uncertainties = dict(zip(("u_ring_hz", "u_ring_damping", "u_amplitude"), ringing.uncertainties, strict=True))

    hidden = dict(zip(("ring_hz", "ring_damping", "amplitude"), ringing.hidden_most, strict=True))

    def said(name: str) -> str:
        return plus_minus(values[name], uncertainties[f"u_{name}"], ringing.degrees_of_freedom)

    sentences = [
        f"The head rings at {said('ring_hz')} Hz with a damping ratio of {said('ring_damping')}, at first by "
        f"{said('amplitude')} {read.unit} to either side ({SINGLE})."
    ]
    one_px_deg, shutter_s = pixel_deg(kit, still.lens), still.shutter_for(kit)
    if read.degrees is None or one_px_deg is None or shutter_s is None:
        sentences.append(
            "How long to wait was not worked out. It needs the sensor's unit (--degrees-per-unit), the lens and the "
            "shutter time (--kit, or --focal-length-mm, --pixel-um and --shutter-s)."
        )
    else:
        wait = wait_for(ringing, read.degrees / one_px_deg, shutter_s, still.blur_px)
        # Time counts from the end of the move, and the first reading may come later.
        values["settle_ms"] = 1000 * max(0.0, ringing.start_s + wait.wait_s)
        uncertainties["u_settle_ms"], hidden["settle_ms"] = 1000 * wait.u_wait_s, 1000 * wait.hidden_s
        sentences.append(
            f"Wait {said('settle_ms')} ms ({SINGLE}) after time 0 for an exposure of {shutter_s:g} s to be blurred by "
            f"{still.blur_px:g} px at most."
        )
    single, double = (
        {name: _interval(ringing, values[name], uncertainties[f"u_{name}"], most[name]) for name in values}
        for most in (dict.fromkeys(values, 0.0), hidden)
    )
    sentences.append(_pair_sentence(double))
    values |= known_shares(ringing)
    return Finding(
        kind=CalibrationKind.SETTLE,
        axis=None,
        values=values,
        uncertainties=uncertainties,
        degrees_of_freedom=ringing.degrees_of_freedom,
        how="damped sine fitted to readings after a move",
        sentences=tuple(sentences),
        residuals={"value": tuple((read.value - ringing.fitted).tolist()[:MOST_KEPT])},
        intervals=double,
        more={"residual_sd": ringing.residual_sd, "jitter_ms": ringing.jitter_ms, "interval_if_single": single},
        plots=_plots(read, ringing),
        lens=lens_name(kit),
        focal_length_mm=kit.lens.focal_length_mm if kit is not None else still.lens.focal_mm,
    )


def known_shares(ringing: Ringing) -> dict[str, float]:
    """How well frequency and damping are known: half of the 95 % interval, for a pair too, as a share of the value."""
    u, hidden = ringing.uncertainties, ringing.hidden_most
    return {
        "ring_hz_within": ringing.half_width(u[0], hidden[0]) / ringing.ring_hz,
        "ring_damping_within": ringing.half_width(u[1], hidden[1]) / ringing.ring_damping,
    }


def _interval(ringing: Ringing, value: float, u: float, hidden: float) -> tuple[float, float]:
    half = ringing.half_width(u, hidden)
    return max(0.0, value - half), value + half


def _pair_sentence(intervals: Mapping[str, tuple[float, float]]) -> str:
    """The result if two vibrations look like one."""

    def said(name: str) -> str:
        return low_to_high(*intervals[name])

    wait = f", and needs a wait of {said('settle_ms')} ms" if "settle_ms" in intervals else ""
    return (
        "Two vibrations within 30 % of each other's frequency could look like one in these readings. Then the larger one "
        f"is at {said('ring_hz')} Hz with a damping ratio of {said('ring_damping')}{wait} (95 %)."
    )


def pixel_deg(kit: Kit | None, lens: LensGiven) -> float | None:
    """The angle of one pixel at the middle of the picture, None if unknown."""
    if kit is None:
        if lens.focal_mm is None or lens.pixel_um is None:
            return None
        return math.degrees(math.atan(lens.pixel_um / 1000 / lens.focal_mm))
    field = kit.field(0.0)
    focal_mm = lens.focal_mm or kit.lens.focal_length_mm
    pixel_mm = field.width_mm / field.pixels_across if lens.pixel_um is None else lens.pixel_um / 1000
    return math.degrees(off_axis_angle(field.projection, focal_mm, pixel_mm))


def _plots(read: _Read, ringing: Ringing) -> tuple[Plot, ...]:
    time = (1000 * read.time_s).tolist()
    return (
        Plot(
            heading="Ringing",
            caption="The readings, and the vibration fitted to them.",
            x_label="time ms",
            y_label=read.unit,
            series=(
                PlotSeries("readings", time, read.value.tolist()),
                PlotSeries("fitted", time, ringing.fitted.tolist(), line=True),
            ),
        ),
        Plot(
            heading="Residuals",
            caption="Readings minus fit; only noise should remain.",
            x_label="time ms",
            y_label=read.unit,
            series=(PlotSeries("residual", time, (read.value - ringing.fitted).tolist()),),
        ),
    )
