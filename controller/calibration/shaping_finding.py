"""The finding of a head's vibrations without and with a shaper, axis by axis: sentences, record, plots."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from controller.calibration.finding import Finding, Plot, PlotSeries
from controller.calibration.interval_words import low_to_high, plus_minus
from controller.calibration.known_lens import lens_name
from controller.calibration.records import CalibrationKind, RingRow
from controller.calibration.remains import Remains, left_of
from controller.calibration.settle import Ringing, swing_px
from controller.calibration.settle_finding import MOST_KEPT, SINGLE, Still, known_shares, pixel_deg
from controller.calibration.shaping_check import LeftCause, Place, Shaped, ShapingVerdict
from controller.kit.kit import Kit
from controller.program.timing import ring_down_s
from controller.shaping.ringing import Mode


@dataclass(frozen=True, slots=True)
class Sight:
    """What the camera sees of a swing: pixels for a unit of the readings (None: unknown), shutter time, blur."""

    unit: str
    pixels: float | None
    shutter_s: float
    blur_px: float

    def swing(self, left: Remains) -> str:
        """The swing to either side at the end of a move, for people."""
        times, unit = (1.0, self.unit) if self.pixels is None else (self.pixels, "px")
        low, high = left.low * times, left.high * times
        return f"{low_to_high(low, high)} {unit}"

    def wait_s(self, amplitude: float, ringing: Ringing) -> float:
        """How long after the end of the move an exposure is still, in seconds."""
        assert self.pixels is not None
        swing = swing_px(amplitude * self.pixels, ringing.ring_hz, self.shutter_s)
        return ring_down_s(swing, self.blur_px, ringing.ring_hz, ringing.ring_damping)


def sight_of(kit: Kit | None, degrees_per_unit: float | None, still: Still) -> Sight:
    """What the kit's camera sees of readings that are in degrees, or in the sensor's unit if that is unknown."""
    one_px_deg, shutter_s = pixel_deg(kit, still.lens), still.shutter_for(kit)
    if degrees_per_unit is None or one_px_deg is None or shutter_s is None:
        unit = "of the sensor's units" if degrees_per_unit is None else "°"
        return Sight(unit, None, shutter_s or 0.0, still.blur_px)
    return Sight("°", 1 / one_px_deg, shutter_s, still.blur_px)


def axis_finding(places: Sequence[Place], sight: Sight, kit: Kit | None) -> Finding:
    """The finding of one axis, measured at one pitch or several."""
    places = sorted(places, key=lambda place: place.read.move.pitch_deg)
    level = min(places, key=lambda place: abs(place.read.move.pitch_deg))
    values, uncertainties = _figures(places, level)
    sentences = [sentence for place in places for sentence in sentences_of(place, sight)]
    return Finding(
        kind=CalibrationKind.SETTLE,
        axis=level.read.move.axis,
        values=values,
        uncertainties=uncertainties,
        degrees_of_freedom=level.ringing.degrees_of_freedom,
        how="damped sine fitted to readings after moves without and with a shaper",
        sentences=(*sentences, _pitch_sentence(places)),
        residuals=_residuals(places),
        more={"places": [_for_programs(place, sight) for place in places]},
        plots=tuple(_plot(place, sight) for place in places),
        lens=lens_name(kit),
        focal_length_mm=None if kit is None else kit.lens.focal_length_mm,
        over_pitch=_table(places),
    )


def _figures(places: Sequence[Place], level: Place) -> tuple[dict[str, float], dict[str, float]]:
    """Values and uncertainties for the record: frequency at the pitch nearest to level, damping for all pitches."""
    known = [known_shares(place.ringing) for place in places]
    dampings = [place.ringing.ring_damping for place in places]
    low = min(value * (1 - each["ring_damping_within"]) for value, each in zip(dampings, known, strict=True))
    high = max(value * (1 + each["ring_damping_within"]) for value, each in zip(dampings, known, strict=True))
    damping = (low + high) / 2
    values = {
        "ring_hz": level.ringing.ring_hz,
        "ring_damping": damping,
        "ring_hz_within": max(each["ring_hz_within"] for each in known),
        "ring_damping_within": (high - low) / 2 / damping,
    }
    u_damping = max(place.ringing.uncertainties[1] for place in places)
    return values, {"u_ring_hz": level.ringing.uncertainties[0], "u_ring_damping": u_damping}


def _table(places: Sequence[Place]) -> tuple[RingRow, ...]:
    if len(places) < 2:
        return ()
    return tuple(
        RingRow(
            pitch_deg=place.read.move.pitch_deg,
            ring_hz=place.ringing.ring_hz,
            u_ring_hz=place.ringing.uncertainties[0],
        )
        for place in places
    )


def sentences_of(place: Place, sight: Sight) -> list[str]:
    """How the head rings at a place, what is left without and with the shaper, and whether it works."""
    ringing, move = place.ringing, place.read.move
    hz, damping = (
        plus_minus(value, u, ringing.degrees_of_freedom)
        for value, u in zip((ringing.ring_hz, ringing.ring_damping), ringing.uncertainties[:2], strict=True)
    )
    where = f"{move.axis.value.capitalize()} at pitch {move.pitch_deg:g}°"
    said = [
        f"{where}: rings at {hz} Hz with a damping ratio of {damping} ({SINGLE}).",
        f"Without the shaper it swings by {sight.swing(place.left)} to either side at the end of the move (95 %)"
        f"{_still(sight, place.left, ringing)}.",
    ]
    if place.shaped is None:
        return [*said, "No move with the shaper was measured here."]
    shaped = place.shaped
    said.append(
        f"With it, by {sight.swing(shaped.left)}{_still(sight, shaped.left, ringing, shaped.second)}; the shaper makes "
        f"the move {shaped.shaper.duration_ms / 1000:.2f} s longer."
    )
    return [*said, _verdict(shaped, place)]


def _still(sight: Sight, left: Remains, ringing: Ringing, second: Ringing | None = None) -> str:
    if sight.pixels is None:
        return ""
    return f", and is still after {_wait_s(sight, left, ringing, second):.2f} s"


def _wait_s(sight: Sight, left: Remains, ringing: Ringing, second: Ringing | None) -> float:
    wait_s = sight.wait_s(left.amplitude, ringing)
    return wait_s if second is None else max(wait_s, sight.wait_s(left_of(second).amplitude, second))


def _verdict(shaped: Shaped, place: Place) -> str:
    low, middle, high = (100 * share for share in shaped.share)
    predicted = f"at most {100 * shaped.promised:.1f} % were predicted"
    match shaped.verdict:
        case ShapingVerdict.WORKS:
            left = f"{middle:.1f} % of the swing is left (95 %: {low_to_high(low, high)} %)"
            return f"Shaping works here: {left}; {predicted}."
        case ShapingVerdict.NOT_SHOWN:
            return (
                f"These readings cannot tell whether shaping works: {low_to_high(low, high)} % of the swing is left, and "
                f"{predicted}. Use a finer sensor, or record more readings in each swing."
            )
    assert shaped.cause is not None
    left = f"{low_to_high(low, high)} % of the swing is left, and {predicted}"
    return f"Shaping leaves too much here: {left}. {_why(shaped.cause, shaped, place)}"


def _why(cause: LeftCause, shaped: Shaped, place: Place) -> str:
    match cause:
        case LeftCause.FREQUENCY:
            return (
                f"The shaper was made for {_stated(place.stated)}; this head rings otherwise. Plans use the measured "
                "figures once they are stored; then measure again."
            )
        case LeftCause.SECOND:
            assert shaped.second is not None
            return (
                f"A second vibration at {shaped.second.ring_hz:.1f} Hz remains: write second_ring_hz under [head] in the "
                "kit, or stiffen the part that rings."
            )
        case LeftCause.SCATTER:
            return (
                f"The readings scatter {shaped.scatter_times:.1f} times as much as those without the shaper: wind, a "
                "touch, or further vibrations. Measure again in still air."
            )
        case LeftCause.PLAY:
            return (
                "The frequency is as the kit states it. Look for play in the gears, a slipping belt and loose clamps, "
                "tighten them, and measure again."
            )


def _stated(mode: Mode) -> str:
    return (
        f"{mode.hz:.2f} Hz within {100 * mode.hz_spread:.0f} % and a damping ratio of {mode.damping:.3f} within "
        f"{100 * mode.damping_spread:.0f} %"
    )


def _pitch_sentence(places: Sequence[Place]) -> str:
    pitches = [f"{place.read.move.pitch_deg:g}°" for place in places]
    if len(places) == 1:
        return f"Plans use the figures of pitch {pitches[0]} at every pitch; give --pitch several times to measure more."
    rates = [f"{place.ringing.ring_hz:.2f}" for place in places]
    return f"Plans use {', '.join(rates)} Hz at pitches {', '.join(pitches)}, and a straight line between them."


def _for_programs(place: Place, sight: Sight) -> dict[str, Any]:
    ringing, shaped = place.ringing, place.shaped
    scale = 1.0 if sight.pixels is None else sight.pixels
    found: dict[str, Any] = {
        "pitch_deg": place.read.move.pitch_deg,
        "ring_hz": ringing.ring_hz,
        "u_ring_hz": ringing.uncertainties[0],
        "ring_damping": ringing.ring_damping,
        "u_ring_damping": ringing.uncertainties[1],
        "unit": sight.unit if sight.pixels is None else "px",
        "without": _remains(place.left, scale) | _waits(sight, place.left, ringing, None),
    }
    if shaped is None:
        return found | {"with": None}
    return found | {
        "with": _remains(shaped.left, scale) | _waits(sight, shaped.left, ringing, shaped.second),
        "shaper": [list(impulse) for impulse in shaped.shaper.impulses],
        "share_left": shaped.share[1],
        "share_left_95": (shaped.share[0], shaped.share[2]),
        "share_predicted": shaped.promised,
        "share_expected": shaped.expected,
        "second_ring_hz": None if shaped.second is None else shaped.second.ring_hz,
        "verdict": shaped.verdict.value,
        "cause": None if shaped.cause is None else shaped.cause.value,
    }


def _remains(left: Remains, scale: float) -> dict[str, Any]:
    return {"swing": left.amplitude * scale, "swing_95": (left.low * scale, left.high * scale)}


def _waits(sight: Sight, left: Remains, ringing: Ringing, second: Ringing | None) -> dict[str, float | None]:
    return {"still_after_s": None if sight.pixels is None else _wait_s(sight, left, ringing, second)}


def _residuals(places: Sequence[Place]) -> dict[str, tuple[float, ...]]:
    left = [place.read.value - place.ringing.fitted for place in places]
    return {"value": tuple(np.concatenate(left).tolist()[:MOST_KEPT])}


def _plot(place: Place, sight: Sight) -> Plot:
    """The readings of both moves about where each comes to rest."""
    read, move = place.read, place.read.move
    rest = _rest(place)
    series = [
        PlotSeries("without the shaper", (1000 * read.time_s).tolist(), (read.value - rest).tolist()),
        PlotSeries("fitted", (1000 * read.time_s).tolist(), (place.ringing.fitted - rest).tolist(), line=True),
    ]
    if place.shaped is not None:
        other = place.shaped.read
        value = other.value - float(np.mean(other.value))
        series.append(PlotSeries("with the shaper", (1000 * other.time_s).tolist(), value.tolist()))
    return Plot(
        heading=f"Ringing: {move.axis.value} at pitch {move.pitch_deg:g}°",
        caption="Readings after a move without the shaper, the vibration fitted to them, and readings after one with it.",
        x_label="time ms",
        y_label="°" if sight.unit == "°" else "the sensor's unit",
        series=tuple(series),
    )


def _rest(place: Place) -> float:
    """Where the fitted vibration comes to rest: the mean, but for what is left at the end."""
    last = math.ceil(len(place.ringing.fitted) / 4)
    return float(np.mean(place.ringing.fitted[-last:]))
